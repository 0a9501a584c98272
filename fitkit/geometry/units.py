"""Units of length that mesh files are drawn in, and which of them make sense."""

from __future__ import annotations

from typing import Literal

Unit = Literal["mm", "cm", "m", "in"]

#: Millimetres in one unit.
MM_PER_UNIT: dict[Unit, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
#: Longest side of a headpiece, from a bare mask to one with antlers. [mm]
LEAST_PIECE_MM, MOST_PIECE_MM = 150.0, 1200.0
#: Longest side of a full-head piece as most are: used to rank units that both fit. [mm]
USUAL_PIECE_MM = 320.0


def plausible_units(longest: float) -> tuple[Unit, ...]:
    """
    Say in which units a longest side would be that of a headpiece, likeliest first.

    Parameters
    ----------
    longest : float
        Longest side of the bounding box, in the unknown unit.

    Examples
    --------
    >>> plausible_units(243.0), plausible_units(24.3), plausible_units(0.3)
    (('mm',), ('cm', 'in'), ('m',))
    """
    fits = [
        (max(side, USUAL_PIECE_MM) / min(side, USUAL_PIECE_MM), unit)
        for unit, factor in MM_PER_UNIT.items()
        if LEAST_PIECE_MM <= (side := longest * factor) <= MOST_PIECE_MM
    ]
    return tuple(unit for _, unit in sorted(fits))


def size_words(longest: float) -> str:
    """
    Put `plausible_units` into words.

    Examples
    --------
    >>> size_words(24.3)
    'head-size if it is in cm (243 mm) or in (617 mm)'
    """
    units = plausible_units(longest)
    if not units:
        return "not head-size in any of mm, cm, m and in"
    named = [f"{unit} ({longest * MM_PER_UNIT[unit]:.0f} mm)" for unit in units]
    return f"head-size if it is in {' or '.join(named)}"
