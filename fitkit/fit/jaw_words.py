"""What a jaw report says, in sentences."""

from __future__ import annotations

import numpy as np

from fitkit.fit.jaw_clash import GapTravel
from fitkit.fit.jaw_hinge import HingeAnswer
from fitkit.fit.jaw_report import JawReport
from fitkit.fit.placement import FloatArray

#: A hinge is only worth moving if that takes away at least so much of the misfit. [mm]
WORTH_MM = 1.0


def jaw_words(report: JawReport) -> tuple[str, ...]:
    """
    Say what a jaw does on its wearer, the weightiest first.

    Cautions are not repeated here.
    """
    said = [_follows(report), _near(report)]
    if report.hinge is not None:
        said.append(_hinge(report.hinge))
    if report.closing.straps:
        said.append(_closes(report))
    said.append(_clear(report))
    return tuple(said)


def _follows(report: JawReport) -> str:
    motion, travel = report.motion, report.travel
    kept, whole = travel.kept_opening_mm, motion.opening_mm
    share = (
        f"all of the {whole:.0f}"
        if kept > whole - 0.5
        else f"{kept:.0f} of the {whole:.0f}"
    )
    stopped = float(np.interp(travel.stopped_deg, travel.chin_deg, travel.opening_mm))
    follows = (
        f"follows the chin up to {stopped:.0f} mm, where it meets its stop"
        if np.isfinite(stopped)
        else "follows the chin all the way"
    )
    parts = f", lifts by up to {travel.lift_mm:.1f} mm" if travel.lift_mm > 0.5 else ""
    return (
        f"The jaw {follows}. Inside, the wearer can open {share} mm between the front "
        f"teeth. It turns {travel.jaw_deg.max():.0f} deg and shows "
        f"{travel.seen_mm.max():.0f} mm at its lips; the chin slips by up to "
        f"{travel.slip_mm:.1f} mm along the pads and presses up to "
        f"{travel.squeeze_mm:.1f} mm into them{parts}."
    )


def _near(report: JawReport) -> str:
    shell, head = report.clash.shell, report.clash.head
    return (
        f"Finished, layers included, it {_room(shell, 'shell')} and "
        f"{_room(head, 'wearer')}; shut, {report.clash.teeth_gap_mm:.1f} mm are left "
        "between the lips or teeth."
    )


def _room(gap: GapTravel, what: str) -> str:
    at = f"at {gap.least_deg:.0f} deg"
    if gap.rubs:
        return f"meets the {what} by up to {gap.depth_mm:.1f} mm {at}"
    return f"clears the {what} by {gap.least_mm:.1f} mm, least {at}"


def _hinge(hinge: HingeAnswer) -> str:
    now = (
        f"The hinge lies {hinge.drawn_from_pole_mm:.0f} mm from the pole of the chin's "
        f"motion; chin and pads part by up to {hinge.drawn.misfit_mm:.1f} mm"
    )
    if hinge.drawn.misfit_mm - hinge.best.misfit_mm < WORTH_MM:
        return f"{now}, and no place where a bolt holds does much better."
    front, up = hinge.best.front_mm, hinge.best.up_mm
    moves = [
        f"{abs(by):.0f} mm {words[int(by > 0)]}"
        for by, words in ((front, ("back", "forward")), (up, ("down", "up")))
        if abs(by) >= 0.5
    ]
    return f"{now}. Moved {' and '.join(moves)} it would be {hinge.best.misfit_mm:.1f} mm."


def _closes(report: JawReport) -> str:
    closing, force = report.closing, report.travel.chin_force_n
    margin = (
        f"with {closing.margin:.1f} times the moment that is needed, least "
        f"{closing.margin_posture} at {closing.margin_deg:.0f} deg"
        if np.isfinite(closing.margin)
        else "in every posture"
    )
    given = f" The chin gives up to {np.nanmax(force):.1f} N." if _known(force) else ""
    closes = "closes by itself" if closing.closes else "does not close by itself"
    cord = f" To buy: {report.strap.words}" if report.strap is not None else ""
    return f"The jaw {closes}, {margin}.{given}{cord}"


def _clear(report: JawReport) -> str:
    clear = report.pulled_clear
    hand = f" with {clear.hand_n:.1f} N at its lip" if clear.hand_n > 0 else ""
    return (
        f"Pulled clear by hand{hand} it opens {clear.open_deg:.0f} deg, "
        f"{clear.seen_mm:.0f} mm at the lips."
    )


def _known(force: FloatArray) -> bool:
    return bool(np.isfinite(force).any())
