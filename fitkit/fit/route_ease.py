"""What a route's spread, or a slip on the bench, does to the ease."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from fitkit.fit.brief import Brief
from fitkit.fit.ease import EaseMap, ease
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.route_effects import Slip, step_effects
from fitkit.piece.routes import Route
from fitkit.wearer.wearer import Wearer


@dataclass(frozen=True, kw_only=True)
class ZoneSpread:
    """How sure the least ease of a zone is, as far as the making goes."""

    zone: str
    #: Least ease if all goes as meant; positive air, negative clash. [mm]
    least_mm: float
    #: Standard deviations of it: by the layers, by the copies' shrinkage, and by both.
    #: [mm]
    layers_sd_mm: float
    copies_sd_mm: float
    sd_mm: float


@dataclass(frozen=True, kw_only=True)
class SlipEase:
    """Ease after one step was left out or doubled."""

    step: str
    slip: Slip
    #: Why no piece comes of it; empty if one does.
    problem: str
    #: Change of the least ease by zone; positive is more air. Empty if there is no
    #: piece. [mm]
    change_mm: Mapping[str, float]
    #: Least spare ease anywhere: negative falls short of the brief; nan if no piece. [mm]
    spare_mm: float


def route_spread(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    route: Route,
    brief: Brief | None = None,
) -> Mapping[str, ZoneSpread]:
    """
    Carry the spread of layers and shrinkages on to the least ease of each zone.

    Parameters
    ----------
    wearer, piece, placement
        The piece made by the route.
    route : Route
    brief : Brief, optional

    Returns
    -------
    mapping of ZoneSpread
        By zone.

    Raises
    ------
    BriefError
        If the spread leads to a size that no piece has.

    Notes
    -----
    Layers move the inner wall evenly, so ease moves by as much. Shrinkage scales the
    drawn surface about the midpoint of the tragia, the piece held in its pose; its
    effect is the difference between one standard deviation more and less.
    """
    even = ease(wearer, piece, placement, brief=brief)
    sd = route.master_scale_sd
    layers = route.lining_sd_mm
    wide, small = (
        ease(wearer, piece, _scaled(placement, 1 + sign * sd), brief=brief)
        for sign in (1, -1)
    )
    found = {}
    for zone, at in even.by_zone.items():
        copies = abs(wide.by_zone[zone].least_mm - small.by_zone[zone].least_mm) / 2
        found[zone] = ZoneSpread(
            zone=zone,
            least_mm=at.least_mm,
            layers_sd_mm=layers,
            copies_sd_mm=copies,
            sd_mm=math.hypot(layers, copies),
        )
    return MappingProxyType(found)


def slip_ease(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    route: Route,
    brief: Brief | None = None,
) -> tuple[SlipEase, ...]:
    """
    Ask for the ease after each step was left out, and after it was doubled.

    Parameters as `route_spread`; the master keeps the size it was made at, and the piece
    its pose.
    """
    even = ease(wearer, piece, placement, brief=brief)
    found = []
    for effect in step_effects(route):
        if effect.route is None:
            change: Mapping[str, float] = MappingProxyType({})
            spare = math.nan
        else:
            other = replace(piece, lining_mm=effect.route.lining_mm)
            pose = _scaled(placement, 1 + effect.size_percent / 100)
            slipped = ease(wearer, other, pose, brief=brief)
            change, spare = _change(even, slipped), slipped.tightest.spare_mm
        found.append(
            SlipEase(
                step=effect.step,
                slip=effect.slip,
                problem=effect.problem,
                change_mm=change,
                spare_mm=spare,
            )
        )
    return tuple(found)


def _scaled(placement: Placement, factor: float) -> Placement:
    """The placement with the piece grown about the head's origin."""
    return Placement(
        size=placement.size * factor,
        shift_mm=placement.shift_mm * factor,
        pitch_deg=placement.pitch_deg,
        yaw_deg=placement.yaw_deg,
        roll_deg=placement.roll_deg,
    )


def _change(before: EaseMap, after: EaseMap) -> Mapping[str, float]:
    return MappingProxyType(
        {
            zone: after.by_zone[zone].least_mm - at.least_mm
            for zone, at in before.by_zone.items()
        }
    )
