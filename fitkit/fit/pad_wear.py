"""Pads after hours of wear: what stays flat, how much looser, which pad to thicken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.padding import Case, Padding, Settled, pad_out
from fitkit.fit.pads import LEAST_THICK_MM
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Weighing
from fitkit.wearer.wearer import Wearer

#: A pad that loses less than this needs nothing done. [mm]
WORTH_MM = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Worn:
    """One set of pads before and after hours of wear."""

    hours: float
    #: Thickness that each pad loses for good, by name. [mm]
    lost_mm: Mapping[str, float]
    #: Thickness to cut each pad at so that it ends as thick as it was planned, by name;
    #: only pads that lose half a millimetre or more. [mm]
    thicken_to_mm: Mapping[str, float]
    #: Upright, new and worn.
    new: Settled
    worn: Settled
    #: How far the wall ahead of the eyes sinks with wear; negative is down. [mm]
    sinks_mm: float
    #: Softer by so much, worst axis: worn over new wobble.
    wobble_ratio: float
    #: In words.
    words: tuple[str, ...]


def wear_in(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    padding: Padding,
    weighing: Weighing,
    hours: float,
) -> Worn:
    """
    Say how padding changes over hours of wear.

    Parameters
    ----------
    wearer, piece, placement, weighing
        As for `pad_out`.
    padding : Padding
        With the case "upright".
    hours : float
        Worn, all told. [h]

    Returns
    -------
    Worn
        Each pad loses the compression set of its foam at its mean compression; it is
        then settled again. Set mostly comes back over days; what is given is soon after.

    Raises
    ------
    BriefError
        If `padding` lacks the case, or so much is lost that no pad touches.
    """
    in_range("hours", hours, low=0, high=10_000, unit="h")
    if "upright" not in padding.settled:
        msg = "padding must have the case 'upright'; pad it out with it first."
        raise BriefError(msg)
    new = padding.settled["upright"]
    lost = {
        pad.name: pad.thickness_mm
        * float(pad.foam.lasting_set(state.mean_strain, hours=hours))
        for pad, state in zip(padding.pads, new.pads, strict=False)
    }
    thinner = [
        replace(pad, thickness_mm=max(pad.thickness_mm - lost[pad.name], LEAST_THICK_MM))
        for pad in padding.pads
    ]
    case = Case(name="upright")
    after = pad_out(
        wearer, piece, placement, pads=thinner, weighing=weighing, cases=[case]
    ).settled["upright"]
    thicken = {
        pad.name: pad.thickness_mm**2 / (pad.thickness_mm - lost[pad.name])
        for pad in padding.pads
        if WORTH_MM <= lost[pad.name] < pad.thickness_mm
    }
    ratio = max(
        after.wobble_deg_per_nm[axis] / was for axis, was in new.wobble_deg_per_nm.items()
    )
    sinks = float(after.eye_line_shift_mm[2] - new.eye_line_shift_mm[2])
    return Worn(
        hours=hours,
        lost_mm=MappingProxyType(lost),
        thicken_to_mm=MappingProxyType(thicken),
        new=new,
        worn=after,
        sinks_mm=sinks,
        wobble_ratio=ratio,
        words=_words(hours, lost, thicken, sinks, ratio),
    )


def _words(
    hours: float,
    lost: Mapping[str, float],
    thicken: Mapping[str, float],
    sinks: float,
    ratio: float,
) -> tuple[str, ...]:
    most = max(lost, key=lambda name: lost[name])
    if lost[most] < WORTH_MM:
        return (
            f"After {hours:g} h no pad has lost more than {lost[most]:.1f} mm of its "
            "thickness: nothing to do.",
        )
    way = "down" if sinks < 0 else "up"
    words = [
        f"After {hours:g} h the {most} pad has lost most, {lost[most]:.1f} mm; the wall "
        f"ahead of the eyes moves {abs(sinks):.1f} mm {way}, and it rocks {ratio:.2f} "
        "times as far under the same push."
    ]
    words += [f"Cut {name} at {thick:.1f} mm." for name, thick in thicken.items()]
    return tuple(words)
