"""What is said of pads: which cannot work, and what to look at once they have settled."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._contact import Contacts
from fitkit.fit._words import move_words
from fitkit.fit.pads import Pad
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

if TYPE_CHECKING:
    from fitkit.fit.padding import PadState

#: Sidewise or upward moves smaller than this go unsaid. [mm]
STILL_MM = 1.0


def settled_words(
    states: Sequence[PadState], shift: FloatArray, *, rests: bool
) -> list[str]:
    """Say what to look at when the piece has settled."""
    words = []
    if not rests:
        words.append("It does not come to rest: it slides or turns off its pads.")
    for state in states[:-1]:
        if state.bottomed:
            words.append(
                f"{state.name} is pressed to {100 * (1 - state.most_strain):.0f} % of its "
                "thickness, beyond its foam's curve: take it thinner or larger."
            )
        elif state.lost:
            words.append(f"{state.name} hardly touches: make it thicker.")
    bare = states[-1]
    if bare.force_n > 0:
        words.append(
            f"The bare wall presses on {bare.contact_mm2 / 100:.1f} cm² of head: pad "
            "there, or make more room."
        )
    if float(np.hypot(shift[0], shift[2])) > STILL_MM:
        words.append(
            "As it settles, the wall ahead of the eyes goes "
            f"{move_words((float(shift[0]), 0.0, float(shift[2])))}."
        )
    return words


def check_reach(
    pads: Sequence[Pad], owner: IntArray, contacts: Contacts, gap: FloatArray
) -> None:
    """Refuse pads of which none can touch, or that start beyond what foam can be."""
    if not pads:
        msg = "pads must hold at least one pad; got none, and a bare wall holds nothing."
        raise BriefError(msg)
    missing = []
    for index, pad in enumerate(pads):
        mine = (owner == index) & (contacts.area > 0)
        if not mine.any():
            msg = f"{pad.name} lies wholly under the pads before it, or faces no wall."
            raise BriefError(msg)
        usual, least = float(np.median(gap[mine])), float(gap[mine].min())
        missing.append(least - pad.thickness_mm)
        left = pad.thickness_mm * (1 - pad.foam.most_strain)
        if usual < left:
            most = max(usual, 0.0) / (1 - pad.foam.most_strain)
            msg = (
                f"{pad.name}: thickness_mm {pad.thickness_mm:g} does not go into a gap of "
                f"{usual:.1f} mm, for {pad.foam.name} is never pressed below {left:.1f} "
                f"mm. Take {most:.1f} mm or thinner."
            )
            raise BriefError(msg)
    if min(missing) > 0:
        nearest = pads[int(np.argmin(missing))]
        msg = (
            f"No pad touches the head: {nearest.name} comes nearest and ends "
            f"{min(missing):.1f} mm short. Make it at least "
            f"{nearest.thickness_mm + min(missing):.1f} mm thick."
        )
        raise BriefError(msg)
