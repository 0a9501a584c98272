"""Does the jaw hit anything: against the shell and the head, swept over its travel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitkit.fit._checks import in_range
from fitkit.fit._reach import swept_gaps
from fitkit.fit.jaw_bodies import Bodies, Gaps, back, bodies_of, carry, to_head
from fitkit.fit.jaw_head import head_gaps
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.jaw_travel import JawTravel
from fitkit.fit.placement import FloatArray
from fitkit.geometry.distance import SurfaceTree
from fitkit.wearer.jaw_mesh import OpeningHead

#: Gap between moving parts that is asked for. [mm] Common practice in the workshop: what
#: filler, paint and a warm day take.
WANTED_GAP_MM = 1.0
#: The angle of first contact, and that of the least gap, are found to this. [deg]
ANGLE_STEP_DEG = 0.05
#: A place this near to a hinge or to the lips is named after it. [mm]
NAMED_MM = 45.0


@dataclass(frozen=True, kw_only=True, eq=False)
class GapTravel:
    """Gap between the jaw and one thing, finished surfaces, over the travel."""

    #: "shell" or "head".
    against: str
    #: Turn of the jaw from as drawn, (k,). [deg]
    jaw_deg: FloatArray
    #: Least gap of the drawn walls at each turn; negative is the depth of a clash, (k,).
    #: [mm]
    drawn_mm: FloatArray
    #: Least gap of the finished walls at each turn, layers taken off, (k,). [mm]
    gap_mm: FloatArray
    #: Where it is, in the head frame, (k, 3). [mm]
    at_mm: FloatArray
    #: Least gap over the travel, refined between the steps. [mm]
    least_mm: float
    #: Turn at which it is least. [deg]
    least_deg: float
    #: Where, in the head frame, (3,). [mm]
    least_at_mm: FloatArray
    #: First turn from closed at which the two touch; nan if they never do. [deg]
    first_contact_deg: float

    @property
    def clashes(self) -> bool:
        """Whether the drawn walls meet anywhere in the travel."""
        return bool((self.drawn_mm <= 0.0).any())

    @property
    def rubs(self) -> bool:
        """Whether the finished walls, layers included, touch anywhere."""
        return self.least_mm <= 0.0

    @property
    def depth_mm(self) -> float:
        """Deepest clash of the finished walls, 0 if none, in mm."""
        return max(0.0, -self.least_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class JawClash:
    """Everything that the jaw may hit."""

    #: Jaw against all other parts, from stop to stop.
    shell: GapTravel
    #: Jaw against head and neck, as far as the chin drives it.
    head: GapTravel
    #: Points of the jaw's lip and of the shell's that are nearest at the front, jaw as
    #: drawn, in the head frame, (2, 3). [mm]
    mouth_mm: FloatArray
    #: Gap of the finished lips or teeth there, jaw as drawn. [mm]
    teeth_gap_mm: float
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


def mouth_points(hung: HungJaw) -> FloatArray:
    """Give the lip of the jaw and that of the shell, jaw as drawn, (2, 3), in mm."""
    sized, _ = bodies_of(hung.piece, hung.placement.size).mouth
    return to_head(hung, sized)


def shell_gaps(hung: HungJaw, turns: FloatArray) -> Gaps:
    """
    Give the least gap between jaw and shell at turns, exact over all triangles.

    Parameters
    ----------
    hung : HungJaw
    turns : ndarray, shape (k,)
        Turns of the jaw from as drawn. [deg]
    """
    bodies = bodies_of(hung.piece, hung.placement.size)
    matrices = hung.swing_sized.matrix(turns)
    found = swept_gaps(bodies.jaw_surface, bodies.shell_surface, matrices)
    finished, drawn = found.gap_mm.copy(), found.apart_mm.copy()
    at = (found.on_moving + found.on_still) / 2
    for row in np.nonzero(drawn <= 0)[0]:
        depth, where = _depth(bodies, matrices[row])
        if depth > 0:
            drawn[row], at[row] = -depth, where
            finished[row] -= depth
    return Gaps(finished_mm=finished, drawn_mm=drawn, at_mm=to_head(hung, at))


def sweep_jaw(
    head: OpeningHead,
    hung: HungJaw,
    travel: JawTravel,
    *,
    step_deg: float = 1.0,
) -> JawClash:
    """
    Sweep the jaw over its travel and find what it hits.

    Parameters
    ----------
    head : OpeningHead
    hung : HungJaw
    travel : JawTravel
        Of the same wearer and jaw, for the sweep against the head.
    step_deg : float
        Step of the jaw's turn against the shell, 0.1 to 5. [deg]

    Raises
    ------
    BriefError
        If the step is out of range.
    DesignError
        If the piece has no part besides its jaw.
    """
    in_range("step_deg", step_deg, low=0.1, high=5, unit="deg")
    span = hung.open_stop_deg - hung.close_stop_deg
    count = int(np.ceil(span / step_deg)) + 1
    turns = np.linspace(hung.close_stop_deg, hung.open_stop_deg, max(2, count))
    shell = _refined("shell", turns, shell_gaps(hung, turns), hung)
    against_head = _gap_travel("head", travel.jaw_deg, head_gaps(head, hung, travel))
    bodies = bodies_of(hung.piece, hung.placement.size)
    mouth, drawn = bodies.mouth
    growth = bodies.jaw_surface.thin.min() + bodies.shell_surface.thin.min()
    return JawClash(
        shell=shell,
        head=against_head,
        mouth_mm=to_head(hung, mouth),
        teeth_gap_mm=float(drawn - growth),
        cautions=_cautions(hung, shell, against_head),
    )


def _gap_travel(against: str, turns: FloatArray, gaps: Gaps) -> GapTravel:
    least = int(gaps.finished_mm.argmin())
    closed = np.nonzero(gaps.finished_mm <= 0)[0]
    return GapTravel(
        against=against,
        jaw_deg=turns,
        drawn_mm=gaps.drawn_mm,
        gap_mm=gaps.finished_mm,
        at_mm=gaps.at_mm,
        least_mm=float(gaps.finished_mm[least]),
        least_deg=float(turns[least]),
        least_at_mm=gaps.at_mm[least],
        first_contact_deg=float(turns[closed[0]]) if len(closed) else float("nan"),
    )


def _refined(against: str, turns: FloatArray, gaps: Gaps, hung: HungJaw) -> GapTravel:
    """Look between the steps where the gap is least, and where it first closes."""
    coarse = _gap_travel(against, turns, gaps)
    best, step = coarse, float(turns[1] - turns[0])
    while step > ANGLE_STEP_DEG:
        around = best.least_deg + step * np.array([-0.5, 0.5])
        between = np.clip(around, turns[0], turns[-1])
        tried = _gap_travel(against, between, shell_gaps(hung, between))
        best = min(best, tried, key=lambda one: one.least_mm)
        step /= 2
    first = coarse.first_contact_deg
    if first > turns[0]:
        free = float(turns[np.searchsorted(turns, first) - 1])
        first = _first_contact(hung, free, first)
    return replace(
        coarse,
        least_mm=best.least_mm,
        least_deg=best.least_deg,
        least_at_mm=best.least_at_mm,
        first_contact_deg=first,
    )


def _first_contact(hung: HungJaw, free: float, hit: float) -> float:
    """Halve between a free turn and one that touches. [deg]."""
    while hit - free > ANGLE_STEP_DEG:
        middle = (free + hit) / 2
        if shell_gaps(hung, np.array([middle])).finished_mm[0] > 0:
            free = middle
        else:
            hit = middle
    return hit


def _depth(bodies: Bodies, matrix: FloatArray) -> tuple[float, FloatArray]:
    """Deepest vertex of either body in the other's wall, and where it is, sized. [mm]."""
    jaw = carry(matrix, bodies.jaw.vertices)
    one = _deepest(bodies.shell_tree, jaw)
    other = _deepest(bodies.jaw_tree, carry(back(matrix), bodies.shell.vertices))
    if other[0] > one[0]:
        return other[0], carry(matrix, other[1][None])[0]
    return one


