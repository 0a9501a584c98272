"""Many pad sets worked out roughly: a batch at a time, one batch on each core."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, replace
from math import ceil

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._bent_walls import BentWalls, bent_walls
from fitkit.fit._contact import N_PER_KPA_MM2, Pose, Walls
from fitkit.fit._hold import grip_wanted, slip_margin, wobble_deg_per_nm
from fitkit.fit._settle import GONE_MM, Load
from fitkit.fit._settle_many import (
    Beds,
    Rests,
    beds_of,
    picked,
    put,
    settle_many,
    settled_poses,
    stacked_loads,
    stacked_poses,
)
from fitkit.fit.pad_stock import PadOption
from fitkit.fit.padding import (
    SEATED_MM,
    Case,
    Settled,
    Task,
    make_task,
    placement_of,
    seated,
    settled,
)
from fitkit.fit.pads import (
    HeadInPiece,
    gaps_mm,
    pad_area_mm2,
    pad_bodies,
    within_reach,
)
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray
from fitkit.piece.mass import MassProperties, combined

#: Where one head vertex in this many stands for its neighbours.
THINNED = 3
#: Balance, rounds of friction, and wriggles that are enough to compare by.
ROUGHLY, ROUGH_ROUNDS, ROUGH_SEATINGS = 1e-3, 20, 5
#: Balance on planes that are about to be turned again.
NEARLY = 1e-2
#: Most pad sets that are settled at once: as many as keep the arrays near a core.
MOST_AT_ONCE = 25


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What one pad set gives and costs; nan where it cannot be worn."""

    peak_kpa: float = np.nan
    slip_margin: float = np.nan
    wobble_deg_per_nm: float = np.nan
    eye_line_mm: float = np.nan
    ease_left_mm: float = np.nan
    holds: bool = False
    weight_g: float = np.nan
    sheet_mm2: float = np.nan
    #: Why it cannot be worn; empty if it can.
    problem: str = ""


@dataclass(frozen=True, eq=False)
class _Find:
    """Planes at a pose, bent from those at the start."""

    points: FloatArray
    bent: BentWalls

    def __call__(self, pose: Pose) -> Walls:
        return self.bent.at(pose.local(self.points))


@dataclass(frozen=True, eq=False)
class _Job:
    """One pad set that can be worn."""

    #: Its points of the head.
    head: HeadInPiece
    task: Task
    #: The wall about them as the piece is put on.
    bent: BentWalls

    def seated(self, pose: Pose) -> _Job:
        """Find the wall anew for a piece that has moved."""
        local = pose.local(self.task.contacts.point)
        bent = BentWalls(local, self.head.walls(pose), self.bent.bend)
        find = _Find(self.task.contacts.point, bent)
        return replace(self, bent=bent, task=replace(self.task, find=find))


def sweep(
    head: HeadInPiece,
    walls: Walls,
    mass: MassProperties,
    *,
    options: Sequence[PadOption],
    cases: Sequence[Case],
    threads: int,
) -> Iterator[tuple[int, Figures]]:
    """
    Work out pad sets, and give each with its place among `options` as it is done.

    Numpy lets go of Python's lock while it works through arrays as long as these, so
    that threads keep every core busy and start at once.
    """
    keep = slice(None, None, THINNED)
    head = replace(head, rows=head.rows[keep], area=head.area[keep] * THINNED)
    walls = Walls(walls.wall[keep], walls.away[keep], walls.between[keep])
    bent = bent_walls(head, walls)
    at_once = min(MOST_AT_ONCE, max(1, ceil(len(options) / threads)))
    order = sorted(range(len(options)), key=lambda index: len(options[index].pads))
    batches = [order[k : k + at_once] for k in range(0, len(order), at_once)]
    with ThreadPoolExecutor(threads) as pool:
        running = {
            pool.submit(_batch, head, bent, mass, [options[k] for k in batch], cases): batch
            for batch in batches
        }
        try:
            for done in as_completed(running):
                yield from zip(running[done], done.result(), strict=True)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def figures_of(found: Sequence[Settled], left_mm: float) -> Figures:
    """Sum up what one pad set does in all cases; weight and sheet are left out."""
    first = found[0]
    shift = first.eye_line_shift_mm
    return Figures(
        peak_kpa=max(one.peak_kpa for one in found),
        slip_margin=min(one.slip_margin for one in found),
        wobble_deg_per_nm=max(first.wobble_deg_per_nm.values()),
        eye_line_mm=float(np.hypot(shift[0], shift[2])),
        ease_left_mm=left_mm,
        holds=all(one.holds for one in found),
    )


