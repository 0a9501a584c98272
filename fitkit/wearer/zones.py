"""Zones of the head, the words in which ease is asked for and answered."""

from __future__ import annotations

#: Zones in the order of their index in ``Wearer.zone``; left and right are the wearer's.
ZONES: tuple[str, ...] = (
    "brow",
    "crown",
    "temple_left",
    "temple_right",
    "back",
    "nape",
    "cheek_left",
    "cheek_right",
    "nose",
    "mouth",
    "chin",
    "ear_left",
    "ear_right",
    "eye_left",
    "eye_right",
)

#: Zones under hair.
SCALP_ZONES: tuple[str, ...] = (
    "crown",
    "temple_left",
    "temple_right",
    "back",
    "nape",
)

#: Index given to head vertices below the head, where no ease is asked.
NECK = -1


def zone_words(zone: str) -> str:
    """
    Name a zone as a maker would.

    Examples
    --------
    >>> zone_words("temple_left")
    'left temple'
    """
    name, _, side = zone.partition("_")
    return f"{side} {name}" if side else name
