"""The answer that follows a slider: ease, sight and jaw of one placement, and a verdict."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from fitkit.fit.brief import Brief
from fitkit.fit.ease import EaseMap, ease
from fitkit.fit.jaw import JawCheck, check_jaw
from fitkit.fit.placement import Placement
from fitkit.fit.sight import EyeCheck, Side, check_sight, eye_openings, sight_margin_mm
from fitkit.fit.verdict import MET_MM, MET_SIZE
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """One placement answered in a few hundredths of a second."""

    #: The same verdict as a full assessment gives.
    verdict: Literal["fits", "does not fit"]
    #: Demands that are missed, one sentence each, the worst first; empty if it fits.
    reasons: tuple[str, ...]
    ease: EaseMap
    #: First checks of sight by eye, "left" and "right".
    sight: Mapping[Side, EyeCheck]
    jaw: JawCheck


def quick_answer(
    wearer: Wearer, piece: Piece, placement: Placement, brief: Brief
) -> Answer:
    """
    Answer one placement without the parts that take time: how sure, and what to change.

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
    ]
    reasons = tuple(words for _, words in sorted(missed, key=lambda one: -one[0]))
    return Answer(
        verdict="does not fit" if reasons else "fits",
        reasons=reasons,
        ease=gaps,
        sight=sight,
        jaw=jaw,
    )


def zone_title(zone: str) -> str:
    """
    Name a zone for people.

    Examples
    --------
    >>> zone_title("cheek_left")
    'Left cheek'
    """
    name, _, side = zone.partition("_")
    return f"{side} {name}".strip().capitalize()


def _missed_ease(gaps: EaseMap) -> Iterator[tuple[float, str]]:
    for zone in gaps.by_zone.values():
        title = zone_title(zone.zone)
        if zone.short_mm > MET_MM:
            yield (
                zone.short_mm,
                f"{title}: {zone.short_mm:.1f} mm short of {zone.wanted_mm:g} mm.",
            )
        if zone.loose_mm > MET_MM:
            yield (
                zone.loose_mm,
                f"{title}: median gap {zone.loose_mm:.1f} mm over {zone.most_mm:g} mm.",
            )


def _missed_sight(
    piece: Piece, brief: Brief, sight: Mapping[Side, EyeCheck]
) -> Iterator[tuple[float, str]]:
    for side, opening in eye_openings(piece).items():
        if opening is None:
            continue
        asked, margin = sight_margin_mm(opening, brief), sight[side].margin_mm
        if margin < asked - MET_MM:
            yield asked - margin, f"{side.capitalize()} eye: {line_words(margin)}."


def line_words(margin_mm: float) -> str:
    """Say where an eye's straight-ahead line passes, from its margin in mm."""
    where = "inside" if margin_mm >= 0 else "outside"
    return f"line of sight {abs(margin_mm):.1f} mm {where} the edge of its opening"


def _missed_hinge(brief: Brief, jaw: JawCheck) -> Iterator[tuple[float, str]]:
    allowed = brief.hinge_tolerance_mm
    if allowed is not None and jaw.has_hinge and jaw.distance_mm > allowed + MET_MM:
        words = f"Hinge: {jaw.distance_mm:.1f} mm from the chin pole, {allowed:g} allowed."
        yield jaw.distance_mm - allowed, words


def _missed_size(placement: Placement, brief: Brief) -> Iterator[tuple[float, str]]:
    low, high = float(placement.size.min()), float(placement.size.max())
    over = max(high / brief.size_most, brief.size_least / low) - 1.0
    if over > MET_SIZE:
        span = f"{100 * brief.size_least:g} to {100 * brief.size_most:g} %"
        yield 100.0 * over, f"Size: outside the {span} that the brief allows."
    distorted = placement.distortion_percent - brief.distortion_percent
    if distorted > 100.0 * MET_SIZE:
        words = (
            f"Proportions: axes differ by {placement.distortion_percent:.1f} %, "
            f"{brief.distortion_percent:g} % allowed."
        )
        yield distorted, words
