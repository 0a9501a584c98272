"""Pad sets side by side: which press least, hold best, and which are not worth having."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass, replace
from functools import partial
from multiprocessing import get_context

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit._contact import Pose, Walls
from fitkit.fit._words import listed
from fitkit.fit.balance import POSTURES
from fitkit.fit.pad_stock import PadOption
from fitkit.fit.padding import (
    Case,
    Padding,
    Settled,
    Task,
    make_task,
    pad_out,
    seated,
    settled,
)
from fitkit.fit.pads import (
    HeadInPiece,
    gaps_mm,
    head_in_piece,
    pad_area_mm2,
    pad_bodies,
    within_reach,
)
from fitkit.fit.placement import FloatArray, Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import MassProperties, Weighing, combined
from fitkit.wearer.wearer import Wearer

#: Cases that options are compared in.
COMPARED: tuple[Case, ...] = (
    Case(name="upright"),
    Case(name="bowed", posture=POSTURES["bowed"]),
    Case(name="turn", turn_rad_s2=20.0),
)
#: Fewer options than this are not worth starting other processes for.
ENOUGH_TO_SHARE = 60
#: Where one head vertex in this many stands for its neighbours.
THINNED = 3
#: Balance, rounds of friction, and wriggles that are enough to compare by.
ROUGHLY, ROUGH_ROUNDS, ROUGH_SEATINGS = 1e-3, 20, 3
#: Options that are worked out exactly before a suggestion gives up.
CONFIRMED = 5

#: Called with the number done and the number to do.
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class OptionRow:
    """What one option gives and costs; nan throughout where it cannot be worn."""

    option: PadOption
    #: Worst pressure in any case. [kPa]
    peak_kpa: float
    #: Least share of friction left unused in any case.
    slip_margin: float
    #: Softest axis, upright. [deg/(N m)]
    wobble_deg_per_nm: float
    #: How far the wall ahead of the eyes goes up or sideways, upright. [mm]
    eye_line_mm: float
    #: Least gap between head and bare wall in any case; negative presses; inf where no
    #: bare wall is within 10 mm as it is put on. [mm]
    ease_left_mm: float
    #: Of the pads. [g]
    weight_g: float
    #: Sheet used, layers counted. [mm²]
    sheet_mm2: float
    #: Whether it comes to rest in every case.
    holds: bool
    #: Why it cannot be worn; empty if it can.
    problem: str
    #: An option that is as good in everything and better in something; empty if none.
    dominated_by: str
    #: In what that one is better, in words.
    why: str

    def costs(self) -> FloatArray:
        """Everything that should be small, shape (6,)."""
        return np.array(
            [
                self.peak_kpa,
                -self.slip_margin,
                self.wobble_deg_per_nm,
                self.eye_line_mm,
                self.weight_g,
                self.sheet_mm2,
            ]
        )


#: Names of `OptionRow.costs`, as said to a maker.
COSTS = ("pressure", "hold", "wobble", "eye line", "weight", "sheet used")


@dataclass(frozen=True, kw_only=True)
class PadBrief:
    """
    What is asked of the pads; None asks nothing.

    Raises
    ------
    BriefError
        If a number has no meaning.
    """

    most_peak_kpa: float | None = None
    least_slip_margin: float | None = 0.2
    most_wobble_deg_per_nm: float | None = None
    most_eye_line_mm: float | None = 5.0
    most_weight_g: float | None = None
    #: Gap that the bare wall must keep. [mm]
    least_ease_mm: float | None = 0.0

    def __post_init__(self) -> None:
        if self.least_slip_margin is not None:
            in_range("least_slip_margin", self.least_slip_margin, low=0, high=1, unit="")
        if self.most_peak_kpa is not None:
            cure = "Is that mmHg? 1 kPa is 7.5 mmHg."
            in_range(
                "most_peak_kpa", self.most_peak_kpa, low=0.2, high=60, unit="kPa", cure=cure
            )

    def missed(self, row: OptionRow) -> tuple[tuple[str, float], ...]:
        """Demands that an option misses: in words, and by how much of what is asked."""
        asked = (
            ("peak pressure", "kPa", row.peak_kpa, self.most_peak_kpa, 1),
            ("slip margin", "", row.slip_margin, self.least_slip_margin, -1),
            (
                "wobble",
                "deg per N m",
                row.wobble_deg_per_nm,
                self.most_wobble_deg_per_nm,
                1,
            ),
            ("eye-line shift", "mm", row.eye_line_mm, self.most_eye_line_mm, 1),
            ("weight of pads", "g", row.weight_g, self.most_weight_g, 1),
            ("gap at the bare wall", "mm", row.ease_left_mm, self.least_ease_mm, -1),
        )
        missed = []
        for name, unit, got, limit, sign in asked:
            if limit is not None and not sign * got <= sign * limit:
                off = sign * (got - limit) / max(abs(limit), 1.0)
                space = " " if unit else ""
                words = f"{name} {got:.2g}{space}{unit} where {limit:g} was asked"
                missed.append((words, off))
        return tuple(missed)


@dataclass(frozen=True, kw_only=True, eq=False)
class Suggestion:
    """The pads that meet a brief with the least pressure, or what stands in the way."""

    #: None if nothing meets the brief.
    option: PadOption | None
    #: Worked out exactly; of the option that comes nearest where none meets the brief.
    padding: Padding | None
    row: OptionRow | None
    #: What is missed by the option that comes nearest; empty if one was found.
    missed: tuple[str, ...]
    rows: tuple[OptionRow, ...]


def compare_options(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    options: Sequence[PadOption],
    weighing: Weighing,
    cases: Sequence[Case] = COMPARED,
    progress: Progress | None = None,
    processes: int = 2,
) -> tuple[OptionRow, ...]:
    """
    Compare pad sets for one wearer in one piece.

    Parameters
    ----------
    wearer, piece, placement, weighing, cases
        As for `pad_out`.
    options : sequence of PadOption
    progress : callable, optional
        Called with the number done and the number to do.
    processes : int
        Processes to share many options among.

    Returns
    -------
    tuple of OptionRow
        In the order given. An option that cannot be worn says why, and stops no other.

    Notes
    -----
    To be quick, every third head vertex stands for its neighbours, and the wall is its
    tangent planes as the piece is put on. Pressures differ from `pad_out` by some
    percent; work the choice out with that.
    """
    head, walls = _thinned(*head_in_piece(wearer, piece, placement))
    mass = weighing.total
    jobs = [_job(head, walls, mass, option) for option in options]
    rows: list[OptionRow] = []
    done = _mapped(partial(_work, tuple(cases)), jobs, processes)
    for option, job, figures in zip(options, jobs, done, strict=True):
        row = OptionRow(
            option=option,
            weight_g=job.weight_g,
            sheet_mm2=job.sheet_mm2,
            problem=job.problem,
            dominated_by="",
            why="",
            **asdict(figures),
        )
        rows.append(row)
        if progress is not None:
            progress(len(rows), len(options))
    return tuple(_with_dominance(rows))


def suggest(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    options: Sequence[PadOption],
    weighing: Weighing,
    brief: PadBrief | None = None,
    progress: Progress | None = None,
    processes: int = 2,
) -> Suggestion:
    """
    Find the pad set that meets a brief with the least peak pressure.

    Parameters are those of `compare_options`, and the brief. The best are worked out
    exactly, in turn, until one meets it.
    """
    asked = brief or PadBrief()
    rows = compare_options(
        wearer, piece, placement, options=options, weighing=weighing,
        progress=progress, processes=processes,
    )  # fmt: skip
    worn = [row for row in rows if not row.problem]
    ranked = sorted(worn, key=lambda row: (_off(asked, row), row.peak_kpa))
    nearest: tuple[OptionRow, Padding] | None = None
    for row in ranked[:CONFIRMED]:
        padding = pad_out(
            wearer, piece, placement, pads=row.option.pads, weighing=weighing,
            cases=COMPARED,
        )  # fmt: skip
        sure = _exact_row(row, padding)
        if not asked.missed(sure) and sure.holds:
            return Suggestion(
                option=row.option, padding=padding, row=sure, missed=(), rows=rows
            )
        if nearest is None or _off(asked, sure) < _off(asked, nearest[0]):
            nearest = sure, padding
    if nearest is None:
        problems = tuple(dict.fromkeys(row.problem for row in rows))
        return Suggestion(option=None, padding=None, row=None, missed=problems, rows=rows)
    missed = tuple(words for words, _ in asked.missed(nearest[0]))
    if not nearest[0].holds:
        missed = ("it does not come to rest", *missed)
    return Suggestion(
        option=None, padding=nearest[1], row=nearest[0], missed=missed, rows=rows
    )


def _off(brief: PadBrief, row: OptionRow) -> float:
    return sum(off for _, off in brief.missed(row)) + (0.0 if row.holds else 100.0)


def _mapped(
    work: Callable[[_Job], _Figures], jobs: Sequence[_Job], processes: int
) -> Iterator[_Figures]:
    """Work through the jobs, in other processes if there are many."""
    if processes < 2 or len(jobs) < ENOUGH_TO_SHARE:
        yield from map(work, jobs)
        return
    done = 0
    chunk = max(1, len(jobs) // (8 * processes))
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        try:
            for found in pool.map(work, jobs, chunksize=chunk):
                yield found
                done += 1
        except BrokenProcessPool:  # started from a script that cannot be run again
            pass
    yield from map(work, jobs[done:])


def _thinned(head: HeadInPiece, walls: Walls) -> tuple[HeadInPiece, Walls]:
    """Let every third vertex stand for its neighbours."""
    keep = slice(None, None, THINNED)
    fewer = replace(head, rows=head.rows[keep], area=head.area[keep] * THINNED)
    return fewer, Walls(walls.wall[keep], walls.away[keep], walls.between[keep])


# -- one row ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Planes:
    """The wall as the piece is put on, whatever the pose."""

    walls: Walls

    def __call__(self, pose: Pose) -> Walls:  # noqa: ARG002
        return self.walls


@dataclass(frozen=True, eq=False)
class _Job:
    """One option as arrays, so that another process can take it."""

    task: Task | None
    #: Why there is no task.
    problem: str
    weight_g: float
    sheet_mm2: float


def _job(
    head: HeadInPiece, walls: Walls, weighing: MassProperties, option: PadOption
) -> _Job:
    pads = option.pads
    fewer, planes = within_reach(head, walls, pads)
    bodies = pad_bodies(head.wearer, pads, head.placement)
    whole = combined([weighing, *(body.mass for body in bodies)])
    try:
        task = make_task(fewer, pads, planes, whole, _Planes(planes))
    except BriefError as error:
        return _Job(None, str(error), np.nan, np.nan)
    rough = replace(
        task, exact=False, balanced=ROUGHLY, rounds=ROUGH_ROUNDS, seatings=ROUGH_SEATINGS
    )
    sheet = sum(
        pad_area_mm2(head.wearer, pad) * len(sheets)
        for pad, sheets in zip(pads, option.sheets_mm, strict=True)
    )
    return _Job(rough, "", sum(body.mass.mass_g for body in bodies), sheet)


@dataclass(frozen=True)
class _Figures:
    """What an option gives; the first fields of `OptionRow`."""

    peak_kpa: float = np.nan
    slip_margin: float = np.nan
    wobble_deg_per_nm: float = np.nan
    eye_line_mm: float = np.nan
    ease_left_mm: float = np.nan
    holds: bool = False


def _work(cases: tuple[Case, ...], job: _Job) -> _Figures:
    """Settle one option in every case."""
    if job.task is None:
        return _Figures()
    task = job.task
    seat = seated(task)
    found = [settled(task, cases[0], seat)]
    if found[0].holds:  # else there is no need to ask again
        found += [settled(task, case, seat) for case in cases[1:]]
    bare = task.owner == len(task.names) - 1
    points, planes = task.contacts.point[bare], task.find(seat)
    walls = Walls(planes.wall[bare], planes.away[bare], planes.between[bare])
    left = [gaps_mm(one.placement.to_sized(points), walls) for one in found]
    return _figures(found, min(float(gap.min(initial=np.inf)) for gap in left))


def _figures(found: Sequence[Settled], left: float) -> _Figures:
    first = found[0]
    shift = first.eye_line_shift_mm
    return _Figures(
        peak_kpa=max(one.peak_kpa for one in found),
        slip_margin=min(one.slip_margin for one in found),
        wobble_deg_per_nm=max(first.wobble_deg_per_nm.values()),
        eye_line_mm=float(np.hypot(shift[0], shift[2])),
        ease_left_mm=left,
        holds=all(one.holds for one in found),
    )


def _exact_row(row: OptionRow, padding: Padding) -> OptionRow:
    figures = _figures(tuple(padding.settled.values()), row.ease_left_mm)
    return replace(row, **asdict(figures))


def _with_dominance(rows: Sequence[OptionRow]) -> Iterator[OptionRow]:
    """Say of every option which other is as good in everything and better in something."""
    worn = [row for row in rows if not row.problem and row.holds]
    costs = np.array([row.costs() for row in worn]).reshape(-1, len(COSTS))
    for row in rows:
        if row.problem:
            yield row
            continue
        mine = row.costs()
        beats = np.all(costs <= mine, axis=1) & np.any(costs < mine, axis=1)
        if not beats.any():
            yield row
            continue
        best = int(np.nonzero(beats)[0][np.argmin(costs[beats, 0])])
        better = [n for n, a, b in zip(COSTS, costs[best], mine, strict=True) if a < b]
        yield replace(
            row,
            dominated_by=worn[best].option.name,
            why=f"no better in anything, and worse in {listed(better)}",
        )
