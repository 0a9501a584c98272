"""What the survey says of a wearer: usual values, missing measures, odd readings."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from fitkit.errors import MeasureError, range_message
from fitkit.wearer.measures import CATALOGUE, LITERATURE, measure

if TYPE_CHECKING:
    from fitkit.wearer.record import Reading, Record

FloatArray = NDArray[np.float64]
PopulationName = Literal["female", "male", "pooled"]
#: The two populations of the survey.
SEXES: tuple[Literal["female", "male"], ...] = ("female", "male")
#: Ages in the survey. [years]
SURVEY_AGES = (17.0, 58.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Population:
    """
    Joint distribution of the survey measures in one population.

    A measure is normal, or, where ``log_origin_mm`` is given, its excess over that
    origin is lognormal: necks and ears that stand out have a long upper tail.
    """

    #: Name of the population.
    label: str
    #: Measures, in the order of the arrays.
    keys: tuple[str, ...]
    #: Mean, shape (k,). [mm]
    mean_mm: FloatArray
    #: Covariance, shape (k, k). [mm2]
    covariance: FloatArray
    #: Origin of a lognormal measure, shape (k,); nan where the measure is normal. [mm]
    log_origin_mm: FloatArray

    @cached_property
    def working(self) -> tuple[FloatArray, FloatArray]:
        """Mean (k,) and covariance (k, k) on the scale where all measures are normal."""
        is_log = np.isfinite(self.log_origin_mm)
        excess = self.mean_mm - np.where(is_log, self.log_origin_mm, 0.0)
        scale = np.where(is_log, excess, 1.0)
        cov = self.covariance / np.outer(scale, scale)
        both = np.outer(is_log, is_log)
        cov[both] = np.log1p(cov[both])
        mean = np.where(is_log, np.log(excess) - np.diag(cov) / 2, excess)
        return mean, cov


@dataclass(frozen=True, kw_only=True, eq=False)
class Component:
    """One population's answer, and how much it counts in the whole."""

    #: Name of the population.
    label: str
    #: Share of this component, after the readings; all shares add to 1.
    weight: float
    #: Mean of every measure, shape (k,). [mm]
    mean_mm: FloatArray
    #: Covariance of the measures, shape (k, k). [mm2]
    covariance_mm2: FloatArray
    #: Mean on the working scale (see ``Population.working``), shape (k,).
    working_mean: FloatArray
    #: SD on the working scale, shape (k,).
    working_sd: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Completion:
    """Every survey measure of one wearer, given or completed, with its uncertainty."""

    #: Measures, in the order of the arrays.
    keys: tuple[str, ...]
    #: Expected value of each measure, given the readings, shape (k,). [mm]
    mean_mm: FloatArray
    #: Covariance of the measures, given the readings, shape (k, k). [mm2]
    covariance_mm2: FloatArray
    #: Measures that were read; the others were completed.
    given: frozenset[str]
    #: Share of each population after the readings, by its label; adds to 1.
    sex_weight: Mapping[str, float]
    #: The parts of the mixture, one for each population.
    components: tuple[Component, ...]
    #: Origin of a lognormal measure, shape (k,); nan where the measure is normal. [mm]
    log_origin_mm: FloatArray

    def value_mm(self, key: str) -> float:
        """Return the expected value of one measure. [mm]."""
        return float(self.mean_mm[self._index(key)])

    def sd_mm(self, key: str) -> float:
        """Return the SD of one measure about its expected value. [mm]."""
        i = self._index(key)
        return float(np.sqrt(self.covariance_mm2[i, i]))

    def interval_mm(self, key: str, *, level: float = 0.90) -> tuple[float, float]:
        """
        Return the central interval that holds one measure with the given probability.

        Parameters
        ----------
        key : str
            A survey measure.
        level : float
            Probability, above 0 and below 1.

        Returns
        -------
        low, high : float
            Exact quantiles of the mixture. [mm]

        Raises
        ------
        MeasureError
            If the measure is not completed here, or the level is not a probability.
        """
        if not 0.0 < level < 1.0:
            raise MeasureError(
                range_message(
                    "level",
                    low=0,
                    high=1,
                    unit="",
                    got=level,
                    cure="Give 0.90 for nine in ten.",
                )
            )
        i = self._index(key)
        tail = (1.0 - level) / 2
        return self._quantile_mm(i, tail), self._quantile_mm(i, 1.0 - tail)

    def _index(self, key: str) -> int:
        try:
            return self.keys.index(key)
        except ValueError:
            measure(key)
            msg = f"{key} is not in the survey, so it is not completed from it."
            raise MeasureError(msg) from None

    def _quantile_mm(self, i: int, p: float) -> float:
        weight = np.array([c.weight for c in self.components])
        mean = np.array([c.working_mean[i] for c in self.components])
        sd = np.array([c.working_sd[i] for c in self.components])
        ends = mean + sd * ndtri(p)
        u = float(ends[0])
        if np.ptp(ends) > 0:
            pad = 1e-6 * sd.max()
            u = float(
                brentq(
                    lambda x: weight @ ndtr((x - mean) / sd) - p,
                    ends.min() - pad,
                    ends.max() + pad,
                )
            )
        origin = float(self.log_origin_mm[i])
        return u if np.isnan(origin) else origin + float(np.exp(u))


