"""Many pieces settled at once on walls that stay: one Newton step for all at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.fit._contact import (
    Contacts,
    Grip,
    Pose,
    Pressing,
    Walls,
    coupling,
    gripping,
    press,
)
from fitkit.fit._hold import SCALE
from fitkit.fit._settle import (
    EARLY,
    EARLY_STIFF,
    LEVER_MM,
    MOST_SHIFT_MM,
    MOST_TURN_RAD,
    Load,
    slopes,
)
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: Looks at the forces before a piece that has not come to rest is left to others.
LOOKS = 60
#: A step shorter than this share is no use any more.
LEAST_SHARE = 1 / 40
#: Steps taken whatever they lead to, where one after the other was no use.
KICKS = 3


@dataclass(frozen=True, eq=False)
class Beds:
    """b pieces on n contacts each; contacts that make up the number have no area."""

    #: Arrays of shape (b, n) and (b, n, 3).
    contacts: Contacts
    walls: Walls
    #: Sideways stiffness, shape (b, n). [N/mm]
    shear: FloatArray

    def of(self, rows: IntArray) -> Beds:
        """Take some of the pieces."""
        old = self.contacts
        contacts = replace(
            old,
            point=old.point[rows],
            area=old.area[rows],
            reach=old.reach[rows],
            layer=old.layer[rows],
            kind=old.kind[rows],
            friction=old.friction[rows],
        )
        walls = Walls(
            self.walls.wall[rows], self.walls.away[rows], self.walls.between[rows]
        )
        return Beds(contacts, walls, self.shear[rows])


@dataclass(frozen=True, eq=False)
class Rests:
    """Where b pieces have come to, and what holds them; arrays with b in front."""

    pose: Pose
    pressing: Pressing
    grip: Grip
    #: Curvature of the energy about the centre of mass, shape (b, 6, 6).
    stiffness: FloatArray
    #: What is left of forces over the load, shape (b,).
    residual: FloatArray


def beds_of(each: Sequence[tuple[Contacts, Walls]]) -> Beds:
    """Put beds of foam side by side, filled up to the same number of contacts."""
    most = max(len(contacts) for contacts, _ in each)
    foams = tuple(dict.fromkeys(foam for contacts, _ in each for foam in contacts.foams))
    kinds = [
        np.array([foams.index(foam) for foam in contacts.foams])[contacts.kind]
        for contacts, _ in each
    ]

    def filled(arrays: Sequence[FloatArray], fill: float) -> FloatArray:
        whole = np.full((len(arrays), most, *arrays[0].shape[1:]), fill)
        for row, array in zip(whole, arrays, strict=True):
            row[: len(array)] = array
        return whole

    contacts = Contacts(
        filled([one.point for one, _ in each], 0.0),
        filled([one.area for one, _ in each], 0.0),
        filled([one.reach for one, _ in each], -1e6),
        filled([one.layer for one, _ in each], 1.0),
        filled([kind.astype(float) for kind in kinds], 0.0).astype(np.int64),
        foams,
        filled([one.friction for one, _ in each], 0.0),
    )
    walls = Walls(
        filled([one.wall for _, one in each], 0.0),
        filled([one.away for _, one in each], 0.0),
        filled([one.between for _, one in each], 0.0),
    )
    return Beds(contacts, walls, contacts.shear())


def settle_many(
    beds: Beds, load: Load, pose: Pose, *, balanced: float, put_on: Pose | None = None
) -> Rests:
    """
    Settle pieces from poses until forces and moments balance; not all of them may.

    As `settled_poses`, with all about where they have come to.
    """
    begin = put_on or pose
    best, _ = settled_poses(beds, load, pose, balanced=balanced, put_on=put_on)
    return _Now(beds, load, begin).rests(best, _scale(load))


def settled_poses(
    beds: Beds, load: Load, pose: Pose, *, balanced: float, put_on: Pose | None = None
) -> tuple[Pose, FloatArray]:
    """
    Settle pieces from poses, and give what is left of forces over the load, (b,).

    As `settle` with walls that stay. Every look at the forces is followed by one step:
    the first few downhill with friction held, then Newton's on the forces themselves,
    cut short where it does not help. Foam is sheared from where it was at `put_on`,
    which is `pose` if left out; where it is given, `pose` is near rest already and
    Newton's steps begin at once.
    """
    early = EARLY if put_on is None else 0
    begin, scale = put_on or pose, _scale(load)
    count = len(scale)
    best, best_left = pose, np.full(count, np.inf)
    share, kicks = np.ones(count), np.zeros(count, dtype=np.int64)
    step = np.zeros((count, 6))
    rows = np.arange(count)
    now = _Now(beds, load, begin)
    for look in range(LOOKS):
        tried = picked(best, rows).stepped(share[rows, None] * step[rows], now.load.centre)
        gradient, slope = now.forces(tried, early=look < early)
        left = _size(gradient) / scale[rows]
        better = (left < best_left[rows]) | (look <= early) | (share[rows] < LEAST_SHARE)
        taken = rows[better]
        best = put(best, taken, picked(tried, np.nonzero(better)[0]))
        best_left[taken] = left[better]
        step[taken] = _steps(gradient, slope, early=look < early)[better]
        stuck = better & (share[rows] < LEAST_SHARE)
        kicks[rows[stuck]] += 1
        share[rows] = np.where(better, 1.0, share[rows] / 3)
        going = (best_left[rows] > balanced) & (kicks[rows] <= KICKS)
        if not going.any():
            break
        if going.mean() < 0.8:
            rows = rows[going]
            now = _Now(beds.of(rows), _loaded(load, rows), picked(begin, rows))
    return best, best_left


class _Now:
    """The pieces that have not come to rest yet."""

    def __init__(self, beds: Beds, load: Load, begin: Pose) -> None:
        self._beds, self.load = beds, load
        self._start = begin.local(beds.contacts.point)

    def held(self, pose: Pose) -> tuple[Pressing, Grip]:
        """Press, with the friction limits that belong to the pressure."""
        beds = self._beds
        pressing = press(beds.contacts, beds.walls, pose, self._start)
        return pressing, gripping(beds.contacts, beds.shear, pressing.normal)

    def forces(self, pose: Pose, *, early: bool) -> tuple[FloatArray, FloatArray]:
        """Forces left, (b, 6), and their slope, (b, 6, 6); early, with friction held."""
        contacts = self._beds.contacts
        pressing, grip = self.held(pose)
        gradient, slope = slopes(contacts, self.load, pose, pressing, grip)
        if not early:
            slope += coupling(contacts, pressing, grip, pose.at(self.load.centre))
        return gradient, slope

    def rests(self, pose: Pose, scale: FloatArray) -> Rests:
        """All about where the pieces are."""
        pressing, grip = self.held(pose)
        gradient, stiff = slopes(self._beds.contacts, self.load, pose, pressing, grip)
        return Rests(pose, pressing, grip, stiff, _size(gradient) / scale)


def _steps(gradient: FloatArray, slope: FloatArray, *, early: bool) -> FloatArray:
    """Solve for steps, none longer than may be trusted, shape (b, 6)."""
    scaled = slope / np.outer(SCALE, SCALE)
    trace = np.abs(np.trace(scaled, axis1=-2, axis2=-1))
    least = 1e-9 * trace + 1e-6 + (EARLY_STIFF if early else 0.0)
    firm = scaled + least[:, None, None] * np.eye(6)
    step = -np.linalg.solve(firm, (gradient / SCALE)[..., None])[..., 0] / SCALE
    shift = np.linalg.norm(step[:, :3], axis=1) / MOST_SHIFT_MM
    turn = np.linalg.norm(step[:, 3:], axis=1) / MOST_TURN_RAD
    held: FloatArray = step / np.maximum(1.0, np.maximum(shift, turn))[:, None]
    return held


def _size(gradient: FloatArray) -> FloatArray:
    force = np.linalg.norm(gradient[:, :3], axis=1)
    size: FloatArray = np.maximum(force, np.linalg.norm(gradient[:, 3:], axis=1) / LEVER_MM)
    return size


def _scale(load: Load) -> FloatArray:
    return np.maximum(_size(np.concatenate([load.force, load.torque], axis=1)), 1e-3)


def stacked_poses(poses: Sequence[Pose]) -> Pose:
    """Put poses side by side."""
    return Pose(
        np.stack([one.turn for one in poses]),
        np.stack([one.shift for one in poses]),
        np.stack([one.turned for one in poses]),
    )


def stacked_loads(loads: Sequence[Load]) -> Load:
    """Put loads side by side."""
    return Load(
        np.stack([one.force for one in loads]),
        np.stack([one.torque for one in loads]),
        np.stack([one.centre for one in loads]),
    )


def _loaded(load: Load, rows: IntArray) -> Load:
    return Load(load.force[rows], load.torque[rows], load.centre[rows])


def picked(pose: Pose, rows: IntArray | int) -> Pose:
    """Take some of the poses."""
    return Pose(pose.turn[rows], pose.shift[rows], pose.turned[rows])


def put(pose: Pose, rows: IntArray, new: Pose) -> Pose:
    """Change some of the poses."""
    turn, shift, turned = pose.turn.copy(), pose.shift.copy(), pose.turned.copy()
    turn[rows], shift[rows], turned[rows] = new.turn, new.shift, new.turned
    return Pose(turn, shift, turned)
