"""Everything about one jaw on one wearer: chin, travel, clashes, hinge, closing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit.jaw_clash import JawClash, mouth_points, sweep_jaw
from fitkit.fit.jaw_hinge import HingeAnswer, HingeRegion, solve_hinge
from fitkit.fit.jaw_parts import HungJaw, JawFittings, hang
from fitkit.fit.jaw_return import (
    CHIN_FORCE_LIMIT_N,
    JawReturn,
    StrapChoice,
    choose_strap,
    close_jaw,
)
from fitkit.fit.jaw_travel import Contact, JawTravel, chin_contacts, follow_chin
from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.jaw import ChinMotion, chin_motion
from fitkit.wearer.jaw_mesh import OpeningHead

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.wearer import Wearer

#: What is said of every jaw, whatever the figures.
ALWAYS: tuple[str, ...] = (
    "Never lock a jaw shut on a person: whoever wears it must be able to open it and to "
    "breathe and speak without help, and to pull the piece off alone.",
    "Keep fingers, beard and lips clear of the seam while the jaw closes; a strap that "
    "snaps must not whip towards the eyes.",
    "This is about costume. It certifies nothing; local rules and the advice of "
    "qualified people come first.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PulledClear:
    """The jaw pulled open by hand, to get the head in."""

    #: How far it opens: its open stop. [deg]
    open_deg: float
    #: Opening of the piece's mouth then. [mm]
    seen_mm: float
    #: Force of the hand at the jaw's lip, square to it, upright; 0 without straps. [N]
    hand_n: float
    #: Whether every strap can be stretched so far.
    strap_allows: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class JawReport:
    """One jaw on one wearer, complete."""

    motion: ChinMotion
    hung: HungJaw
    contacts: tuple[Contact, ...]
    travel: JawTravel
    clash: JawClash
    #: Without straps it says so; it is never None.
    closing: JawReturn
    #: The cord to buy for the anchors of the straps; None if there are none.
    strap: StrapChoice | None
    pulled_clear: PulledClear
    #: None if it was not asked for.
    hinge: HingeAnswer | None
    #: All cautions, the ones that always hold last.
    cautions: tuple[str, ...]


def jaw_report(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    fittings: JawFittings | None = None,
    step_deg: float = 1.0,
    solve: bool = True,
    region: HingeRegion | None = None,
) -> JawReport:
    """
    Answer every question about the jaw of a placed piece.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
        With a hinge and a jaw part.
    placement : Placement
    fittings : JawFittings, optional
        Pads, play, slots, straps; those in the notes if not given.
    step_deg : float
        Step of both sweeps. [deg]
    solve : bool
        Whether to look for the best hinge as well.
    region : HingeRegion, optional
        Where a bolt may go.

    Raises
    ------
    DesignError
        If the piece has no usable jaw; says what to add to the notes.
    MeasureError
        If the wearer's readings make no believable jaw.
    """
    motion = chin_motion(wearer)
    head = OpeningHead(wearer, motion)
    hung = hang(piece, placement, fittings=fittings)
    contacts = chin_contacts(wearer, hung)
    closing = close_jaw(hung)
    mouth = mouth_points(hung)
    travel = follow_chin(
        motion, hung, contacts, step_deg=step_deg, mouth_mm=mouth, closing=closing
    )
    clash = sweep_jaw(head, hung, travel, step_deg=step_deg)
    hinge = solve_hinge(motion, hung, contacts, region=region) if solve else None
    clear = pull_clear(hung, closing, mouth)
    said = [motion.cautions, hung.cautions, travel.cautions, clash.cautions]
    said += [closing.cautions, _force_words(travel), _clear_words(clear)]
    said += [hinge.cautions if hinge else (), ALWAYS]
    return JawReport(
        motion=motion,
        hung=hung,
        contacts=contacts,
        travel=travel,
        clash=clash,
        closing=closing,
        strap=choose_strap(hung, most_strain_percent=_least_strain(hung))
        if closing.straps
        else None,
        pulled_clear=clear,
        hinge=hinge,
        cautions=tuple(word for words in said for word in words),
    )


def pull_clear(hung: HungJaw, closing: JawReturn, mouth_mm: FloatArray) -> PulledClear:
    """
    Say how far the jaw can be pulled open by hand, and what it takes.

    Parameters
    ----------
    hung : HungJaw
    closing : JawReturn
        Of that jaw.
    mouth_mm : ndarray, shape (2, 3)
        A point of the jaw's lip and one of the shell's, jaw as drawn.
    """
    stop = hung.open_stop_deg
    lip = hung.swing.moved(mouth_mm[0], stop)
    arm = lip - hung.swing.centre_mm - hung.swing.slid_mm(stop)
    name = "upright" if "upright" in closing.net_nmm else next(iter(closing.net_nmm))
    left = float(np.interp(stop, closing.jaw_deg, closing.net_nmm[name]))
    pairs = zip(closing.straps, hung.fittings.straps, strict=True)
    return PulledClear(
        open_deg=stop,
        seen_mm=float(np.linalg.norm(lip - mouth_mm[1])),
        hand_n=max(0.0, left) / float(np.hypot(arm[1], arm[2])) if closing.straps else 0.0,
        strap_allows=all(t.strain_percent <= s.most_strain_percent for t, s in pairs),
    )


def _least_strain(hung: HungJaw) -> float:
    """Most stretch that every strap of the fittings bears. [%]."""
    return max(5.0, min(strap.most_strain_percent for strap in hung.fittings.straps))


def _force_words(travel: JawTravel) -> tuple[str, ...]:
    force = travel.chin_force_n
    if not np.isfinite(force).any() or np.nanmax(force) <= CHIN_FORCE_LIMIT_N:
        return ()
    return (
        f"The chin has to give {np.nanmax(force):.1f} N to open the jaw; more than "
        f"{CHIN_FORCE_LIMIT_N:g} N tires in long wear. Ask for a softer or longer cord.",
    )


def _clear_words(clear: PulledClear) -> tuple[str, ...]:
    if clear.strap_allows:
        return ()
    return (
        "The straps do not stretch to the open stop: unhook them before the jaw is pulled "
        "clear, or the stop comes too late.",
    )