def population(name: PopulationName) -> Population:
    """
    Return the survey's joint distribution of head measures.

    Parameters
    ----------
    name : {"female", "male", "pooled"}
        ``"pooled"`` counts women and men half and half, whatever their numbers.

    Returns
    -------
    Population
        Of the 14 measures for which ``CATALOGUE[key].survey`` is true.

    Raises
    ------
    MeasureError
        If there is no such population.

    References
    ----------
    ANSUR II public data (2012), report NATICK/TR-15/007; see data/SOURCES.md.

    Examples
    --------
    >>> round(float(population("male").mean_mm[0]))
    574
    """
    tables = populations()
    if name not in tables:
        msg = f"There is no population {name!r}; known: {', '.join(tables)}."
        raise MeasureError(msg)
    return tables[name]


@cache
def populations() -> Mapping[str, Population]:
    """Return the three populations of the committed tables by name."""
    by_sex: dict[str, Population] = {sex: _read_population(sex) for sex in SEXES}
    return MappingProxyType({**by_sex, "pooled": pool(by_sex)})


def pool(by_sex: Mapping[str, Population]) -> Population:
    """
    Return the distribution of women and men half and half, as normal by its moments.

    No measure is lognormal here: of two humps side by side a normal is the better fit.

    Parameters
    ----------
    by_sex : mapping
        Populations ``"female"`` and ``"male"`` with the same keys.

    Returns
    -------
    Population
    """
    women, men = by_sex["female"], by_sex["male"]
    apart = men.mean_mm - women.mean_mm
    return Population(
        label="pooled",
        keys=women.keys,
        mean_mm=(women.mean_mm + men.mean_mm) / 2,
        covariance=(women.covariance + men.covariance) / 2 + np.outer(apart, apart) / 4,
        log_origin_mm=np.full(women.mean_mm.shape, np.nan),
    )


