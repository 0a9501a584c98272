"""Field of fixation: where the eye can look, turning in its socket, past every edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._cast import MERIDIAN_STEP_DEG
from fitkit.fit._checks import in_range
from fitkit.fit._directions import DirectionGrid, around, direction_grid
from fitkit.fit._shell import Occluder, Shell, any_blocked, eye_of, own_face
from fitkit.fit.field import STEP_RANGE_DEG, Limits, check_eyes
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM, check_pupil, disc_rule
from fitkit.fit.sight import SIDES, Side
from fitkit.fit.visual_fields import ReferenceField
from fitkit.geometry.mesh import BoolArray, FloatArray
from fitkit.wearer.wearer import Eye, Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: How far an eye turns without strain: 35 degrees to either side, 20 up, 25 down.
#: S. M. LaValle, *Virtual Reality*, section 5.3.
GAZE_RANGE = ReferenceField(
    name="comfortable gaze",
    up_deg=20.0,
    down_deg=25.0,
    nasal_deg=35.0,
    temporal_deg=35.0,
    source="S. M. LaValle, Virtual Reality, section 5.3",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeFixation:
    """Where one eye can look: gaze directions whose line leaves the piece free."""

    side: Side
    #: Share of the pupil that is lit from straight along each gaze direction of the
    #: grid, (n, m), 0 to 1; 0 outside the range of gaze.
    lit: FloatArray
    #: Limits of gaze within the range, from straight ahead.
    limits: Limits
    #: Share of the range of gaze that is free, by solid angle, from the pupil's centre.
    #: [%]
    percent_of_range: float


@dataclass(frozen=True, kw_only=True, eq=False)
class FieldOfFixation:
    """Fields of fixation of both eyes of one wearer in one placed piece."""

    grid: DirectionGrid
    left: EyeFixation
    right: EyeFixation
    #: How far the eyes are taken to turn.
    gaze_range: ReferenceField

    def eye(self, side: Side) -> EyeFixation:
        """The field of one eye."""
        return self.left if side == "left" else self.right


def field_of_fixation(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    step_deg: float = 1.0,
    pupil_mm: float = PUPIL_MM,
    samples: int = 19,
    gaze_range: ReferenceField = GAZE_RANGE,
) -> FieldOfFixation:
    """
    Find where each eye can look when it turns about its centre of rotation.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    step_deg : float
        Height and width of a cell of the map. [deg]
    pupil_mm : float
        Diameter of the pupil. [mm]
    samples : {19, 1}
        Points of the pupil.
    gaze_range : ReferenceField
        How far the eye turns; a comfortable range unless another is given.

    Raises
    ------
    BriefError
        As `field_of_view`.

    Notes
    -----
    The pupil travels on a sphere about the centre of rotation and stays square to the
    line of gaze, so an edge takes more from a turning eye than from a resting one: a
    round hole of radius a at distance d from the pupil leaves atan(a / (d + r)), with r
    from the centre of rotation to the pupil.
    """
    low, high = STEP_RANGE_DEG
    in_range("step_deg", step_deg, low=low, high=high, unit="deg")
    check_pupil(pupil_mm=pupil_mm, samples=samples)
    check_eyes(wearer, piece, placement)
    grid = direction_grid(step_deg)
    shell = Shell(piece, placement)
    eyes = {
        side: _fixation(
            _Gaze(
                eye=eye_of(wearer, side),
                occluders=(shell, own_face(wearer, side)),
                offsets_mm=disc_rule(samples)[0] * pupil_mm / 2,
                weights=disc_rule(samples)[1],
            ),
            side,
            grid,
            gaze_range,
        )
        for side in SIDES
    }
    return FieldOfFixation(
        grid=grid, left=eyes["left"], right=eyes["right"], gaze_range=gaze_range
    )


def turned_pupil(eye: Eye, gaze: FloatArray) -> FloatArray:
    """Centre of the pupil of an eye turned to unit gaze directions, shape (k, 3), in mm."""
    arm = float(np.linalg.norm(eye.entrance_pupil - eye.rotation_centre))
    centre: FloatArray = eye.rotation_centre + arm * gaze
    return centre


def gaze_direction(*, right_deg: float, up_deg: float) -> FloatArray:
    """Unit direction of a gaze turned to the wearer's right, then raised, shape (3,)."""
    in_range("right_deg", right_deg, low=-60, high=60, unit="deg")
    in_range("up_deg", up_deg, low=-60, high=60, unit="deg")
    aside, above = np.radians(right_deg), np.radians(up_deg)
    level = np.cos(above)
    return np.array([np.sin(aside) * level, np.cos(aside) * level, np.sin(above)])


