"""Glasses worn under the piece: do they clear the wall, and does their rim cut the view."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._cast import cast_cells
from fitkit.fit._cavity import cavity_of
from fitkit.fit._directions import direction_grid
from fitkit.fit._looks import Settings, look_of
from fitkit.fit._shell import Shell
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM
from fitkit.fit.sight import SIDES, Side
from fitkit.fit.visual_fields import ReferenceField, reference_field
from fitkit.geometry.mesh import FloatArray, Mesh, join
from fitkit.geometry.rays import RayScene
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.fit.brief import Brief
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.record import Glasses

#: Shape of the glasses where the record does not say, ours: gap between the two rims,
#: width of a rim, height of an arm, all in mm; and the exponent that rounds a lens
#: (2 an ellipse, large a rectangle).
BRIDGE_MM, RIM_MM, ARM_MM, ROUNDNESS = 18.0, 3.0, 5.0, 4.0
#: Points around a lens, and along an arm.
AROUND, ALONG = 72, 12


@dataclass(frozen=True, kw_only=True, eq=False)
class GlassesCheck:
    """
    The glasses of the record inside one placed piece.

    Only their width, height and depth are on record; the rest of their shape is taken
    for that of a common frame.
    """

    #: Whether the record has glasses at all; the figures below are nan if not.
    worn: bool
    #: Least gap from the glasses to the finished inner wall; negative: they clash. [mm]
    clearance_mm: float
    #: Where that is, head frame, shape (3,). [mm]
    at: FloatArray
    #: Part of the glasses there: "rim" or "arm"; "" without glasses.
    part: str
    #: Share of what each eye sees in the piece that the glasses' rims and arms hide, by
    #: solid angle from the pupil's centre. [%]
    hidden_percent: Mapping[Side, float]
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


def check_glasses(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    reference: str | ReferenceField = "wide",
) -> GlassesCheck:
    """
    Check the glasses of the record, if any, against the finished wall and the view.

    Raises
    ------
    BriefError
        If the reference field is unknown.
    """
    glasses = wearer.record.glasses
    if glasses is None:
        nan = float("nan")
        return GlassesCheck(
            worn=False,
            clearance_mm=nan,
            at=np.full(3, nan),
            part="",
            hidden_percent=MappingProxyType(dict.fromkeys(SIDES, nan)),
            cautions=(),
        )
    rims, arms = glasses_parts(wearer, glasses)
    gap, at, part = _clearance(piece, placement, {"rim": rims, "arm": arms})
    hidden = _hidden(wearer, piece, placement, join([rims, arms]), reference)
    return GlassesCheck(
        worn=True,
        clearance_mm=gap,
        at=at,
        part=part,
        hidden_percent=hidden,
        cautions=tuple(_cautions(gap, part)),
    )


def glasses_gap(
    wearer: Wearer, piece: Piece, placement: Placement
) -> tuple[float, FloatArray, str]:
    """
    Find the least gap from the glasses to the finished inner wall.

    Returns
    -------
    gap_mm : float
        Negative where they clash; nan without glasses. [mm]
    at : ndarray, shape (3,)
        Where, head frame. [mm]
    part : str
        "rim" or "arm"; "" without glasses.
    """
    glasses = wearer.record.glasses
    if glasses is None:
        return float("nan"), np.full(3, np.nan), ""
    rims, arms = glasses_parts(wearer, glasses)
    return _clearance(piece, placement, {"rim": rims, "arm": arms})


def glasses_parts(wearer: Wearer, glasses: Glasses) -> tuple[Mesh, Mesh]:
    """Model the rims and the arms of a pair of glasses, in the head frame."""
    eyes = wearer.eye_left, wearer.eye_right
    middle = np.mean([eye.entrance_pupil for eye in eyes], axis=0)
    ahead = float(np.mean([eye.cornea[1] for eye in eyes])) + glasses.depth_mm
    half = (glasses.width_mm - BRIDGE_MM) / 4
    rims = [
        _ring(half_right=half, half_up=glasses.height_mm / 2, at=(aside, ahead, middle[2]))
        for aside in (
            middle[0] - half - BRIDGE_MM / 2,
            middle[0] + half + BRIDGE_MM / 2,
        )
    ]
    arms = [
        _arm(middle[0] + s * glasses.width_mm / 2, ahead, middle[2]) for s in (-1.0, 1.0)
    ]
    return join(rims), join(arms)


def wearing_glasses(wearer: Wearer, brief: Brief) -> Wearer:
    """
    Give a wearer whose glasses are part of the head, for whoever asks for ease alone.

    Points of the glasses join the zones of the eyes; the ease asked there is met, for
    them, where they just clear the wall. The same wearer without glasses.
    """
    glasses = wearer.record.glasses
    if glasses is None:
        return wearer
    points = join(list(glasses_parts(wearer, glasses))).vertices
    sides = np.where(points[:, 0] < 0, "eye_left", "eye_right")
    asked = np.array([brief.ease[side].least_mm for side in sides])
    zone = np.array([ZONES.index(side) for side in sides])
    return replace(
        wearer,
        head=Mesh(np.concatenate([wearer.head.vertices, points]), wearer.head.faces),
        zone=np.concatenate([wearer.zone, zone]),
        hair_mm=np.concatenate([wearer.hair_mm, -asked]),
    )


def _ring(*, half_right: float, half_up: float, at: tuple[float, float, float]) -> Mesh:
    turn = 2 * np.pi * np.arange(AROUND) / AROUND
    shape = np.column_stack([np.cos(turn), np.zeros(AROUND), np.sin(turn)])
    rounded = np.sign(shape) * np.abs(shape) ** (2 / ROUNDNESS)
    outer = rounded * [half_right, 0, half_up] + np.array(at)
    inner = rounded * [half_right - RIM_MM, 0, half_up - RIM_MM] + np.array(at)
    return _band(outer, inner, closed=True)


def _arm(right: float, ahead: float, up: float) -> Mesh:
    back = np.linspace(ahead, 0.0, ALONG)
    line = np.column_stack([np.full(ALONG, right), back, np.full(ALONG, up)])
    lift = np.array([0, 0, ARM_MM / 2])
    return _band(line + lift, line - lift, closed=False)


def _band(first: FloatArray, second: FloatArray, *, closed: bool) -> Mesh:
    n = len(first)
    a = np.arange(n if closed else n - 1)
    b = (a + 1) % n
    faces = np.concatenate(
        [np.column_stack([a, b, b + n]), np.column_stack([a, b + n, a + n])]
    )
    return Mesh(np.concatenate([first, second]), faces)


def _clearance(
    piece: Piece, placement: Placement, parts: Mapping[str, Mesh]
) -> tuple[float, FloatArray, str]:
    cavity = cavity_of(piece).stretched(placement.size)
    least, at, name = np.inf, np.full(3, np.nan), ""
    for part, mesh in parts.items():
        gaps = cavity.gaps(mesh.vertices, placement).signed_mm - piece.lining_mm
        if gaps.min() < least:
            least, at, name = float(gaps.min()), mesh.vertices[gaps.argmin()], part
    return least, at, name


def _hidden(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    glasses: Mesh,
    reference: str | ReferenceField,
) -> Mapping[Side, float]:
    grid = direction_grid(1.0)
    settings = Settings(grid, PUPIL_MM, 1, reference_field(reference), 1)
    shell, frame = Shell(piece, placement), RayScene(glasses)
    hidden: dict[Side, float] = {}
    for side in SIDES:
        areas = []
        for worn in ((shell,), (shell, frame)):
            cells = cast_cells(look_of(wearer, side, settings, worn), grid)
            areas.append(float((cells.lit * grid.solid_angle_sr).sum()))
        hidden[side] = 100 * (1 - areas[1] / areas[0]) if areas[0] else float("nan")
    return MappingProxyType(hidden)


def _cautions(gap: float, part: str) -> list[str]:
    if gap >= 3:
        return []
    state = f"stand {-gap:.1f} mm in" if gap < 0 else f"come within {gap:.1f} mm of"
    return [
        f"The {part} of the glasses would {state} the finished wall: give them room, wear "
        "smaller ones, or contact lenses."
    ]
