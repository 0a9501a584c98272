"""Let a piece settle on foam: six unknowns, Newton steps downhill, friction in rounds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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
    resistance,
    stored_energy,
)
from fitkit.fit.placement import FloatArray

#: Longest single step. [mm, rad]
MOST_SHIFT_MM, MOST_TURN_RAD = 4.0, 0.06
#: Steps within one round of friction, and rounds.
STEPS, ROUNDS = 40, 80
#: Rounds of one step each, while friction finds what it has to hold, and a stiffness
#: that keeps a piece nothing holds yet from being flung about. [N/mm]
EARLY, EARLY_STIFF = 5, 0.05
#: Newton steps on the forces at the end of a round, at most.
POLISH = 8
#: Forces balance to this share of the load.
BALANCED = 2e-7
#: Length that moments are measured with: half a head. [mm]
LEVER_MM = 100.0
#: A step must gain this share of what its slope promises.
ARMIJO = 1e-4
#: A piece that has moved this far from where it was put has slid off. [mm]
GONE_MM = 60.0
#: Planes are found anew when the piece has moved this far since: under way, and before
#: a balance is believed. A faceted wall has no smoother slope than that. [mm]
DRIFTED_MM, STALE_MM = 1.0, 0.02
#: Times that they are found anew before the last ones are kept.
FRESH = 6

#: Finds the wall's tangent planes for a pose.
FindWalls = Callable[[Pose], Walls]


@dataclass(frozen=True, eq=False)
class Load:
    """What pulls on the piece, in the head frame."""

    #: Shape (3,). [N]
    force: FloatArray
    #: About the centre of mass, shape (3,). [N mm]
    torque: FloatArray
    #: Centre of mass in the piece's axes, shape (3,). [mm]
    centre: FloatArray


@dataclass(frozen=True, eq=False)
class Rest:
    """Where the piece has come to rest, and what holds it."""

    pose: Pose
    pressing: Pressing
    grip: Grip
    #: Curvature of the energy against (v, w) about the centre of mass, (6, 6).
    stiffness: FloatArray
    #: What is left of forces, and of moments over a lever of 100 mm, over the load.
    residual: float
    #: Energy after each step, one tuple a round; falls within each. [N mm]
    energies: tuple[tuple[float, ...], ...]
    #: Whether it came to rest at all.
    rests: bool


class _Round:
    """Energy, slope and curvature with planes and friction limits held."""

    def __init__(
        self, contacts: Contacts, load: Load, walls: Walls, start: FloatArray, grip: Grip
    ) -> None:
        self._contacts, self._load = contacts, load
        self._walls, self._start, self._grip = walls, start, grip

    def pressing(self, pose: Pose) -> Pressing:
        return press(self._contacts, self._walls, pose, self._start)

    def energy(self, pose: Pose, pressing: Pressing) -> float:
        load = self._load
        work = load.force @ pose.at(load.centre) + load.torque @ pose.turned
        foam = stored_energy(self._contacts, pressing.strain)
        return foam + self._grip.energy(self._grip.length(pressing)) - float(work)

    def slopes(self, pose: Pose, pressing: Pressing) -> tuple[FloatArray, FloatArray]:
        return slopes(self._contacts, self._load, pose, pressing, self._grip)


def slopes(
    contacts: Contacts, load: Load, pose: Pose, pressing: Pressing, grip: Grip
) -> tuple[FloatArray, FloatArray]:
    """Slope (6,) and curvature (6, 6) of the whole energy about the centre of mass."""
    gradient, curvature = resistance(contacts, pressing, grip, pose.at(load.centre))
    return gradient - np.concatenate([load.force, load.torque], axis=-1), curvature


def settle(
    contacts: Contacts,
    load: Load,
    pose: Pose,
    find: FindWalls,
    *,
    exact: bool = True,
    balanced: float = BALANCED,
    rounds: int = ROUNDS,
) -> Rest:
    """
    Let the piece settle from a pose until forces and moments balance.

    With `exact` the tangent planes are found anew at every pose that a round ends in, so
    that the balance is that of the true wall; else those of the first pose serve.
    """
    walls = find(pose)
    begin, found_at, shear = pose, pose, contacts.shear()
    start = pose.local(contacts.point)
    traces: list[tuple[float, ...]] = []
    pressing = press(contacts, walls, pose, start)
    fresh = FRESH if exact else 0
    for count in range(rounds):
        grip = gripping(contacts, shear, pressing.normal)
        problem = _Round(contacts, load, walls, start, grip)
        pose, trace = _descend(problem, pose, load, balanced, early=count < EARLY)
        traces.append(trace)
        moved = _moved(found_at, pose, contacts) if fresh else 0.0
        if count < EARLY:
            if moved > DRIFTED_MM:
                walls, found_at, fresh = find(pose), pose, fresh - 1
            pressing = press(contacts, walls, pose, start)
            continue
        pose = _polished(contacts, load, walls, start, pose, shear)
        moved = _moved(found_at, pose, contacts) if fresh else 0.0
        rest = _rest(contacts, load, walls, start, pose, shear, traces, balanced)
        if moved > (STALE_MM if rest.rests else DRIFTED_MM):
            walls, found_at, fresh = find(pose), pose, fresh - 1
            rest = _rest(contacts, load, walls, start, pose, shear, traces, balanced)
        pressing = rest.pressing
        if rest.rests or _moved(begin, pose, contacts) > GONE_MM:
            break
    return rest


def _polished(
    contacts: Contacts,
    load: Load,
    walls: Walls,
    start: FloatArray,
    pose: Pose,
    shear: FloatArray,
) -> Pose:
    """Take Newton steps on the forces themselves while each halves what is left."""
    scale = np.array([1.0] * 3 + [LEVER_MM] * 3)
    last = np.inf
    best = pose
    for _ in range(POLISH):
        pressing = press(contacts, walls, pose, start)
        grip = gripping(contacts, shear, pressing.normal)
        gradient, curvature = slopes(contacts, load, pose, pressing, grip)
        left = _size(gradient)
        if left > last / 2:
            break
        best, last = pose, left
        slope = curvature + coupling(contacts, pressing, grip, pose.at(load.centre))
        scaled = slope / np.outer(scale, scale)
        least = 1e-9 * abs(np.trace(scaled)) + 1e-9
        step = -np.linalg.solve(scaled + least * np.eye(6), gradient / scale) / scale
        if np.linalg.norm(step[:3]) > MOST_SHIFT_MM:
            break
        pose = pose.stepped(step, load.centre)
    return best


def _rest(
    contacts: Contacts,
    load: Load,
    walls: Walls,
    start: FloatArray,
    pose: Pose,
    shear: FloatArray,
    traces: list[tuple[float, ...]],
    balanced: float,
) -> Rest:
    """Measure the balance at a pose, friction limits included."""
    pressing = press(contacts, walls, pose, start)
    grip = gripping(contacts, shear, pressing.normal)
    gradient, curvature = slopes(contacts, load, pose, pressing, grip)
    residual = _size(gradient) / _scale(load)
    rests = residual <= balanced
    return Rest(pose, pressing, grip, curvature, residual, tuple(traces), rests)


def _descend(
    problem: _Round, pose: Pose, load: Load, balanced: float, *, early: bool
) -> tuple[Pose, tuple[float, ...]]:
    """Take Newton steps, each of which lowers the energy, until the slope is gone."""
    pressing = problem.pressing(pose)
    energy = problem.energy(pose, pressing)
    trace = [energy]
    for _ in range(1 if early else STEPS):
        gradient, curvature = problem.slopes(pose, pressing)
        if _size(gradient) <= 0.3 * balanced * _scale(load):
            break
        step = _step(gradient, curvature, EARLY_STIFF if early else 0.0)
        share = 1.0
        for _ in range(30):
            tried = pose.stepped(share * step, load.centre)
            pressed = problem.pressing(tried)
            after = problem.energy(tried, pressed)
            if after <= energy + ARMIJO * share * float(gradient @ step):
                break
            share /= 2
        else:
            break
        pose, pressing, energy = tried, pressed, after
        trace.append(energy)
    return pose, tuple(trace)


def _step(gradient: FloatArray, curvature: FloatArray, stiff: float) -> FloatArray:
    """Solve for a step downhill, no longer than may be trusted."""
    scale = np.array([1.0] * 3 + [LEVER_MM] * 3)
    scaled = curvature / np.outer(scale, scale)
    least = 1e-9 * np.trace(scaled) + 1e-6 + stiff
    step: FloatArray = -np.linalg.solve(scaled + least * np.eye(6), gradient / scale)
    step = step / scale
    shift, turn = float(np.linalg.norm(step[:3])), float(np.linalg.norm(step[3:]))
    return step / max(1.0, shift / MOST_SHIFT_MM, turn / MOST_TURN_RAD)


def _size(gradient: FloatArray) -> float:
    force, moment = float(np.linalg.norm(gradient[:3])), np.linalg.norm(gradient[3:])
    return max(force, float(moment) / LEVER_MM)


def _scale(load: Load) -> float:
    force, torque = float(np.linalg.norm(load.force)), np.linalg.norm(load.torque)
    return max(force, float(torque) / LEVER_MM, 1e-3)


def _moved(one: Pose, other: Pose, contacts: Contacts) -> float:
    """How far the piece has moved between two poses, at a lever of the head. [mm]."""
    middle = contacts.point.mean(axis=0)
    there = one.local(middle[None])[0]
    shift = np.linalg.norm(other.turn @ there + other.shift - middle)
    turn = np.linalg.norm(other.turned - one.turned)
    return float(shift + LEVER_MM * turn)
