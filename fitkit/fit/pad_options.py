"""Pad sets side by side: which press least, hold best, and which are not worth having."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace

import numpy as np

from fitkit.fit._checks import in_range
from fitkit.fit._pad_sweep import Figures, figures_of, sweep
from fitkit.fit._words import listed
from fitkit.fit.balance import POSTURES
from fitkit.fit.pad_stock import PadOption
from fitkit.fit.padding import Case, Padding, pad_out
from fitkit.fit.pads import head_in_piece
from fitkit.fit.placement import FloatArray, Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Weighing
from fitkit.wearer.wearer import Wearer

#: Cases that options are compared in.
COMPARED: tuple[Case, ...] = (
    Case(name="upright"),
    Case(name="bowed", posture=POSTURES["bowed"]),
    Case(name="turn", turn_rad_s2=20.0),
)
#: Options that are worked out exactly before a suggestion gives up.
CONFIRMED = 8
#: Share of a demand that rough figures may miss and still be worked out exactly.
ROUGH_MISS = 0.05

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
    threads: int = 2,
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
    threads : int
        Cores to keep busy.

    Returns
    -------
    tuple of OptionRow
        In the order given. An option that cannot be worn says why, and stops no other.

    Notes
    -----
    To be quick, every third head vertex stands for its neighbours, the wall is planes
    that turn as its curvature where the piece was put on says, and up to 25 sets are
    settled at once on each core. Work the choice out with `pad_out`, as `suggest` does:
    on the sample pieces pressures differ from that by some percent and slip margins by
    some hundredths, more where a piece settles far from where it was put on.
    """
    in_range("threads", threads, low=1, high=64, unit="")
    head, walls = head_in_piece(wearer, piece, placement)
    found: dict[int, Figures] = {}
    for place, figures in sweep(
        head, walls, weighing.total, options=options, cases=cases, threads=threads
    ):
        found[place] = figures
        if progress is not None:
            progress(len(found), len(options))
    rows = [
        OptionRow(option=option, dominated_by="", why="", **asdict(found[place]))
        for place, option in enumerate(options)
    ]
    return tuple(_with_dominance(rows))


def suggest(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    options: Sequence[PadOption],
    weighing: Weighing,
    brief: PadBrief | None = None,
    cases: Sequence[Case] = COMPARED,
    progress: Progress | None = None,
    threads: int = 2,
) -> Suggestion:
    """
    Find the pad set that meets a brief with the least peak pressure.

    Parameters are those of `compare_options`, and the brief. The best are worked out
    exactly, in turn, until one meets it.
    """
    asked = brief or PadBrief()
    rows = compare_options(
        wearer, piece, placement, options=options, weighing=weighing, cases=cases,
        progress=progress, threads=threads,
    )  # fmt: skip
    worn = [row for row in rows if not row.problem]
    ranked = sorted(worn, key=lambda row: (_clearly_off(asked, row), row.peak_kpa))
    nearest: tuple[OptionRow, Padding] | None = None
    for row in ranked[:CONFIRMED]:
        padding = pad_out(
            wearer, piece, placement, pads=row.option.pads, weighing=weighing,
            cases=cases,
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


def _clearly_off(brief: PadBrief, row: OptionRow) -> float:
    """By how much a rough row misses a brief, beyond what its roughness may be."""
    return max(_off(brief, row) - ROUGH_MISS, 0.0)


def _exact_row(row: OptionRow, padding: Padding) -> OptionRow:
    figures = figures_of(tuple(padding.settled.values()), row.ease_left_mm)
    costs = {"weight_g": row.weight_g, "sheet_mm2": row.sheet_mm2}
    return replace(row, **{**asdict(figures), **costs})


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
