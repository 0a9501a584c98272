"""Every demand of a brief as rows that must not be negative, with their slopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._cavity import Cavity, cavity_of
from fitkit.fit._medians import Medians
from fitkit.fit._moves import Moves
from fitkit.fit._sample import zone_samples
from fitkit.fit._sight_line import SightLine
from fitkit.fit.brief import Brief
from fitkit.fit.jaw import hinge_middle
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SIDES, Side, eye_openings
from fitkit.geometry.mesh import BoolArray, IntArray
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Zones whose median ease should exceed what was asked by the same amount.
EVEN_PAIRS = (
    ("temple_left", "temple_right"),
    ("cheek_left", "cheek_right"),
    ("ear_left", "ear_right"),
    ("brow", "back"),
)
#: About how far the wall lies from the piece's origin. [mm]
TYPICAL_RADIUS_MM = 120.0
#: Directions in which the hinge's distance is bounded at once.
HINGE_DIRECTIONS = 16
#: Families of demand: ease of each zone, its most, sight of each eye, and the rest.
#: From `SIZE` on they are limits, which are never exceeded.
SIGHT_LEFT = 2 * len(ZONES)
HINGE, SIZE, DISTORTION, POSE = range(SIGHT_LEFT + 2, SIGHT_LEFT + 6)
FAMILIES: tuple[str, ...] = (
    *(f"ease {zone}" for zone in ZONES),
    *(f"most {zone}" for zone in ZONES),
    "sight left",
    "sight right",
    "hinge",
    "size",
    "distortion",
    "pose",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """m demands at one placement: met where `value` is 0 or more."""

    #: mm (percent for size and distortion, degrees for turns), shape (m,).
    value: FloatArray
    #: Slope over the k unknowns, shape (m, k).
    slope: FloatArray
    #: Index into `FAMILIES`, shape (m,).
    family: IntArray
    #: Head vertex that the row is about, -1 for none, shape (m,).
    vertex: IntArray

    def chosen(self, which: BoolArray) -> Rows:
        """Keep some of the rows."""
        return Rows(
            value=self.value[which],
            slope=self.slope[which],
            family=self.family[which],
            vertex=self.vertex[which],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """Ease at chosen head vertices for one placement, with slopes."""

    #: The unknowns, shape (k,), and the placement they make.
    x: FloatArray
    placement: Placement
    #: Head vertices looked at, shape (m,), in rising order.
    vertex: IntArray
    #: Ease there, shape (m,), and its slope over the unknowns, shape (m, k). [mm]
    ease_mm: FloatArray
    slope: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Learned:
    """Everything measured anew at one placement, and how far off it had been."""

    #: Every demand over all head vertices, exact.
    rows: Rows
    #: Error of distances for want of the right proportions, at most about. [mm]
    mismatch_mm: float
    #: Largest error of a foretold median that is bounded. [mm]
    median_off_mm: float


class Demands:
    """
    What one brief asks of one wearer in one piece, as a function of the unknowns.

    Parameters
    ----------
    moves : Moves
        The unknowns.
    ease_only : bool
        Whether to leave out sight, hinge and the most that zones may gape.
    """

    def __init__(
        self,
        wearer: Wearer,
        piece: Piece,
        brief: Brief,
        moves: Moves,
        *,
        ease_only: bool = False,
    ) -> None:
        self.wearer, self.piece, self.brief, self.moves = wearer, piece, brief, moves
        self.cavity: Cavity = cavity_of(piece)
        #: Head vertices to look at first.
        self.sample: IntArray = np.concatenate(zone_samples(wearer))
        self.everyone: IntArray = np.nonzero(wearer.zone >= 0)[0]
        asked = [brief.ease[zone] for zone in ZONES]
        self.least_mm = np.array([ease.least_mm for ease in asked], dtype=float)
        most = [ease.most_mm for ease in asked]
        unbound = [ease_only or limit is None for limit in most]
        self.most_mm = np.where(unbound, np.inf, np.array(most, dtype=float))
        #: Straight-ahead line of each eye that has an opening.
        self.eyes: dict[Side, SightLine] = {}
        for side, opening in () if ease_only else eye_openings(piece).items():
            if opening is not None:
                self.eyes[side] = SightLine(opening, self._pupil(side), brief)
        self.hinge = None if ease_only else hinge_middle(piece)
        bound = [int(k) for k in np.nonzero(np.isfinite(self.most_mm))[0]]
        evened = [ZONES.index(zone) for pair in EVEN_PAIRS for zone in pair]
        self._medians = Medians(wearer.zone, sorted({*bound, *evened}))
        #: By how much foretold medians are kept below what is allowed. [mm]
        self.back_off_mm = 0.0

    # -- looking ------------------------------------------------------------------

    def view(self, x: FloatArray, vertex: IntArray) -> View:
        """Measure ease and slopes at head vertices, shape (m,)."""
        return self.look(x, vertex)[0]

    def look(self, x: FloatArray, vertex: IntArray) -> tuple[View, FloatArray]:
        """Measure at head vertices, and tell how much room each has: see ``Gaps``."""
        placement = self.moves.placement(x)
        gaps = self.cavity.gaps(self.wearer.head.vertices[vertex], placement)
        moved = self.moves.slopes(placement, gaps.wall)
        slope = -np.einsum("mi,mik->mk", gaps.away, moved)
        ease = gaps.signed_mm - self.taken_mm(vertex)
        return self.seen(x, vertex, ease, slope), gaps.room

    def taken_mm(self, vertex: IntArray) -> FloatArray:
        """What lining and hair take of the gap at head vertices, shape (m,), in mm."""
        taken: FloatArray = self.piece.lining_mm + self.wearer.hair_mm[vertex]
        return taken

    def seen(
        self, x: FloatArray, vertex: IntArray, ease_mm: FloatArray, slope: FloatArray
    ) -> View:
        """Put what was measured at x into a view."""
        placement = self.moves.placement(x)
        return View(x=x, placement=placement, vertex=vertex, ease_mm=ease_mm, slope=slope)

    def learn(self, x: FloatArray, *, afresh: bool = False) -> Learned:
        """Take exact distances at the proportions of x, and exact medians of zones."""
        size = self.moves.placement(x).size
        mismatch = TYPICAL_RADIUS_MM * self.cavity.mismatch(size)
        self.cavity = self.cavity.stretched(size)
        full, off = self._learn_medians(x, self.everyone, afresh=afresh)
        bound = [off[k] for k in off if np.isfinite(self.most_mm[k])]
        rows = self.rows(full, x, back_off_mm=0.0)
        return Learned(
            rows=rows, mismatch_mm=mismatch, median_off_mm=max(bound, default=0.0)
        )

    def glance(self, x: FloatArray) -> None:
        """Take medians at x from the sample alone, to foretell them from there."""
        self._learn_medians(x, self.sample, afresh=True)

    def _learn_medians(
        self, x: FloatArray, vertex: IntArray, *, afresh: bool
    ) -> tuple[View, dict[int, float]]:
        view = self.view(x, vertex)
        off = self._medians.learn(x, vertex, view.ease_mm, view.slope, afresh=afresh)
        return view, off

    def median(self, x: FloatArray, index: int) -> tuple[float, FloatArray] | None:
        """Foretell the median ease of a zone at x, and its slope."""
        return self._medians.of(index, x)

    # -- demands ------------------------------------------------------------------

    def rows(self, view: View, x: FloatArray, *, back_off_mm: float | None = None) -> Rows:
        """Put every demand at x into rows; medians are held back by `back_off_mm`."""
        held = self.back_off_mm if back_off_mm is None else back_off_mm
        parts = [self._ease_rows(view), *self._most_rows(view, held)]
        parts += [self._sight_rows(view.placement, side) for side in self.eyes]
        if self.hinge is not None and self.brief.hinge_tolerance_mm is not None:
            parts.append(self._hinge_rows(view.placement))
        parts += [self._size_rows(x), self._pose_rows(x)]
        if np.ptp(self.moves.spread[:3], axis=0).any():
            parts.append(self._distortion_rows(x))
        return Rows(
            value=np.concatenate([p.value for p in parts]),
            slope=np.vstack([p.slope for p in parts]),
            family=np.concatenate([p.family for p in parts]),
            vertex=np.concatenate([p.vertex for p in parts]),
        )

    def _ease_rows(self, view: View) -> Rows:
        zone = self.wearer.zone[view.vertex]
        value = view.ease_mm - self.least_mm[zone]
        return Rows(value=value, slope=view.slope, family=zone, vertex=view.vertex)

    def _most_rows(self, view: View, held_mm: float) -> list[Rows]:
        found = []
        for index in np.nonzero(np.isfinite(self.most_mm))[0]:
            middle = self.median(view.x, int(index))
            if middle is not None:
                value = np.array([self.most_mm[index] - held_mm - middle[0]])
                family = len(ZONES) + int(index)
                found.append(_rows(value, -middle[1][None, :], family))
        return found

    def _sight_rows(self, placement: Placement, side: Side) -> Rows:
        spare, slope = self.eyes[side].spare(placement, self.moves)
        return _rows(spare, slope, SIGHT_LEFT + SIDES.index(side))

    def _hinge_rows(self, placement: Placement) -> Rows:
        off, slope = self.hinge_offset(placement)
        angle = np.arange(HINGE_DIRECTIONS) * 2.0 * np.pi / HINGE_DIRECTIONS
        angle = np.append(angle, np.arctan2(off[1], off[0]))
        toward = np.column_stack([np.cos(angle), np.sin(angle)])
        allowed = float(self.brief.hinge_tolerance_mm or 0.0)
        return _rows(allowed - toward @ off, -toward @ slope, HINGE)

    def _size_rows(self, x: FloatArray) -> Rows:
        spread = self.moves.spread[:3]
        size = spread @ x
        low = 100.0 * np.log(self.brief.size_least)
        high = 100.0 * np.log(self.brief.size_most)
        value = np.concatenate([size - low, high - size])
        return _rows(value, np.vstack([spread, -spread]), SIZE)

    def _pose_rows(self, x: FloatArray) -> Rows:
        spread = self.moves.spread[3:]
        pose = spread @ x
        most = np.repeat([self.brief.shift_most_mm, self.brief.turn_most_deg], 3)
        value = np.concatenate([most - pose, most + pose])
        return _rows(value, np.vstack([-spread, spread]), POSE)

    def _distortion_rows(self, x: FloatArray) -> Rows:
        pairs = [(a, b) for a in range(3) for b in range(3) if a != b]
        spread = np.array([self.moves.spread[b] - self.moves.spread[a] for a, b in pairs])
        allowed = 100.0 * np.log1p(self.brief.distortion_percent / 100.0)
        return _rows(allowed + spread @ x, spread, DISTORTION)

    # -- parts that wishes use too ------------------------------------------------

    def _pupil(self, side: Side) -> FloatArray:
        eye = self.wearer.eye_left if side == "left" else self.wearer.eye_right
        return eye.entrance_pupil

    def hinge_offset(self, placement: Placement) -> tuple[FloatArray, FloatArray]:
        """Hinge from the chin pole, front and up (2,), and its slope, shape (2, k)."""
        assert self.hinge is not None
        off = placement.to_head(self.hinge) - self.wearer.chin_pole
        slope = self.moves.slopes(placement, self.hinge[None, :])[0]
        return off[1:], slope[1:]


def _rows(value: FloatArray, slope: FloatArray, family: int) -> Rows:
    return Rows(
        value=value,
        slope=slope,
        family=np.full(len(value), family, dtype=np.int64),
        vertex=np.full(len(value), -1, dtype=np.int64),
    )
