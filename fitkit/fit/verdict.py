"""Which demands of a brief one placement meets and misses: quick, for every move."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fitkit.fit._words import percent
from fitkit.fit.brief import Brief
from fitkit.fit.ease import EaseMap, ZoneEase, ease
from fitkit.fit.glasses import glasses_gap
from fitkit.fit.jaw import JawCheck, check_jaw
from fitkit.fit.placement import Placement
from fitkit.fit.sight import EyeCheck, Side, check_sight, eye_openings, sight_margin_mm
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import zone_words

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Demands missed by no more than this are met. [mm]
MET_MM = 0.02
#: Sizes beyond a limit by no more than this factor are within it.
MET_SIZE = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Verdict:
    """Whether one placement fits, and the first checks that say so."""

    #: Whether every demand of the brief is met.
    verdict: Literal["fits", "does not fit"]
    #: Demands that are missed, one sentence each, the worst first; empty if it fits.
    reasons: tuple[str, ...]
    ease: EaseMap
    #: First checks of sight by eye, "left" and "right".
    sight: Mapping[Side, EyeCheck]
    jaw: JawCheck


def judge(wearer: Wearer, piece: Piece, placement: Placement, brief: Brief) -> Verdict:
    """
    Hold one placement against a brief; how sure that is, and what to change, are apart.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    brief : Brief
    """
    gaps = ease(wearer, piece, placement, brief=brief)
    sight = check_sight(wearer, piece, placement)
    jaw = check_jaw(wearer, piece, placement)
    missed = [
        *_missed_ease(gaps),
        *_missed_sight(piece, brief, sight),
        *_missed_hinge(brief, jaw),
        *_missed_size(placement, brief),
        *_missed_glasses(wearer, piece, placement),
    ]
    reasons = tuple(words for _, words in sorted(missed, key=lambda one: -one[0]))
    return Verdict(
        verdict="does not fit" if reasons else "fits",
        reasons=reasons,
        ease=gaps,
        sight=sight,
        jaw=jaw,
    )


def _missed_ease(gaps: EaseMap) -> Iterator[tuple[float, str]]:
    for zone in gaps.by_zone.values():
        if zone.short_mm > MET_MM:
            yield zone.short_mm, _short_words(zone)
        if zone.loose_mm > MET_MM:
            words = (
                f"{zone_words(zone.zone).capitalize()}: the median gap is "
                f"{zone.median_mm:.1f} mm, {zone.loose_mm:.1f} mm more than the "
                f"{zone.most_mm:g} mm that its pad should bridge."
            )
            yield zone.loose_mm, words


def _short_words(zone: ZoneEase) -> str:
    name = zone_words(zone.zone).capitalize()
    if zone.least_mm < 0:
        state = f"the wall presses in by {-zone.least_mm:.1f} mm"
    else:
        state = f"the gap is {zone.least_mm:.1f} mm"
    return (
        f"{name}: {state} at its tightest, {zone.short_mm:.1f} mm short of the "
        f"{zone.wanted_mm:g} mm asked."
    )


def _missed_sight(
    piece: Piece, brief: Brief, sight: Mapping[Side, EyeCheck]
) -> Iterator[tuple[float, str]]:
    for side, opening in eye_openings(piece).items():
        if opening is None:
            continue
        asked, margin = sight_margin_mm(opening, brief), sight[side].margin_mm
        if margin < asked - MET_MM:
            where = (
                f"passes {-margin:.1f} mm outside its opening"
                if margin < 0
                else f"passes only {margin:.1f} mm inside its opening"
            )
            yield asked - margin, f"Sight: the {side} eye's straight-ahead line {where}."


def _missed_hinge(brief: Brief, jaw: JawCheck) -> Iterator[tuple[float, str]]:
    allowed = brief.hinge_tolerance_mm
    if allowed is not None and jaw.has_hinge and jaw.distance_mm > allowed + MET_MM:
        words = (
            f"Jaw: the hinge lies {jaw.distance_mm:.1f} mm from the chin pole, where "
            f"{allowed:g} mm was asked; the jaw will not follow the chin."
        )
        yield jaw.distance_mm - allowed, words


def _missed_glasses(
    wearer: Wearer, piece: Piece, placement: Placement
) -> Iterator[tuple[float, str]]:
    gap, _, part = glasses_gap(wearer, piece, placement)
    if gap < -MET_MM:
        words = f"Glasses: their {part} stands {-gap:.1f} mm in the finished wall."
        yield -gap, words


def _missed_size(placement: Placement, brief: Brief) -> Iterator[tuple[float, str]]:
    low, high = float(placement.size.min()), float(placement.size.max())
    over = max(high / brief.size_most, brief.size_least / low) - 1.0
    if over > MET_SIZE:
        said = high if high > brief.size_most else low
        words = (
            f"Size: {percent(said)} is outside the {percent(brief.size_least, 0)} to "
            f"{percent(brief.size_most, 0)} that the brief allows."
        )
        yield 100.0 * over, words
    distorted = placement.distortion_percent - brief.distortion_percent
    if distorted > 100.0 * MET_SIZE:
        words = (
            f"Proportions: the axes differ by {placement.distortion_percent:.1f} %, where "
            f"{brief.distortion_percent:g} % was allowed."
        )
        yield distorted, words