def _table(name: str) -> list[dict[str, str]]:
    text = (files("fitkit") / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _read_population(label: str) -> Population:
    rows = [r for r in _table("survey_summary.csv") if r["population"] == label]
    links = [r for r in _table("survey_correlations.csv") if r["population"] == label]
    keys = tuple(r["key"] for r in rows)
    sd = np.array([float(r["sd_mm"]) for r in rows])
    correlation = np.array([[float(r[key]) for key in keys] for r in links])
    return Population(
        label=label,
        keys=keys,
        mean_mm=np.array([float(r["mean_mm"]) for r in rows]),
        covariance=correlation * np.outer(sd, sd),
        log_origin_mm=np.array([float(r["log_origin_mm"] or "nan") for r in rows]),
    )


def complete(
    record: Record,
    *,
    by: Literal["sex", "pooled"] = "sex",
    tables: Mapping[str, Population] | None = None,
) -> Completion:
    """
    Complete the missing survey measures of a wearer from those that were read.

    Parameters
    ----------
    record : Record
        The wearer; readings outside the survey's measures are left aside.
    by : {"sex", "pooled"}
        ``"sex"`` uses the stated sex, or, where none is stated, the mixture of both
        with weights from the readings. ``"pooled"`` uses one distribution of women and
        men half and half, whatever is stated.
    tables : mapping, optional
        Populations to use in place of the committed ones.

    Returns
    -------
    Completion

    Notes
    -----
    Each population is conditioned on the readings as a joint normal on its working
    scale [1]_; a reading's error is its repeat SD over the root of its repeats. With no
    sex stated, women and men start at one half each and are weighted by how well they
    explain the readings (Bayes).

    The sample is of adults of 17 to 58 in one army: children and very small or large
    heads lie outside it, and the intervals do not cover them.

    References
    ----------
    .. [1] T. W. Anderson, "An Introduction to Multivariate Statistical Analysis",
       section 2.5 (from memory).
    """
    tables = populations() if tables is None else tables
    stated = "pooled" if by == "pooled" else record.sex
    labels = SEXES if stated is None else (stated,)
    parts = [_condition(tables[label], record.readings) for label in labels]
    weights = _bayes_weights(np.array([evidence for *_, evidence in parts]))
    first = tables[labels[0]]
    components = tuple(
        _component(label, float(w), mean, cov, first.log_origin_mm)
        for label, w, (mean, cov, _) in zip(labels, weights, parts, strict=True)
    )
    mean_mm, covariance_mm2 = _mixture_moments(components)
    return Completion(
        keys=first.keys,
        mean_mm=mean_mm,
        covariance_mm2=covariance_mm2,
        given=frozenset(record.readings) & frozenset(first.keys),
        sex_weight={c.label: c.weight for c in components},
        components=components,
        log_origin_mm=first.log_origin_mm,
    )


def readings_on_scale(
    people: Population, readings: Mapping[str, Reading]
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """
    Put the survey readings of a record on the working scale of a population.

    Returns
    -------
    index : ndarray of int, shape (g,)
        Place of each reading among the population's keys.
    value : ndarray, shape (g,)
        Mean of its repeats on the working scale.
    variance : ndarray, shape (g,)
        Variance of that mean on the working scale.
    """
    index = np.array([i for i, k in enumerate(people.keys) if k in readings], dtype=np.intp)
    given = [(people.keys[i], readings[people.keys[i]]) for i in index]
    mean = np.array([r.mean_mm for _, r in given])
    error = np.array([CATALOGUE[k].repeat_sd / len(r.values_mm) ** 0.5 for k, r in given])
    origin = people.log_origin_mm[index]
    is_log = np.isfinite(origin)
    scale = np.where(is_log, mean - np.where(is_log, origin, 0.0), 1.0)
    return index, np.where(is_log, np.log(np.abs(scale)), mean), (error / scale) ** 2


def _condition(
    people: Population, readings: Mapping[str, Reading]
) -> tuple[FloatArray, FloatArray, float]:
    """Return mean, covariance and log evidence on the working scale."""
    mean, cov = people.working
    index, value, variance = readings_on_scale(people, readings)
    if not index.size:
        return mean, cov, 0.0
    seen = cov[np.ix_(index, index)] + np.diag(variance)
    gain = np.linalg.solve(seen, cov[index]).T
    miss = value - mean[index]
    after = cov - gain @ cov[index]
    evidence = -0.5 * (miss @ np.linalg.solve(seen, miss) + np.linalg.slogdet(seen)[1])
    return mean + gain @ miss, (after + after.T) / 2, float(evidence)


def _bayes_weights(evidence: FloatArray) -> FloatArray:
    share = np.exp(evidence - evidence.max())
    weights: FloatArray = share / share.sum()
    return weights


def _component(
    label: str, weight: float, mean: FloatArray, cov: FloatArray, origin: FloatArray
) -> Component:
    """Carry one conditioned population back to millimetres, by exact moments."""
    is_log = np.isfinite(origin)
    excess = np.where(is_log, np.exp(np.where(is_log, mean + np.diag(cov) / 2, 0.0)), 1.0)
    both = np.outer(is_log, is_log)
    spread = np.where(both, np.expm1(np.where(both, cov, 0.0)), cov)
    return Component(
        label=label,
        weight=weight,
        mean_mm=np.where(is_log, np.where(is_log, origin, 0.0) + excess, mean),
        covariance_mm2=spread * np.outer(excess, excess),
        working_mean=mean,
        working_sd=np.sqrt(np.maximum(np.diag(cov), 1e-18)),
    )


def _mixture_moments(parts: tuple[Component, ...]) -> tuple[FloatArray, FloatArray]:
    mean = sum((c.weight * c.mean_mm for c in parts), np.zeros(parts[0].mean_mm.shape))
    cov = np.zeros(parts[0].covariance_mm2.shape)
    for part in parts:
        off = part.mean_mm - mean
        cov += part.weight * (part.covariance_mm2 + np.outer(off, off))
    return mean, cov


@cache
def survey_span_mm(key: str, *, sex: PopulationName = "pooled") -> tuple[float, float]:
    """
    Return the least and the greatest value of a measure in the survey.

    Parameters
    ----------
    key : str
        A survey measure.
    sex : {"female", "male", "pooled"}
        Among whom.

    Returns
    -------
    least, greatest : float
        [mm]
    """
    rows = {(r["population"], r["key"]): r for r in _table("survey_summary.csv")}
    row = rows[sex, key]
    return float(row["least_mm"]), float(row["greatest_mm"])


def usual_mm(key: str, *, sex: PopulationName = "pooled") -> tuple[float, float]:
    """
    Return the mean and SD of a measure among people.

    Parameters
    ----------
    key : str
        A measure of the catalogue.
    sex : {"female", "male", "pooled"}
        Among whom.

    Returns
    -------
    mean, sd : float
        From the survey tables, else from the literature. [mm]
    """
    people = population(sex)
    if key in people.keys:
        i = people.keys.index(key)
        return float(people.mean_mm[i]), float(np.sqrt(people.covariance[i, i]))
    known = LITERATURE[measure(key).key]
    women, men = known.mean_mm["female"], known.mean_mm["male"]
    if sex == "pooled":
        return (women + men) / 2, float(np.hypot(known.sd_mm, (men - women) / 2))
    return known.mean_mm[sex], known.sd_mm
