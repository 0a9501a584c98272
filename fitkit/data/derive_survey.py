"""
Derive the survey tables of this folder from a file of survey rows.

Run as ``python fitkit/data/derive_survey.py ROWS.csv [MORE.csv ...]``: the public files
for men and women, or one file of both. The rows themselves stay out of the project. It
writes ``survey_summary.csv`` and ``survey_correlations.csv`` here, and to
``tests/reference`` the coverage of completed measures in rows kept out of the fit and
the share of people of the survey in whom a slip would be suspected.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import skew

from fitkit.errors import FitkitError
from fitkit.wearer.measures import SURVEY_KEYS
from fitkit.wearer.record import Reading, Record, Sex, make_record
from fitkit.wearer.slips import check_record
from fitkit.wearer.survey import Population, complete, pool

FloatArray = NDArray[np.float64]
DATA = Path(__file__).parent
REFERENCE = DATA.parents[1] / "tests" / "reference"

#: Column of the public survey files for each measure.
COLUMNS: Mapping[str, str] = {
    "head_circumference_mm": "headcircumference",
    "head_length_mm": "headlength",
    "head_breadth_mm": "headbreadth",
    "tragion_to_top_mm": "tragiontopofhead",
    "bizygomatic_breadth_mm": "bizygomaticbreadth",
    "menton_sellion_mm": "mentonsellionlength",
    "bitragion_chin_arc_mm": "bitragionchinarc",
    "bitragion_submandibular_arc_mm": "bitragionsubmandibulararc",
    "interpupillary_mm": "interpupillarybreadth",
    "ear_breadth_mm": "earbreadth",
    "ear_length_mm": "earlength",
    "ear_protrusion_mm": "earprotrusion",
    "neck_circumference_mm": "neckcircumference",
    "neck_base_circumference_mm": "neckcircumferencebase",
}
SEXES: tuple[Sex, ...] = ("female", "male")
SEX_WORDS: Mapping[str, Sex] = {
    "m": "male",
    "male": "male",
    "f": "female",
    "female": "female",
}
#: A measure counts as lognormal if its skewness, averaged over the sexes, exceeds this.
SKEW_LIMIT = 0.3
#: Measures from which the others are completed in the coverage table.
GIVEN = SURVEY_KEYS[:3]
#: Kept-out parts of the rows, and the seed that shuffles them.
THIRDS, SEED = 3, 20120


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """Survey rows in millimetres."""

    #: Sex of each person, shape (n,).
    sex: NDArray[np.str_]
    #: The measures of ``SURVEY_KEYS``, shape (n, 14). [mm]
    values_mm: FloatArray

    def of(self, sex: str) -> FloatArray:
        """Return the measures of one sex, shape (m, 14). [mm]."""
        values: FloatArray = self.values_mm[self.sex == sex]
        return values

    def where(self, mask: NDArray[np.bool_]) -> Rows:
        """Return the rows where the mask is true."""
        return Rows(sex=self.sex[mask], values_mm=self.values_mm[mask])


def read_rows(paths: Iterable[str | Path]) -> Rows:
    """
    Read survey rows and put them in millimetres.

    The public files store interpupillary breadth in tenths of a millimetre and every
    other length in millimetres; a file in which that has been put right is read too.
    """
    rows = [row for path in paths for row in _lines(Path(path))]
    sex = [SEX_WORDS[(row.get("sex") or row.get("gender") or "").lower()] for row in rows]
    table = np.array([[float(row[COLUMNS[key]]) for key in SURVEY_KEYS] for row in rows])
    eyes = SURVEY_KEYS.index("interpupillary_mm")
    table[:, eyes] /= eye_unit(table[:, eyes])
    return Rows(sex=np.array(sex), values_mm=table)


def _lines(path: Path) -> list[dict[str, str]]:
    """Return the rows of one file, their columns in small letters."""
    text = path.read_bytes().decode("latin-1").removeprefix("\xef\xbb\xbf")
    heading, _, body = text.partition("\n")
    reader = csv.DictReader([heading.lower(), *body.splitlines()])
    missing = set(COLUMNS.values()).difference(reader.fieldnames or ())
    if missing:
        msg = f"{path.name} has no column {', '.join(sorted(missing))}. Is it survey rows?"
        raise FitkitError(msg)
    return list(reader)


def eye_unit(column: FloatArray) -> float:
    """Return how many of the column's units make a millimetre: 1, or 10 for tenths."""
    for per_mm in (1.0, 10.0):
        if np.all((column > 40 * per_mm) & (column < 90 * per_mm)):
            return per_mm
    msg = (
        "interpupillarybreadth must be 40 to 90 mm, or 400 to 900 tenths of a mm, all in "
        f"one unit; got {column.min():g} to {column.max():g}. Mend the mixed rows."
    )
    raise FitkitError(msg)


