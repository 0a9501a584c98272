"""How much of a wanted field can be had: what may not be cut stands in its way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fitkit.fit._directions import polar
from fitkit.fit.pupil import Pupil
from fitkit.fit.wanted import WantedField
from fitkit.geometry.mesh import BoolArray, FloatArray, Mesh, join
from fitkit.geometry.rays import RayScene

#: Places tried on the way from the middle to the edge, then halvings between two.
TRIED, HALVINGS = 91, 8
#: Rounds in which the edge is drawn in where it passes a corner between two meridians.
ROUNDS = 6
#: Places between two meridians where the edge is tried.
BETWEEN = (0.5, 0.2, 0.8)
#: Kept off what stands in the way by this. [deg]
OFF_DEG = 0.05
#: Losses smaller than this are none. [deg]
UNSAID_DEG = 0.25


@dataclass(frozen=True, kw_only=True)
class Loss:
    """A part of a wanted field that cannot be had, and why."""

    #: What stands in the way and may not be cut.
    because: str
    #: Most that is lost, along a meridian. [deg]
    most_deg: float
    #: Where that is, in words: "down and nasal".
    where: str


class Fixed:
    """Things that no cut can move, before one eye: meshes in the head frame, by name."""

    def __init__(self, things: Mapping[str, Mesh]) -> None:
        self._names = list(things)
        self._owner = np.repeat(
            np.arange(len(things)), [len(mesh.faces) for mesh in things.values()]
        )
        self._scene = RayScene(join(list(things.values())))

    def blocked(self, pupil: Pupil, directions: FloatArray) -> BoolArray:
        """Say which directions, (k, 3), are not clear to every point of the pupil."""
        blocked = np.zeros(len(directions), dtype=bool)
        for point in pupil.points:
            free = np.nonzero(~blocked)[0]
            starts = np.broadcast_to(point, (len(free), 3))
            blocked[free] = self._scene.blocked(starts, directions[free])
        return blocked

    def culprit(self, pupil: Pupil, directions: FloatArray) -> str | None:
        """Name what stands in the first of these directions, (k, 3), that is blocked."""
        for direction in directions:
            ways = np.broadcast_to(direction, pupil.points.shape)
            face = self._scene.first_hit(pupil.points, ways).face
            if (face >= 0).any():
                return self._names[int(self._owner[face[face >= 0][0]])]
        return None


def reachable(
    field: WantedField, fixed: Fixed, pupil: Pupil
) -> tuple[WantedField, tuple[Loss, ...]]:
    """
    Draw a wanted field in until everything within it can be had.

    Returns
    -------
    WantedField
        With reach 0 throughout if even its middle cannot be had.
    tuple of Loss
        Largest first; empty if all of it can be had.
    """
    asked = field.reach_deg
    if fixed.blocked(pupil, field.middle[None])[0]:
        culprit = fixed.culprit(pupil, field.middle[None])
        loss = Loss(
            because=culprit or "the shell",
            most_deg=float(asked.max()),
            where="in the middle",
        )
        return field.within(np.zeros(len(asked))), (loss,)
    had = _clear_reach(field, fixed, pupil, field.turns_deg, asked)
    had = np.where(had < asked - 1e-6, np.maximum(had - OFF_DEG, 0), asked)
    for _ in range(ROUNDS):
        short = _short_between(field, fixed, pupil, had)
        if not (short < 1).any():
            break
        both = np.minimum(short, np.roll(short, 1))
        had = np.where(both < 1, np.maximum(had * both - OFF_DEG, 0), had)
    drawn = field.within(had)
    return drawn, _losses(field, fixed, pupil, asked - had)


def _clear_reach(
    field: WantedField, fixed: Fixed, pupil: Pupil, turns: FloatArray, reach: FloatArray
) -> FloatArray:
    """How far from the middle everything is clear, along meridians, in degrees."""
    share = np.linspace(0, 1, TRIED)
    off = reach[:, None] * share
    ways = field.on_meridian(np.repeat(turns, TRIED), off.ravel())
    blocked = fixed.blocked(pupil, ways).reshape(len(turns), TRIED)
    stopped = blocked.any(axis=1)
    first = np.where(stopped, blocked.argmax(axis=1), TRIED - 1)
    low = reach * share[np.maximum(first - 1, 0)]
    high = reach * share[first]
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        there = fixed.blocked(pupil, field.on_meridian(turns, middle))
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return np.where(stopped, low, reach)


def _short_between(
    field: WantedField, fixed: Fixed, pupil: Pupil, reach: FloatArray
) -> FloatArray:
    """Share of the edge that is clear between neighbouring meridians, the least, (k,)."""
    drawn = field.within(reach)
    start, end = drawn.edge, np.roll(drawn.edge, -1, axis=0)
    normal = np.cross(start, end)
    level = np.abs(normal @ field.middle)
    turns = field.turns_deg
    step = np.append(turns[1:], turns[0] + 360) - turns
    least = np.ones(len(turns))
    for share in BETWEEN:
        between = turns + share * step
        across = field.on_meridian(between, np.full(len(between), 90.0))
        steep = np.abs(np.einsum("ij,ij->i", normal, across))
        edge = np.degrees(np.arctan2(level, steep))
        edge = np.where(np.linalg.norm(normal, axis=1) < 1e-9, reach, edge)
        edge = np.where(reach > 90, np.minimum(reach, np.roll(reach, -1)), edge)
        clear = _clear_reach(field, fixed, pupil, between, edge)
        short = clear < edge - 1e-6
        least = np.minimum(least, np.where(short, clear / np.maximum(edge, 1e-9), 1.0))
    return least


def _losses(
    field: WantedField, fixed: Fixed, pupil: Pupil, lost: FloatArray
) -> tuple[Loss, ...]:
    rows = np.nonzero(lost > UNSAID_DEG)[0].tolist()
    named: dict[int, str] = {}
    for row in rows:
        off = field.reach_deg[row] - lost[row] * np.array([0.95, 0.7, 0.4, 0.0])
        turn = np.full(len(off), field.turns_deg[row])
        because = fixed.culprit(pupil, field.on_meridian(turn, off))
        if because is not None:
            named[row] = because
    worst: dict[str, Loss] = {}
    for row in rows:
        nearest = min(named, key=lambda other: abs(other - row), default=row)
        because = named.get(nearest, "a neighbouring edge")
        most = float(lost[row])
        if because not in worst or most > worst[because].most_deg:
            where = _where(field, field.edge[row])
            worst[because] = Loss(because=because, most_deg=most, where=where)
    return tuple(sorted(worst.values(), key=lambda loss: -loss.most_deg))


def _where(field: WantedField, direction: FloatArray) -> str:
    """Name the meridian of a direction, in eighths of a turn."""
    turn = float(polar(direction)[1])
    names = ("right", "up and right", "up", "up and left", "left", "down and left", "down")
    words = (*names, "down and right")[round(turn / 45) % 8]
    outward, inward = ("right", "left") if field.side == "right" else ("left", "right")
    return words.replace(outward, "temporal").replace(inward, "nasal")
