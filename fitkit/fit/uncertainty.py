"""How sure the ease is, and which measure to take to be surer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitkit.fit._sample import farthest_points
from fitkit.fit.ease import EaseMap, ZoneEase
from fitkit.fit.placement import FloatArray
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.spread import ways_of_measures
from fitkit.wearer.wearer import Wearer

#: Draws of heads as likely as this one, always the same ones.
DRAWS, SEED = 2000, 20250
#: Ends of the interval that is given. [%]
LOW, MIDDLE, HIGH = 5, 50, 95
#: Points of a zone that are looked at: those that could be its tightest.
POINTS_IN_ZONE = 60
#: Standard deviations by which a point could be off and be the tightest still.
REACH_SD = 3.0
#: Narrower by less than this share is not worth a measure.
WORTHWHILE = 0.05


@dataclass(frozen=True, kw_only=True)
class Interval:
    """Where the least ease of a zone lies, over heads as likely as this one."""

    #: One in twenty is tighter than this. [mm]
    low_mm: float
    #: Half are tighter than this. [mm]
    median_mm: float
    #: One in twenty is looser than this. [mm]
    high_mm: float

    @property
    def width_mm(self) -> float:
        """Width of the 90 % interval in mm."""
        return self.high_mm - self.low_mm


@dataclass(frozen=True, kw_only=True)
class Share:
    """What one cause adds to the doubt about the tightest ease."""

    #: A measure's key, "tape_hair_mm", or "shape" for what no measure tells.
    name: str
    #: In words.
    title: str
    #: Part of the variance that comes from it, 0 to 1.
    share: float
    #: Standard deviation that it alone would give. [mm]
    sd_mm: float


@dataclass(frozen=True, kw_only=True)
class Narrowing:
    """What one more reading would do to the interval of the tightest ease."""

    #: A measure's key, or "tape_hair_mm".
    name: str
    #: The advice as a sentence.
    words: str
    #: Whether the wearer's record has this measure already.
    again: bool
    #: Width of the 90 % interval now, and after the reading. [mm]
    width_mm: float
    width_after_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Uncertainty:
    """
    Least ease over heads as likely as this one, the piece staying where it is.

    A piece that settles on the head shares out a surplus between its two sides, so the
    interval errs to the wide side.
    """

    #: Zone with the least spare ease.
    zone: str
    #: Its least ease on this head. [mm]
    ease_mm: float
    #: Its interval.
    interval: Interval
    #: Interval of every zone.
    by_zone: Mapping[str, Interval]
    #: Share of the heads for which every zone keeps the ease asked for, 0 to 1.
    chance: float
    #: Share of the heads that the wall touches nowhere, 0 to 1.
    chance_clear: float
    #: Causes of the doubt, largest first; shares sum to 1 (empty if there is none).
    shares: tuple[Share, ...]
    #: Readings that would narrow the interval, best first; empty if none would.
    narrowings: tuple[Narrowing, ...]


def ease_uncertainty(wearer: Wearer, ease: EaseMap) -> Uncertainty:
    """
    Carry what is not known of the head to the least ease.

    Parameters
    ----------
    wearer : Wearer
        Its `spread` holds k ways in which the head may differ.
    ease : EaseMap
        Of this wearer in a placed piece.

    Returns
    -------
    Uncertainty
        The same for the same input.

    Notes
    -----
    Ease is linear in small displacements of the head: its gradient is the direction
    `away` from the wall. The least over a zone is not linear, so it is taken anew in
    each of 2000 draws, over the points that could be tightest. The share of a cause is
    the square of its mean slope, by C. Stein's identity: E[f(z) z_k] = E[df/dz_k] for
    standard normal z (Ann. Statist. 9, 1135-1151 (1981)). A further reading of a
    measure turns the k ways into those that are left after it (the conditional normal
    given one linear observation with the measure's repeat error).
    """
    draws = np.random.default_rng(SEED).standard_normal((DRAWS, len(wearer.spread)))
    parts = {
        name: _near_critical(wearer, ease, zone) for name, zone in ease.by_zone.items()
    }
    least = {name: _least(part, draws) for name, part in parts.items()}
    spare = [least[name] - zone.wanted_mm for name, zone in ease.by_zone.items()]
    tightest = ease.tightest
    interval = _interval(least[tightest.zone])
    return Uncertainty(
        zone=tightest.zone,
        ease_mm=tightest.least_mm,
        interval=interval,
        by_zone=MappingProxyType({name: _interval(one) for name, one in least.items()}),
        chance=_share_met(spare),
        chance_clear=_share_met(list(least.values())),
        shares=_shares(wearer, parts[tightest.zone], draws),
        narrowings=_narrowings(wearer, parts[tightest.zone], draws, interval),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Points:
    """Points of a zone that could be its tightest."""

    #: Ease, shape (m,). [mm]
    ease_mm: FloatArray
    #: Change of ease by one standard deviation of each way, shape (m, k). [mm]
    slope: FloatArray


def _near_critical(wearer: Wearer, ease: EaseMap, zone: ZoneEase) -> _Points:
    index = wearer.zone[zone.vertex]
    rows = np.nonzero(wearer.zone == index)[0]
    gap = ease.ease_mm[rows]
    slope = np.einsum("ni,kni->nk", ease.away[rows], wearer.spread[:, rows])
    reach = REACH_SD * np.linalg.norm(slope, axis=1)
    could = np.nonzero(gap - reach <= (gap + reach).min())[0]
    could = could[np.argsort(gap[could], kind="stable")]
    if len(could) > POINTS_IN_ZONE:
        points = wearer.head.vertices[rows[could]]
        half = POINTS_IN_ZONE // 2
        spread = farthest_points(points, half)
        could = could[np.union1d(np.arange(half), spread)]
    return _Points(ease_mm=gap[could], slope=slope[could].astype(float))


def _least(points: _Points, draws: FloatArray) -> FloatArray:
    least: FloatArray = (points.ease_mm + draws @ points.slope.T).min(axis=1)
    return least


def _share_met(spare: list[FloatArray]) -> float:
    return float(np.mean(np.min(spare, axis=0) >= 0.0))


def _interval(least: FloatArray) -> Interval:
    low, middle, high = np.percentile(least, [LOW, MIDDLE, HIGH])
    return Interval(low_mm=float(low), median_mm=float(middle), high_mm=float(high))


# -- causes ---------------------------------------------------------------------------


def _shares(wearer: Wearer, points: _Points, draws: FloatArray) -> tuple[Share, ...]:
    tightest = np.argmin(points.ease_mm + draws @ points.slope.T, axis=1)
    count = np.bincount(tightest, minlength=len(points.ease_mm)) / len(draws)
    variance = (count @ points.slope) ** 2
    total = float(variance.sum())
    if total == 0.0:
        return ()
    by_name: dict[str, float] = {}
    for name, part in zip(wearer.spread_names, variance, strict=True):
        by_name[name] = by_name.get(name, 0.0) + float(part)
    shares = [
        Share(name=name, title=_title(name), share=part / total, sd_mm=part**0.5)
        for name, part in by_name.items()
    ]
    return tuple(sorted(shares, key=lambda share: -share.share))


def _title(name: str) -> str:
    if name in CATALOGUE:
        return CATALOGUE[name].title
    return {"shape": "shape of the head", "tape_hair_mm": "hair under the tape"}.get(
        name, name
    )


# -- readings that would help ---------------------------------------------------------


def _narrowings(
    wearer: Wearer, points: _Points, draws: FloatArray, now: Interval
) -> tuple[Narrowing, ...]:
    found = []
    for name, way in _observable(wearer).items():
        length = float(np.linalg.norm(way))
        if length == 0.0:
            continue
        repeat = CATALOGUE[name].repeat_sd if name in CATALOGUE else 0.0
        kept = repeat / float(np.hypot(length, repeat))
        unit = way / length
        slope = points.slope - (1.0 - kept) * np.outer(points.slope @ unit, unit)
        after = _interval(_least(_Points(ease_mm=points.ease_mm, slope=slope), draws))
        if after.width_mm < (1.0 - WORTHWHILE) * now.width_mm:
            found.append(_narrowing(wearer, name, now, after))
    return tuple(sorted(found, key=lambda one: one.width_after_mm))


def _observable(wearer: Wearer) -> dict[str, FloatArray]:
    """Change of each measure that could be read by each way of the spread, (k,). [mm]."""
    names = wearer.spread_names
    columns: dict[str, list[int]] = {}
    for k, name in enumerate(names):
        columns.setdefault(name, []).append(k)
    ways: dict[str, FloatArray] = {}
    for name, own in columns.items():
        if name == "shape":
            continue
        way = np.zeros(len(names))
        repeats = len(wearer.record.readings[name].values_mm) if _read(wearer, name) else 1
        repeat = CATALOGUE[name].repeat_sd if name in CATALOGUE else 1.0
        way[own] = repeat / repeats**0.5
        ways[name] = way
    ways.update(_survey_ways(wearer, columns))
    return ways


def _survey_ways(wearer: Wearer, columns: Mapping[str, list[int]]) -> dict[str, FloatArray]:
    known = wearer.completion
    if not known.keys:
        return {}
    survey = ways_of_measures(known.keys, known.covariance_mm2, known.given)
    found = {}
    for row, key in enumerate(known.keys):
        way = np.zeros(len(wearer.spread_names))
        for column, name in enumerate(survey.names):
            if name in columns:
                way[columns[name][0]] = survey.change_mm[row, column]
        found[key] = way
    return found


def _narrowing(wearer: Wearer, name: str, now: Interval, after: Interval) -> Narrowing:
    again = _read(wearer, name)
    act = "Measure" if again else "Take"
    once_more = " once more" if again else ""
    title = _title(name)
    words = (
        f"{act} {title[:1].lower() + title[1:]}{once_more}: the 90 % interval of the "
        f"tightest ease narrows from {now.width_mm:.1f} to {after.width_mm:.1f} mm."
    )
    return Narrowing(
        name=name,
        words=words,
        again=again,
        width_mm=now.width_mm,
        width_after_mm=after.width_mm,
    )


def _read(wearer: Wearer, name: str) -> bool:
    return name in wearer.record.readings