def _batch(
    head: HeadInPiece,
    bent: BentWalls,
    mass: MassProperties,
    options: Sequence[PadOption],
    cases: Sequence[Case],
) -> list[Figures]:
    """Settle the options that can be worn, and put the costs beside."""
    found: list[Figures] = []
    jobs: list[_Job] = []
    for option in options:
        bodies = pad_bodies(head.wearer, option.pads, head.placement)
        whole = combined([mass, *(body.mass for body in bodies)])
        try:
            jobs.append(_job(head, bent, whole, option))
        except BriefError as error:
            found.append(Figures(problem=str(error)))
            continue
        sheet = sum(
            pad_area_mm2(head.wearer, pad) * len(sheets)
            for pad, sheets in zip(option.pads, option.sheets_mm, strict=True)
        )
        weight = sum(body.mass.mass_g for body in bodies)
        found.append(Figures(weight_g=weight, sheet_mm2=sheet))
    worked = iter(_settled(jobs, cases)) if jobs else iter(())
    return [
        one
        if one.problem
        else replace(next(worked), weight_g=one.weight_g, sheet_mm2=one.sheet_mm2)
        for one in found
    ]


def _job(
    head: HeadInPiece, bent: BentWalls, mass: MassProperties, option: PadOption
) -> _Job:
    """Make one pad set ready; raises BriefError where it cannot be worn."""
    fewer, planes = within_reach(head, bent.walls, option.pads)
    near = bent.of(np.searchsorted(head.rows, fewer.rows))
    find = _Find(head.wearer.head.vertices[fewer.rows], near)
    task = make_task(fewer, option.pads, planes, mass, find)
    rough = replace(task, balanced=ROUGHLY, rounds=ROUGH_ROUNDS, seatings=ROUGH_SEATINGS)
    return _Job(fewer, rough, near)


def _settled(jobs: Sequence[_Job], cases: Sequence[Case]) -> list[Figures]:
    """Settle all jobs at once in every case; those that will not, one by one."""
    tasks = [job.task for job in jobs]
    beds = beds_of([(job.task.contacts, job.bent.walls) for job in jobs])
    start = stacked_poses([task.start for task in tasks])
    load = _loads(tasks, Case(name="seat"), start)
    first = _loaded(beds, _side_by_side(beds, jobs), load, start)
    jobs = [job.seated(picked(first.pose, k)) for k, job in enumerate(jobs)]
    beds = beds_of([(job.task.contacts, job.bent.walls) for job in jobs])
    bent = _side_by_side(beds, jobs)
    seat, rested = _seated(tasks, beds, bent, first.pose)
    rested &= _came_to_rest(first, start)
    rests = []
    for case in cases:
        found = _loaded(beds, bent, _loads(tasks, case, seat), seat)
        rested &= _came_to_rest(found, seat)
        rests.append(found)
    figures = _figures(tasks, beds, rests)
    return [
        one if rests_all else _alone(job, cases)
        for job, one, rests_all in zip(jobs, figures, rested, strict=True)
    ]


def _side_by_side(beds: Beds, jobs: Sequence[_Job]) -> BentWalls:
    """Fill up the bends of all jobs as `beds_of` does with their contacts."""
    count, most = beds.contacts.area.shape
    local, bend = np.zeros((count, most, 3)), np.zeros((count, most, 3, 3))
    for row, job in enumerate(jobs):
        filled = len(job.bent.local)
        local[row, :filled], bend[row, :filled] = job.bent.local, job.bent.bend
    return BentWalls(local, beds.walls, bend)


def _loaded(beds: Beds, bent: BentWalls, load: Load, seat: Pose) -> Rests:
    """Settle from a seat, and once more with the planes of where that came to."""
    near, _ = settled_poses(_facing(beds, bent, seat), load, seat, balanced=NEARLY)
    return settle_many(_facing(beds, bent, near), load, near, balanced=ROUGHLY, put_on=seat)


