"""The sheet of gaps to read at a trial fitting, read back, and what it taught."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from fitkit.errors import FitkitError, MeasureError, SheetError
from fitkit.fit.trial import GapPoint, TrialAnswer
from fitkit.plots.paper import svg_bytes
from fitkit.plots.trial import trial_figure
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.tables import Column, Table, table_csv
from fitkit.text_files import read_text, replace_text
from fitkit.views.trials import trial_view
from fitkit.wearer.number import number_problem
from fitkit.wearer.trial_notes import GAP_RANGE_MM

#: How the gaps are read, for the top of the sheet.
HOW_TO_READ: tuple[str, ...] = (
    "Put the piece on as it will be worn, over the cap or the hair of the show; head "
    "upright, looking straight ahead, lips closed.",
    "At each place take the shortest gap from the hair, pressed as lightly as by the "
    "gauge's own weight, to the finished inner wall: a stepped wedge, a depth rod through "
    "a pilot hole, or a plug of soft putty measured afterwards. In mm, to half a mm.",
    "Distances are from the ear hole or the midline, level or upright, not along the skin.",
    "Touching is 0. Where it presses in, write how far with a dash: -2. Leave empty what "
    "cannot be reached; read twice where it is easy.",
)
#: Columns in which readings are typed.
GAP_COLUMNS = ("gap_mm", "gap_again_mm")
#: Largest sheet that is read. [bytes]
LARGEST_SHEET = 1_000_000


def points_table(points: Sequence[GapPoint]) -> Table:
    """Give the list of gaps to read, with empty columns for the readings."""
    columns = (
        Column(key="number", title="No.", digits=0),
        Column(key="key", title="Key", on_page=False),
        Column(key="place", title="Place"),
        Column(key="low_mm", title="Expect from, mm", digits=0),
        Column(key="high_mm", title="to, mm", digits=0),
        Column(key=GAP_COLUMNS[0], title="Gap, mm", digits=1),
        Column(key=GAP_COLUMNS[1], title="again, mm", digits=1),
    )
    rows = tuple(
        (
            float(point.number),
            point.key,
            point.words,
            round(point.low_mm, 1),
            round(point.high_mm, 1),
            None,
            None,
        )
        for point in points
    )
    return Table(name="gaps_to_read", title="Gaps to read", columns=columns, rows=rows)


def write_points(
    points: Sequence[GapPoint], path: str | Path, *, overwrite: bool = False
) -> None:
    """
    Save the list of gaps to read as a CSV file, to be filled in.

    Parameters
    ----------
    points : sequence of GapPoint
    path : path-like
    overwrite : bool
        Whether a file already there may be replaced, readings and all.

    Raises
    ------
    SheetError
        If a file is there and may not be replaced, or it cannot be written.
    """
    path = Path(path)
    if path.exists() and not overwrite:
        msg = (
            f"{path} is there already, maybe with readings in it. Choose another name, or "
            "say overwrite=True."
        )
        raise SheetError(msg)
    replace_text(path, table_csv(points_table(points)), raises=SheetError)


def read_gaps(path: str | Path) -> dict[str, tuple[float, ...]]:
    """
    Read back a list of gaps that was filled in.

    Parameters
    ----------
    path : path-like
        CSV with the columns ``key``, ``gap_mm`` and, if one likes, ``gap_again_mm``;
        separated by comma, semicolon or tab; decimals with a point or a comma. Rows
        without a reading are passed over.

    Returns
    -------
    dict of str to tuple of float
        Repeats by the key of their place, for `learn_from_trial`. [mm]

    Raises
    ------
    MeasureError
        If it cannot be read or used; names the file, and the row of each problem.
    """
    path = Path(path)
    try:
        return _gaps(read_text(path, most_bytes=LARGEST_SHEET, raises=MeasureError))
    except FitkitError as problem:
        raise MeasureError(f"{path.name}: {problem}") from None


def trial_part(answer: TrialAnswer) -> Part:
    """Give what a trial fitting taught, for a report."""
    return Part(
        name="trial",
        title="Trial fitting",
        sentences=answer.sentences,
        pictures={"gaps": _picture(answer)},
        tables=(readings_table(answer),),
        cautions=answer.cautions,
    )


def readings_table(answer: TrialAnswer) -> Table:
    """Give every reading beside what was foretold, and as now thought."""
    columns = (
        Column(key="key", title="Key", on_page=False),
        Column(key="place", title="Place"),
        Column(key="foretold_mm", title="Foretold, mm", digits=1),
        Column(key="foretold_sd_mm", title="± (one sd)", digits=1),
        Column(key="gap_mm", title="Read, mm", digits=1),
        Column(key="off_mm", title="Off by, mm", digits=1),
        Column(key="after_mm", title="Now thought, mm", digits=1),
        Column(key="after_sd_mm", title="± (one sd)", digits=1),
        Column(key="reason", title="Likely reason"),
    )
    rows = tuple(
        (
            one.point.key,
            one.point.words,
            one.point.ease_mm,
            one.point.sd_mm,
            one.gap_mm,
            one.off_mm,
            one.after_mm,
            one.after_sd_mm,
            one.reason,
        )
        for one in answer.readings
    )
    return Table(name="gaps_read", title="Gaps read", columns=columns, rows=rows)


def _picture(answer: TrialAnswer) -> Picture:
    return Picture(
        name="trial_fitting.svg",
        data=svg_bytes(trial_figure(trial_view(answer))),
        alternative="Every gap read, beside what was foretold with its spread.",
        caption=(
            "Gaps at the trial fitting. A reading outside its band says that head, hair or "
            "seat differ from what was thought, or that it was misread."
        ),
    )


# -- reading back ---------------------------------------------------------------------


def _gaps(text: str) -> dict[str, tuple[float, ...]]:
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as problem:
        raise MeasureError(f"is no table that can be read: {problem}.") from None
    heading = [cell.strip() for cell in lines[0]] if lines else []
    missing = [name for name in ("key", GAP_COLUMNS[0]) if name not in heading]
    if missing:
        msg = (
            f"row 1 must name the columns key and gap_mm; {' and '.join(missing)} missing."
        )
        raise MeasureError(msg)
    found: dict[str, tuple[float, ...]] = {}
    problems: list[str] = []
    for number, cells in enumerate(lines[1:], start=2):
        row = dict(zip(heading, cells, strict=False))
        _add_row(f"row {number}", row, found, problems)
    if problems:
        raise MeasureError("\n".join(problems))
    if not found:
        raise MeasureError("no gap is filled in. Type the readings into gap_mm.")
    return found


def _add_row(
    name: str,
    row: dict[str, str],
    found: dict[str, tuple[float, ...]],
    problems: list[str],
) -> None:
    texts = [row.get(column, "").strip() for column in GAP_COLUMNS]
    given = [text for text in texts if text]
    if not given:
        return
    key = row["key"].strip()
    if not key or key in found:
        said = "has a gap but no key" if not key else f"repeats {key}"
        problems.append(f"{name} {said}. Give each place one row; repeats in gap_again_mm.")
        return
    values = [_number(f"{name}: {key}", text, problems) for text in given]
    found[key] = tuple(value for value in values if value is not None)


def _number(name: str, text: str, problems: list[str]) -> float | None:
    low, high = GAP_RANGE_MM
    plain = text.replace("−", "-").replace("–", "-").lstrip("'")
    try:
        value: object = float(plain.replace(",", "."))
    except ValueError:
        value = text
    problem = number_problem(name, value, low=low, high=high)
    if problem is None:
        return float(plain.replace(",", "."))
    problems.append(problem[0])
    return None
