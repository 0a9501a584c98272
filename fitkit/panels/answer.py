"""How panels say what an answer holds: zones and lines of sight, in words."""

from __future__ import annotations

from fitkit.wearer.zones import zone_words


def zone_title(zone: str) -> str:
    """
    Name a zone at the head of a line.

    Examples
    --------
    >>> zone_title("cheek_left")
    'Left cheek'
    """
    return zone_words(zone).capitalize()


def line_words(margin_mm: float) -> str:
    """Say where an eye's straight-ahead line passes, from its margin in mm."""
    where = "inside" if margin_mm >= 0 else "outside"
    return f"line of sight {abs(margin_mm):.1f} mm {where} the edge of its opening"