def across_gaze(gaze: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Unit axes across gaze directions, right-ish then up-ish, each of shape (k, 3)."""
    right = np.cross(gaze, [0.0, 0.0, 1.0])
    right /= np.maximum(np.linalg.norm(right, axis=-1, keepdims=True), 1e-12)
    return right, np.cross(right, gaze)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Gaze:
    eye: Eye
    occluders: tuple[Occluder, ...]
    offsets_mm: FloatArray
    weights: FloatArray

    def free(self, gaze: FloatArray, offset_mm: FloatArray) -> BoolArray:
        """Say whether one point of the pupil is lit from along each gaze, shape (k,)."""
        right, up = across_gaze(gaze)
        start = turned_pupil(self.eye, gaze) + offset_mm[0] * right + offset_mm[1] * up
        return ~any_blocked(self.occluders, start, gaze)

    def lit(self, gaze: FloatArray) -> FloatArray:
        """Share of the pupil that is lit from along each gaze, shape (k,)."""
        lit = np.zeros(len(gaze))
        for offset, weight in zip(self.offsets_mm, self.weights, strict=True):
            lit += weight * self.free(gaze, offset)
        return lit


def _fixation(
    gaze: _Gaze, side: Side, grid: DirectionGrid, gaze_range: ReferenceField
) -> EyeFixation:
    within = gaze_range.contains(grid.directions, side=side)
    ways = grid.directions[within]
    lit = np.zeros(len(grid.directions))
    lit[within] = gaze.lit(ways)
    weight = grid.solid_angle_sr.ravel()[within]
    free = gaze.free(ways, np.zeros(2))
    return EyeFixation(
        side=side,
        lit=lit.reshape(grid.shape),
        limits=_limits(gaze, side, gaze_range),
        percent_of_range=float(100 * (weight * free).sum() / weight.sum()),
    )


def _limits(gaze: _Gaze, side: Side, gaze_range: ReferenceField) -> Limits:
    outward = 0.0 if side == "right" else 180.0
    ways = {
        "up_deg": (90.0, gaze_range.up_deg),
        "down_deg": (270.0, gaze_range.down_deg),
        "nasal_deg": (180.0 - outward, gaze_range.nasal_deg),
        "temporal_deg": (outward, gaze_range.temporal_deg),
    }
    reach: Mapping[str, float] = MappingProxyType(
        {name: _reach(gaze, meridian, most) for name, (meridian, most) in ways.items()}
    )
    return Limits(**reach)


def _reach(gaze: _Gaze, meridian_deg: float, most_deg: float) -> float:
    """How far the gaze goes along a meridian before it meets something; nan at once."""
    angle = np.linspace(0, most_deg, int(most_deg / MERIDIAN_STEP_DEG) + 2)
    free = gaze.free(around(angle, np.full(len(angle), meridian_deg)), np.zeros(2))
    if free.all():
        return most_deg
    first = int(np.argmin(free))
    if first == 0:
        return float("nan")
    low, high = angle[first - 1], angle[first]
    for _ in range(8):
        middle = (low + high) / 2
        way = around(np.array([middle]), np.array([meridian_deg]))
        low, high = (middle, high) if gaze.free(way, np.zeros(2))[0] else (low, middle)
    return float((low + high) / 2)