def _deepest(tree: SurfaceTree, points: FloatArray) -> tuple[float, FloatArray]:
    low, high = tree.mesh.bounds_mm
    near = np.nonzero(((points > low) & (points < high)).all(axis=1))[0]
    inside = near[tree.winding(points[near]) > 0.5] if len(near) else near
    if not len(inside):
        return 0.0, np.full(3, np.nan)
    depth = np.sqrt(tree.squared(points[inside])[0])
    row = int(depth.argmax())
    return float(depth[row]), points[inside[row]]


def _cautions(hung: HungJaw, shell: GapTravel, head: GapTravel) -> tuple[str, ...]:
    said = []
    play = hung.fittings.play_mm
    if shell.rubs:
        said.append(_clash_words(shell, "the shell", hung))
    elif shell.least_mm - play < WANTED_GAP_MM:
        where = _where(hung, shell.least_at_mm)
        said.append(
            f"Between jaw and shell only {shell.least_mm:.1f} mm are left at "
            f"{shell.least_deg:.0f} deg{_less_play(play)}, {where}; paint and warmth want "
            f"{WANTED_GAP_MM:g} mm."
        )
    if head.rubs:
        said.append(_clash_words(head, "the wearer", hung))
    return tuple(said)


def _clash_words(gap: GapTravel, what: str, hung: HungJaw) -> str:
    where = _where(hung, gap.least_at_mm)
    if not gap.clashes:
        return (
            f"As drawn the jaw clears {what} by {gap.drawn_mm.min():.1f} mm, but its "
            f"layers take that and {gap.depth_mm:.1f} mm more at {gap.least_deg:.0f} deg, "
            f"{where}: leave them off there, or open the seam."
        )
    return (
        f"The jaw meets {what} from {gap.first_contact_deg:.1f} deg on, by up to "
        f"{gap.depth_mm:.1f} mm at {gap.least_deg:.0f} deg, {where}."
    )


def _less_play(play: float) -> str:
    return f", less {play:g} mm of play" if play > 0 else ""


def _where(hung: HungJaw, at_mm: FloatArray) -> str:
    """Name a place of the head frame by what is near it, and where it is drawn."""
    hinge = hung.piece.hinge
    marks = {"the lips in front": mouth_points(hung).mean(axis=0)}
    if hinge is not None:
        marks["the left hinge"] = hung.to_head(hinge.left_mm)
        marks["the right hinge"] = hung.to_head(hinge.right_mm)
    away = {name: float(np.linalg.norm(at_mm - mark)) for name, mark in marks.items()}
    nearest = min(away, key=lambda name: away[name])
    right, front, up = (round(float(x)) for x in hung.placement.to_piece(at_mm))
    drawn = f"at ({right}, {front}, {up}) mm of the drawing"
    return f"near {nearest}, {drawn}" if away[nearest] < NAMED_MM else drawn
