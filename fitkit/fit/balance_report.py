"""The weight on the neck, with what evens it and what comes off, in one frozen report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fitkit.fit._words import move_words
from fitkit.fit.balance import (
    CONDYLES_MM,
    Balance,
    Counterweight,
    OnAndOff,
    balance,
    counterweight,
    on_and_off,
)
from fitkit.fit.padding_report import weighed_piece
from fitkit.fit.pads import Pad, pad_bodies
from fitkit.fit.placement import FloatArray, Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Materials, Weighing
from fitkit.wearer.wearer import Wearer

#: How far a counterweight sits outside the head, where no place is named. [mm]
OUTSIDE_MM = 20.0
#: Forward moments smaller than this are even enough to leave alone. [N cm]
EVEN_N_CM = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class BalanceReport:
    """What one placed piece weighs, how it loads the neck, and what would change that."""

    #: What was taken because nobody had said, in sentences; empty means nothing.
    assumed: tuple[str, ...]
    #: Everything that has a mass, pads included if they were given. [g, mm]
    weighing: Weighing
    balance: Balance
    #: What evens it upright; None where it is even enough.
    counterweight: Counterweight | None
    #: With and without what comes off; None where nothing was named.
    without: OnAndOff | None
    #: The answer in sentences, the weightiest first.
    words: tuple[str, ...]
    #: What to look out for; empty means nothing.
    cautions: tuple[str, ...]


def balance_report(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    pads: Sequence[Pad] = (),
    materials: Materials | None = None,
    weighing: Weighing | None = None,
    detachable: tuple[str, ...] = (),
    counterweight_at_mm: ArrayLike | None = None,
) -> BalanceReport:
    """
    Ask every question of balance of one placement.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    pads : sequence of Pad
        Weighed with the piece.
    materials : Materials, optional
        Of the piece; generic ones if neither these nor `weighing` are given.
    weighing : Weighing, optional
        Of the piece without pads, at the size of the placement; counts before
        `materials`.
    detachable : tuple of str
        Parts and hard points that come off, such as horns for travel.
    counterweight_at_mm : array-like, shape (3,), optional
        Place for a counterweight, head frame; if left out 20 mm outside the back of the
        head, or outside the face of a piece that is heavy behind. [mm]

    Returns
    -------
    BalanceReport
        Whatever was taken for want of better is said in `assumed`.

    Raises
    ------
    DesignError
        If the piece cannot be weighed, or has no body of a name in `detachable`.
    BriefError
        If the place for a counterweight lies on the heavy side of the neck.
    """
    bare, assumed = weighed_piece(piece, placement, materials=materials, weighing=weighing)
    whole = bare.plus(*pad_bodies(wearer, pads, placement))
    if not pads:
        assumed += ("Pads are not weighed here: none were given.",)
    load = balance(whole, placement)
    evened = _evened(wearer, whole, placement, load, counterweight_at_mm)
    without = on_and_off(whole, placement, names=detachable) if detachable else None
    return BalanceReport(
        assumed=assumed,
        weighing=whole,
        balance=load,
        counterweight=evened,
        without=without,
        words=tuple(_words(load, evened, without)),
        cautions=load.cautions,
    )


def _evened(
    wearer: Wearer,
    weighing: Weighing,
    placement: Placement,
    load: Balance,
    at_mm: ArrayLike | None,
) -> Counterweight | None:
    """Even a piece at a place that was named, or at the usual one if it needs it."""
    if at_mm is not None:
        return counterweight(weighing, placement, at_mm=at_mm)
    forward = load.loads["upright"].forward_n_cm
    if abs(forward) < EVEN_N_CM:
        return None
    at = usual_place_mm(wearer, behind=forward > 0)
    return counterweight(weighing, placement, at_mm=at)


def usual_place_mm(wearer: Wearer, *, behind: bool) -> FloatArray:
    """Place 20 mm outside the back of the head, or the face, level with the eyes, (3,)."""
    height = float(wearer.eye_left.cornea[2] + wearer.eye_right.cornea[2]) / 2
    level = wearer.head.vertices[np.abs(wearer.head.vertices[:, 2] - height) < OUTSIDE_MM]
    front = float(level[:, 1].min()) - OUTSIDE_MM
    if not behind:
        front = float(level[:, 1].max()) + OUTSIDE_MM
    return np.array([0.0, front, height])


def _words(
    load: Balance, evened: Counterweight | None, without: OnAndOff | None
) -> Iterator[str]:
    mass = load.piece.mass_g
    arm = load.piece.centre_mm - np.asarray(CONDYLES_MM)
    yield (
        f"It weighs {mass:.0f} g, centred {move_words(arm.tolist())} of the joint that "
        f"the head nods on. {load.context[0]}"
    )
    if evened is not None:
        place = move_words(evened.at_mm.tolist())
        total = evened.after.piece.mass_g
        yield (
            f"{evened.mass_g:.0f} g put {place} of the middle between the ears would even "
            f"it upright, and make {total:.0f} g of it: move a battery there before lead "
            "is added."
        )
    else:
        yield f"Upright it is even to {EVEN_N_CM:g} N cm: no counterweight is needed."
    if without is not None:
        worst, off = without.on.worst, without.off
        names = " and ".join(without.names)
        yield (
            f"Without {names} it is {without.mass_g:.0f} g lighter and its centre goes "
            f"{move_words(without.centre_shift_mm.tolist())}; {worst}, the neck carries "
            f"{off.loads[worst].total_n_cm:.0f} instead of "
            f"{without.on.loads[worst].total_n_cm:.0f} N cm."
        )