def _facing(beds: Beds, bent: BentWalls, pose: Pose) -> Beds:
    """Put the planes of a pose before the contacts."""
    return replace(beds, walls=bent.at(pose.local(beds.contacts.point)))


def _seated(
    tasks: Sequence[Task], beds: Beds, bent: BentWalls, pose: Pose
) -> tuple[Pose, BoolArray]:
    """Wriggle all into place, as `seated`, and say which came to rest, (b,)."""
    rested = np.ones(len(tasks), dtype=bool)
    rows = np.arange(len(tasks))
    for _ in range(ROUGH_SEATINGS - 1):
        before = picked(pose, rows)
        load = _loads([tasks[int(k)] for k in rows], Case(name="seat"), before)
        found = _loaded(beds.of(rows), bent.of(rows), load, before)
        rested[rows] &= _came_to_rest(found, before)
        pose = put(pose, rows, found.pose)
        moved = np.linalg.norm(found.pose.shift - before.shift, axis=1)
        rows = rows[(moved >= SEATED_MM) & rested[rows]]
        if not len(rows):
            break
    return pose, rested


def _came_to_rest(found: Rests, begin: Pose) -> BoolArray:
    """Whether forces balance, and that not far off where the planes mean nothing, (b,)."""
    near = np.linalg.norm(found.pose.shift - begin.shift, axis=1) <= GONE_MM
    rested: BoolArray = (found.residual <= ROUGHLY) & near
    return rested


def _loads(tasks: Sequence[Task], case: Case, pose: Pose) -> Load:
    loads = []
    for index, task in enumerate(tasks):
        alone = Pose(pose.turn[index], pose.shift[index], pose.turned[index])
        loads.append(case.load(task.mass, placement_of(alone, task.placement.size)))
    return stacked_loads(loads)


def _figures(
    tasks: Sequence[Task], beds: Beds, rests: Sequence[Rests]
) -> Iterator[Figures]:
    """Figures of all tasks from where they rest in every case; see `figures_of`."""
    area = np.maximum(beds.contacts.area, 1e-9)
    peaks = [(one.pressing.normal / area).max(axis=1) / N_PER_KPA_MM2 for one in rests]
    margins = [
        slip_margin(grip_wanted(beds.contacts, one.pressing, one.grip), one.grip)
        for one in rests
    ]
    wobbles = wobble_deg_per_nm(rests[0].stiffness)
    for index, task in enumerate(tasks):
        poses = [
            Pose(one.pose.turn[index], one.pose.shift[index], one.pose.turned[index])
            for one in rests
        ]
        placements = [placement_of(pose, task.placement.size) for pose in poses]
        shift = task.eye_line_shift(placements[0])
        yield Figures(
            peak_kpa=max(float(peak[index]) for peak in peaks),
            slip_margin=min(float(margin[index]) for margin in margins),
            wobble_deg_per_nm=float(wobbles[index].max()),
            eye_line_mm=float(np.hypot(shift[0], shift[2])),
            ease_left_mm=_left_mm(task, poses),
            holds=True,
        )


def _left_mm(task: Task, poses: Sequence[Pose]) -> float:
    """Least gap at the bare wall in any of some poses."""
    bare = task.owner == len(task.names) - 1
    gaps = [gaps_mm(one.local(task.contacts.point), task.find(one)) for one in poses]
    return min(float(gap[bare].min(initial=np.inf)) for gap in gaps)


def _alone(job: _Job, cases: Sequence[Case]) -> Figures:
    """Settle one pad set by itself, downhill all the way."""
    first = seated(replace(job.task, seatings=1))
    task = job.seated(first).task
    seat = seated(replace(task, seatings=ROUGH_SEATINGS - 1), first)
    found = [settled(task, cases[0], seat)]
    if found[0].holds:  # else there is no need to ask again
        found += [settled(task, case, seat) for case in cases[1:]]
    poses = [
        Pose(one.placement.rotation, one.placement.shift_mm, np.zeros(3)) for one in found
    ]
    return figures_of(found, _left_mm(task, poses))
