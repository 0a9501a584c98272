"""First checks of sight: where each eye's straight-ahead line passes its opening."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitkit.fit import _outline
from fitkit.fit._cavity import cavity_of
from fitkit.fit.brief import Brief
from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.wearer import Eye, Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.piece.openings import Opening

Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")
#: Columns seen along the straight-ahead line: right and up.
SEEN = [0, 2]
#: Share of the largest circle in a narrow eye opening that is asked for as margin.
CENTRAL = 0.9


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeCheck:
    """
    One eye looking straight ahead through its opening.

    Distances "as seen" are measured across the straight-ahead line, as the eye sees
    them, not along a slanting opening. All are nan where the piece has no eye opening.
    """

    #: The wearer's side.
    side: Side
    #: Name of the opening that this eye looks through; None if there is none.
    opening: str | None
    #: Where the line meets the opening's plane, head frame, shape (3,). [mm]
    pierces_at: FloatArray
    #: From the line to the opening's edge, as seen; positive inside. [mm]
    margin_mm: float
    #: From the line to the edge above, below, towards the nose, towards the temple, as
    #: seen; negative where the line passes outside that edge, nan where it passes the
    #: opening altogether. [mm]
    above_mm: float
    below_mm: float
    nasal_mm: float
    temporal_mm: float
    #: From the entrance pupil to the nearest place on the rim, in space. [mm]
    pupil_to_rim_mm: float
    #: From the front of the cornea to the finished wall or rim; negative beyond it. [mm]
    cornea_to_wall_mm: float
    #: Move of the piece that would centre the opening on the line: right (positive) and
    #: up (positive). [mm]
    correct_right_mm: float
    correct_up_mm: float


def check_sight(
    wearer: Wearer, piece: Piece, placement: Placement
) -> Mapping[Side, EyeCheck]:
    """
    Check both eyes, "left" and "right", looking straight ahead.

    The line starts at the entrance pupil and runs along +front. Openings are taken at
    the drawn wall; the full field of view through a wall of some thickness is another
    question.
    """
    chosen = eye_openings(piece)
    eyes: dict[Side, Eye] = {"left": wearer.eye_left, "right": wearer.eye_right}
    checks = {
        side: _check_eye(side, eyes[side], chosen[side], piece, placement) for side in SIDES
    }
    return MappingProxyType(checks)


def eye_openings(piece: Piece) -> Mapping[Side, Opening | None]:
    """
    Choose the opening that each eye looks through.

    Openings named eye_left and eye_right come first; else those of kind "eye": one
    serves both eyes (a visor), of several the leftmost and rightmost serve theirs.
    """
    eyes = [opening for opening in piece.openings if opening.kind == "eye"]
    eyes.sort(key=lambda opening: float(opening.rim[:, 0].mean()))
    named = {opening.name: opening for opening in eyes}
    outer = {"left": eyes[0], "right": eyes[-1]} if eyes else {}
    return {side: named.get(f"eye_{side}", outer.get(side)) for side in SIDES}


def seen_outline(opening: Opening, placement: Placement) -> FloatArray:
    """Outline of a placed opening as seen from behind: right and up, (m, 2). [mm]."""
    outline = _outline.open_ring(opening.outline)
    return placement.to_head(in_piece(opening, outline))[:, SEEN]


def hull_corners(opening: Opening) -> FloatArray:
    """Corners of the convex hull of an opening's outline, in its plane, (m, 2). [mm]."""
    return _outline.hull_outline(_outline.open_ring(opening.outline))


def sight_margin_mm(opening: Opening, brief: Brief) -> float:
    """
    Give the margin that can be asked of a straight-ahead line, at most the brief's.

    In an opening narrower than twice the margin the line is to be as central as can
    be: within a tenth of the largest circle that fits at the smallest size allowed.
    """
    seen = brief.size_least * in_piece(opening, hull_corners(opening))[:, SEEN]
    return min(brief.eye_margin_mm, CENTRAL * _outline.inner_radius(seen))


def in_piece(opening: Opening, outline: FloatArray) -> FloatArray:
    """Carry in-plane points of an opening, (m, 2), to the drawn piece, (m, 3). [mm]."""
    return _outline.in_space(outline, opening.plane_point, opening.axes)


def _check_eye(
    side: Side, eye: Eye, opening: Opening | None, piece: Piece, placement: Placement
) -> EyeCheck:
    if opening is None:
        return _unseen(side, eye, piece, placement)
    pupil = eye.entrance_pupil
    outline, line = seen_outline(opening, placement), pupil[SEEN]
    centre = _outline.centroid(outline)
    outward = np.array([1.0 if side == "right" else -1.0, 0.0])
    upward = np.array([0.0, 1.0])
    return EyeCheck(
        side=side,
        opening=opening.name,
        pierces_at=_pierce(opening, placement, pupil),
        margin_mm=_outline.signed_margin(outline, line),
        above_mm=_outline.reach(outline, line, upward),
        below_mm=_outline.reach(outline, line, -upward),
        nasal_mm=_outline.reach(outline, line, -outward),
        temporal_mm=_outline.reach(outline, line, outward),
        pupil_to_rim_mm=_outline.ring_distance(placement.to_head(opening.rim), pupil),
        cornea_to_wall_mm=_cornea_to_wall(eye, piece, placement),
        correct_right_mm=float(line[0] - centre[0]),
        correct_up_mm=float(line[1] - centre[1]),
    )


def _pierce(opening: Opening, placement: Placement, pupil: FloatArray) -> FloatArray:
    origin, along = placement.to_head(opening.plane_point), np.array([0.0, 1.0, 0.0])
    normal = placement.rotation @ (np.asarray(opening.plane_normal) / placement.size)
    slant = float(normal @ along)
    if abs(slant) < 1e-9 * float(np.linalg.norm(normal)):
        return np.full(3, np.nan)
    pierce: FloatArray = pupil + along * float(normal @ (origin - pupil)) / slant
    return pierce


def _cornea_to_wall(eye: Eye, piece: Piece, placement: Placement) -> float:
    cavity = cavity_of(piece).stretched(placement.size)
    gap = cavity.gaps(eye.cornea[None, :], placement).signed_mm
    return float(gap[0] - piece.lining_mm)


def _unseen(side: Side, eye: Eye, piece: Piece, placement: Placement) -> EyeCheck:
    nan = float("nan")
    return EyeCheck(
        side=side,
        opening=None,
        pierces_at=np.full(3, nan),
        margin_mm=nan,
        above_mm=nan,
        below_mm=nan,
        nasal_mm=nan,
        temporal_mm=nan,
        pupil_to_rim_mm=nan,
        cornea_to_wall_mm=_cornea_to_wall(eye, piece, placement),
        correct_right_mm=nan,
        correct_up_mm=nan,
    )
