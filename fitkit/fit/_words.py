"""How zones, demands and directions are said to a maker."""

from __future__ import annotations

from collections.abc import Sequence

from fitkit.fit._demands import DISTORTION, HINGE, SIGHT_LEFT, SIZE
from fitkit.fit.sight import SIDES
from fitkit.wearer.zones import ZONES, zone_words

#: Words for a move along +right, +front, +up and the opposite.
WAYS = (("right", "left"), ("forward", "back"), ("up", "down"))
#: Moves smaller than this go unsaid. [mm]
UNSAID_MM = 0.3


def in_words(family: int) -> str:
    """Name a family of demand, by its index in ``FAMILIES``."""
    zones = len(ZONES)
    if family < zones:
        return f"ease at the {zone_words(ZONES[family])}"
    if family < 2 * zones:
        return f"not too loose at the {zone_words(ZONES[family - zones])}"
    if family < HINGE:
        return f"straight-ahead sight of the {SIDES[family - SIGHT_LEFT]} eye"
    if family == HINGE:
        return "hinge near the chin pole"
    return {SIZE: "size limit", DISTORTION: "distortion limit"}.get(family, "pose limit")


def move_words(move_mm: Sequence[float]) -> str:
    """
    Say a move, shape (3,), in mm along each axis that matters.

    Examples
    --------
    >>> move_words((0.0, -2.04, 3.7))
    '2.0 mm back and 3.7 mm up'
    """
    parts = [
        f"{abs(amount):.1f} mm {plus if amount > 0 else minus}"
        for amount, (plus, minus) in zip(move_mm, WAYS, strict=True)
        if abs(amount) >= UNSAID_MM
    ]
    return listed(parts) if parts else "less than half a millimetre"


def listed(words: list[str]) -> str:
    """
    Join words as a sentence does.

    Examples
    --------
    >>> listed(["brow", "crown", "nape"])
    'brow, crown and nape'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def percent(factor: float, digits: int = 1) -> str:
    """
    Say a factor of size in percent.

    Examples
    --------
    >>> percent(0.9826)
    '98.3 %'
    """
    return f"{100.0 * factor:.{digits}f} %"