def log_origins(rows: Rows) -> FloatArray:
    """Return the origin of each lognormal measure, nan for the others, shape (14,)."""
    bends = np.mean([skew(rows.of(sex)) for sex in SEXES], axis=0)
    origins = np.full(bends.shape, np.nan)
    for i in np.flatnonzero(bends > SKEW_LIMIT):
        reach = _sds_above_origin(float(bends[i]))
        below = [rows.of(s)[:, i].mean() - reach * rows.of(s)[:, i].std() for s in SEXES]
        origins[i] = round(float(np.mean(below)))
    return origins


def _sds_above_origin(bend: float) -> float:
    """Return how many SDs the mean of a lognormal of this skewness is from its origin."""
    variance = brentq(lambda v: (np.exp(v) + 2) * np.sqrt(np.expm1(v)) - bend, 1e-9, 1.0)
    return float(1 / np.sqrt(np.expm1(variance)))


def fit(rows: Rows) -> dict[str, Population]:
    """Return the populations of women, men and both half and half."""
    origins = log_origins(rows)
    by_sex: dict[str, Population] = {
        sex: Population(
            label=sex,
            keys=SURVEY_KEYS,
            mean_mm=rows.of(sex).mean(axis=0),
            covariance=np.cov(rows.of(sex).T),
            log_origin_mm=origins,
        )
        for sex in SEXES
    }
    return {**by_sex, "pooled": pool(by_sex)}


def summary(rows: Rows, people: Mapping[str, Population]) -> Iterator[dict[str, object]]:
    """Yield one line for each population and measure."""
    for label, group in people.items():
        sample = rows.values_mm if label == "pooled" else rows.of(label)
        sd = np.sqrt(np.diag(group.covariance))
        for i, key in enumerate(SURVEY_KEYS):
            column, origin = sample[:, i], group.log_origin_mm[i]
            yield {
                "population": label,
                "key": key,
                "count": len(column),
                "mean_mm": f"{group.mean_mm[i]:.4f}",
                "sd_mm": f"{sd[i]:.4f}",
                "least_mm": f"{column.min():g}",
                "greatest_mm": f"{column.max():g}",
                "log_origin_mm": "" if np.isnan(origin) else f"{origin:g}",
            }


def correlations(people: Mapping[str, Population]) -> Iterator[dict[str, object]]:
    """Yield one line of the correlation matrix for each population and measure."""
    for label, group in people.items():
        sd = np.sqrt(np.diag(group.covariance))
        matrix = group.covariance / np.outer(sd, sd)
        for key, line in zip(SURVEY_KEYS, matrix, strict=True):
            cells = zip(SURVEY_KEYS, line, strict=True)
            yield {"population": label, "key": key, **{k: f"{r:.6f}" for k, r in cells}}


def thirds(rows: Rows) -> Iterator[tuple[Rows, Rows]]:
    """Yield each random third with the rest: rows to fit, rows kept out."""
    part = np.random.default_rng(SEED).permutation(len(rows.sex)) % THIRDS
    for third in range(THIRDS):
        yield rows.where(part != third), rows.where(part == third)


