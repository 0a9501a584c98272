"""What batches of foam and friction leave open: intervals of pressure and of hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from types import MappingProxyType

from fitkit.fit.foam import Foam, Friction
from fitkit.fit.padding import Padding, Settled, pad_out
from fitkit.fit.pads import Pad
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Weighing
from fitkit.wearer.wearer import Wearer

#: Corners that are worked out: which way the batch and the friction go.
CORNERS: tuple[tuple[int, int], ...] = tuple(product((-1, 1), (-1, 1)))


@dataclass(frozen=True, kw_only=True)
class Interval:
    """A figure, and the least and most it becomes."""

    low: float
    #: With foam and friction as in the tables.
    value: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """How far a padding's figures go with the batch of foam and with friction."""

    #: Worst pressure in any case. [kPa]
    peak_kpa: Interval
    #: Least share of friction left unused in any case; 0 or less is slipping.
    slip_margin: Interval
    #: Softest axis, upright. [deg/(N m)]
    wobble_deg_per_nm: Interval
    #: Widest spread among the foams, either way. [percent]
    spread_percent: float
    #: Whether it comes to rest at every corner, in every case.
    always_holds: bool
    #: In words.
    words: tuple[str, ...]


def padding_doubt(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    padding: Padding,
    weighing: Weighing,
) -> Doubt:
    """
    Carry the spread of the foams' batches and of friction into pressure and hold.

    Parameters
    ----------
    wearer, piece, placement, weighing
        As for `pad_out`.
    padding : Padding
        Worked out with foams as in the tables; its cases are asked again.

    Returns
    -------
    Doubt
        From the four corners (all foams soft or firm by their spread, friction low or
        high) and the tables' own: each interval holds all five. An interval of what
        was tried, not of confidence: the spreads are tolerances of suppliers. Cases in
        which it does not come to rest to begin with are left out.

    Raises
    ------
    BriefError
        If a pad does not reach the head any more.
    """
    held = {name: one for name, one in padding.settled.items() if one.holds}
    cases = [one.case for one in held.values()]
    found = [] if not cases else [
        pad_out(wearer, piece, placement, pads=_cornered(padding.pads, batch, grip),
                weighing=weighing, cases=cases)
        for batch, grip in CORNERS
    ]  # fmt: skip
    figures = [_figures(held or padding.settled), *(_figures(one.settled) for one in found)]
    peak, slip, wobble = (
        Interval(low=min(column), value=column[0], high=max(column))
        for column in zip(*figures, strict=True)
    )
    spread = max(pad.foam.spread_percent for pad in padding.pads)
    holds = padding.holds and all(one.holds for one in found)
    return Doubt(
        peak_kpa=peak,
        slip_margin=slip,
        wobble_deg_per_nm=wobble,
        spread_percent=spread,
        always_holds=holds,
        words=_words(peak, slip, spread, holds=holds),
    )


def _cornered(pads: Sequence[Pad], batch: int, grip: int) -> list[Pad]:
    """Swap every foam for one at a corner of its spread; pads of one foam share it."""
    foams: Mapping[int, Foam] = MappingProxyType(
        {id(pad.foam): _corner(pad.foam, batch, grip) for pad in pads}
    )
    return [replace(pad, foam=foams[id(pad.foam)]) for pad in pads]


def _corner(foam: Foam, batch: int, grip: int) -> Foam:
    friction = foam.friction
    mean = friction.low if grip < 0 else friction.high
    moved = Friction(
        mean=mean, low=friction.low, high=friction.high, source=friction.source
    )
    scaled = foam.scaled(1.0 + batch * foam.spread_percent / 100.0)
    return replace(scaled, friction=moved)


def _figures(settled: Mapping[str, Settled]) -> tuple[float, float, float]:
    first = next(iter(settled.values()))
    return (
        max(one.peak_kpa for one in settled.values()),
        min(one.slip_margin for one in settled.values()),
        max(first.wobble_deg_per_nm.values()),
    )


def _words(
    peak: Interval, slip: Interval, spread: float, *, holds: bool
) -> tuple[str, ...]:
    words = [
        f"Batches of foam differ by {spread:.0f} % either way and friction on heads "
        f"differs too: the peak comes to {peak.low:.1f} to {peak.high:.1f} kPa, and "
        f"{_left(slip.low)} to {_left(slip.high)} of the friction is left."
    ]
    if not holds:
        words.append(
            "At an end of these spreads, if not before, it does not come to rest: add a "
            "strap, or pads that hold more."
        )
    return tuple(words)


def _left(margin: float) -> str:
    """Say a slip margin; below nothing there is nothing left."""
    return f"{100 * max(margin, 0.0):.0f} %"
