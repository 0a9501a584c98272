"""Eye lines: where a line of gaze leaves the piece, and how far that is from an edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit import _outline
from fitkit.fit._shell import Shell, eye_of
from fitkit.fit.fixation import across_gaze, gaze_direction, turned_pupil
from fitkit.fit.placement import Placement
from fitkit.fit.sight import SIDES, Side, eye_openings, in_piece
from fitkit.geometry.mesh import FloatArray
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.piece.openings import Opening

#: A stage gaze unless another is asked for: the floor some six metres ahead. [deg]
STAGE_UP_DEG = -15.0
#: The free cone about a line is looked for up to here, in steps of this. [deg]
MOST_CONE_DEG, CONE_STEP_DEG = 60.0, 0.25
CONE_MERIDIANS = 72


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeLine:
    """
    One eye, turned to one direction of gaze, and the opening it looks through.

    Distances "as seen" are measured across the line of gaze. All of them are nan where
    the piece has no opening for this eye.
    """

    side: Side
    #: Direction of gaze: to the wearer's right and up. [deg]
    right_deg: float
    up_deg: float
    #: Name of the opening; None if there is none.
    opening: str | None
    #: Where the line meets the opening's plane, head frame, shape (3,). [mm]
    pierces_at: FloatArray
    #: From the line to the opening's edge at the drawn wall, as seen; positive inside.
    #: [mm]
    margin_mm: float
    #: Half-angle of the widest cone about the line that the finished wall leaves free,
    #: from the pupil's centre; 0 if the line itself is blocked. [deg]
    free_cone_deg: float
    #: How far along the line the finished wall stands in its way; inf if it does not.
    #: [mm]
    blocked_at_mm: float
    #: Move of the opening, or of the whole piece, that would centre it on the line: to
    #: the right and up as seen along the line. [mm]
    correct_right_mm: float
    correct_up_mm: float


def eye_line(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    side: Side,
    right_deg: float = 0.0,
    up_deg: float = 0.0,
) -> EyeLine:
    """
    Follow one eye's line of gaze through its opening.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    side : {"left", "right"}
        The wearer's eye.
    right_deg, up_deg : float
        Gaze, turned to the right and then raised; the eye turns about its centre of
        rotation and takes its pupil along. [deg]

    Raises
    ------
    BriefError
        If the gaze is beyond 60 degrees, or the eye's opening lies before the other
        eye.
    """
    gaze = gaze_direction(right_deg=right_deg, up_deg=up_deg)
    eye = eye_of(wearer, side)
    pupil = turned_pupil(eye, gaze)
    shell = Shell(piece, placement)
    opening = eye_openings(piece)[side]
    if opening is not None:
        _must_be_its_own(wearer, piece, placement, side)
    margin, pierce, off = _through(opening, placement, pupil, gaze)
    return EyeLine(
        side=side,
        right_deg=float(right_deg),
        up_deg=float(up_deg),
        opening=None if opening is None else opening.name,
        pierces_at=pierce,
        margin_mm=margin,
        free_cone_deg=_free_cone(shell, pupil, gaze),
        blocked_at_mm=float(shell.first_hit(pupil[None], gaze[None]).distance_mm[0]),
        correct_right_mm=float(off[0]),
        correct_up_mm=float(off[1]),
    )


def eye_lines(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    stage_right_deg: float = 0.0,
    stage_up_deg: float = STAGE_UP_DEG,
) -> tuple[EyeLine, ...]:
    """Follow both eyes straight ahead, then both along the stage gaze: four lines."""
    gazes = ((0.0, 0.0), (stage_right_deg, stage_up_deg))
    return tuple(
        eye_line(wearer, piece, placement, side=side, right_deg=right, up_deg=up)
        for right, up in gazes
        for side in SIDES
    )


def _through(
    opening: Opening | None, placement: Placement, pupil: FloatArray, gaze: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Margin, place where the line meets the opening's plane, and way to its middle."""
    if opening is None:
        return float("nan"), np.full(3, np.nan), np.full(2, np.nan)
    ring = placement.to_head(in_piece(opening, _outline.open_ring(opening.outline)))
    axes = np.stack(across_gaze(gaze))
    seen = (ring - pupil) @ axes.T
    margin = _outline.signed_margin(seen, np.zeros(2))
    return margin, _pierce(opening, placement, pupil, gaze), -_outline.centroid(seen)


def _pierce(
    opening: Opening, placement: Placement, pupil: FloatArray, gaze: FloatArray
) -> FloatArray:
    origin = placement.to_head(opening.plane_point)
    normal = placement.rotation @ (np.asarray(opening.plane_normal) / placement.size)
    slant = float(normal @ gaze)
    if abs(slant) < 1e-9 * float(np.linalg.norm(normal)):
        return np.full(3, np.nan)
    pierce: FloatArray = pupil + gaze * float(normal @ (origin - pupil)) / slant
    return pierce


def _free_cone(shell: Shell, pupil: FloatArray, gaze: FloatArray) -> float:
    right, up = across_gaze(gaze)
    off = np.radians(np.arange(0, MOST_CONE_DEG + CONE_STEP_DEG, CONE_STEP_DEG))
    turn = 2 * np.pi * np.arange(CONE_MERIDIANS) / CONE_MERIDIANS
    across = np.cos(turn)[:, None] * right + np.sin(turn)[:, None] * up
    ways = np.cos(off)[:, None, None] * gaze + np.sin(off)[:, None, None] * across
    flat = ways.reshape(-1, 3)
    blocked = shell.blocked(np.broadcast_to(pupil, flat.shape), flat)
    ring = blocked.reshape(len(off), -1).any(axis=1)
    return float(np.degrees(off[max(int(np.argmax(ring)) - 1, 0)])) if ring.any() else 60.0


def _must_be_its_own(
    wearer: Wearer, piece: Piece, placement: Placement, side: Side
) -> None:
    chosen = eye_openings(piece)
    across: Side = "left" if side == "right" else "right"
    opening, other = chosen[side], chosen[across]
    if opening is None or other is None or opening is other:
        return
    at = placement.to_head(opening.plane_point)
    gaps = {s: abs(float(at[0] - eye_of(wearer, s).entrance_pupil[0])) for s in SIDES}
    if gaps[across] < gaps[side]:
        msg = (
            f"The opening {opening.name!r} of the {side} eye lies {gaps[side]:.0f} mm to "
            f"the side of that eye, before the {across} one ({gaps[across]:.0f} mm off). "
            f"Left and right are the wearer's: are {opening.name!r} and {other.name!r} "
            "swapped in the notes?"
        )
        raise BriefError(msg)