def places(rows: Rows) -> dict[str, tuple[FloatArray, FloatArray]]:
    """
    Return where kept-out readings lie in their completed intervals.

    Returns
    -------
    dict
        By way of completing: sides, shape (n, 11), -1 below the 90 % interval, 0 inside,
        1 above; and the weight of each row, shape (n,).
    """
    ways: dict[str, list[FloatArray]] = {"sex": [], "pooled": [], "unstated": []}
    sexes: list[NDArray[np.str_]] = []
    for kept_in, kept_out in thirds(rows):
        people = fit(kept_in)
        sexes.append(kept_out.sex)
        for way, found in ways.items():
            lines = zip(kept_out.sex, kept_out.values_mm, strict=True)
            found.append(np.array([_sides(s, x, way, people) for s, x in lines]))
    sex = np.concatenate(sexes)
    counts = {s: np.count_nonzero(sex == s) for s in SEXES}
    half = np.array([0.5 / counts[s] for s in sex])
    sides = {way: np.concatenate(found) for way, found in ways.items()}
    by_sex: dict[str, tuple[FloatArray, FloatArray]] = {
        s: (sides["sex"], (sex == s) / counts[s]) for s in SEXES
    }
    return {
        **by_sex,
        "pooled": (sides["pooled"], half),
        "unstated": (sides["unstated"], half),
    }


def _sides(
    sex: Sex, values: FloatArray, way: str, people: Mapping[str, Population]
) -> list[float]:
    given: dict[str, Any] = dict(zip(GIVEN, values.tolist(), strict=False))
    record = make_record(sex=sex if way == "sex" else None, **given)
    done = complete(record, by="pooled" if way == "pooled" else "sex", tables=people)
    sides = []
    for key, value in zip(SURVEY_KEYS[len(GIVEN) :], values[len(GIVEN) :], strict=True):
        low, high = done.interval_mm(key, level=0.90)
        sides.append(float(value > high) - float(value < low))
    return sides


def coverage(rows: Rows) -> Iterator[dict[str, object]]:
    """Yield the coverage of each completed measure for each way of completing."""
    for way, (sides, weight) in places(rows).items():
        used = np.count_nonzero(weight)
        error = 100 * np.sqrt(0.09 * float(weight @ weight))
        for key, side in zip(SURVEY_KEYS[len(GIVEN) :], sides.T, strict=True):
            yield {
                "completed_by": way,
                "key": key,
                "rows_kept_out": used,
                "covered_percent": f"{100 * (weight @ (side == 0)):.2f}",
                "below_percent": f"{100 * (weight @ (side < 0)):.2f}",
                "above_percent": f"{100 * (weight @ (side > 0)):.2f}",
                "standard_error_percent": f"{error:.2f}",
            }


def doubts(rows: Rows) -> Iterator[dict[str, object]]:
    """Yield how many people of the survey, all real, would be doubted or refused."""
    for count in (len(GIVEN), len(SURVEY_KEYS)):
        for sex in SEXES:
            found = [
                [slip.severity for slip in check_record(_bare_record(sex, line[:count]))]
                for line in rows.of(sex)
            ]
            refused = sum("refuse" in severities for severities in found)
            doubted = sum("doubt" in severities for severities in found)
            yield {
                "sex": sex,
                "readings_given": count,
                "rows": len(found),
                "doubted_percent": f"{100 * doubted / len(found):.2f}",
                "refused_percent": f"{100 * refused / len(found):.2f}",
            }


def _bare_record(sex: Sex, values: FloatArray) -> Record:
    """Return a record of survey readings without the checks of ``make_record``."""
    pairs = zip(SURVEY_KEYS, values.tolist(), strict=False)
    return Record(
        name="survey",
        sex=sex,
        readings={key: Reading(values_mm=(value,)) for key, value in pairs},
        hair_mm={},
        tape_hair_mm=None,
        glasses=None,
        notes="",
    )


def write_table(path: Path, lines: Iterable[Mapping[str, object]]) -> None:
    """Write lines with the same columns as a CSV table."""
    table = list(lines)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(table[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(table)


def main(paths: Sequence[str]) -> None:
    """Read the rows and write every table."""
    if not paths:
        sys.exit("Give the path of one or more CSV files of survey rows.")
    rows = read_rows(paths)
    people = fit(rows)
    write_table(DATA / "survey_summary.csv", summary(rows, people))
    write_table(DATA / "survey_correlations.csv", correlations(people))
    write_table(REFERENCE / "survey_coverage.csv", coverage(rows))
    write_table(REFERENCE / "survey_doubts.csv", doubts(rows))


if __name__ == "__main__":
    main(sys.argv[1:])
