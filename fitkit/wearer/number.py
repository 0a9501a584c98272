"""One number at the edge: is it a number, is it in range, and what was meant."""

from __future__ import annotations

import math
import re
from numbers import Real

from fitkit.errors import range_message

#: Slips of unit: what the number was in, and millimetres in one of it.
_SLIPS: tuple[tuple[str, float], ...] = (
    ("centimetres", 10.0),
    ("inches", 25.4),
    ("metres", 1000.0),
    ("tenths of a millimetre", 0.1),
)
_UNIT_MM = {
    "": 1.0,
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": 25.4,
    "inch": 25.4,
    "inches": 25.4,
    '"': 25.4,
    "″": 25.4,
    "''": 25.4,
}
_WRITTEN = re.compile(r"\s*([+-]?\d{1,9}(?:[.,]\d{0,9})?)\s*([A-Za-z\"'″]*)\s*")


def number_problem(
    name: str,
    got: object,
    *,
    low: float,
    high: float,
    unit: str = "mm",
    usual: float | None = None,
) -> tuple[str, float | None] | None:
    """
    Say what is wrong with one number given to fitkit, and what it likely meant.

    Parameters
    ----------
    name : str
        What the number is.
    got : object
        What came.
    low, high : float
        Allowed range, ends included. [unit]
    unit : str
        Unit of the range; slips of unit are looked for only in ``"mm"``.
    usual : float, optional
        Usual value, to choose between two readings of a slip. [unit]

    Returns
    -------
    tuple of str and float, or None
        The message and the mended value (None if none is likely); None if the number
        is a finite real number in range.

    Examples
    --------
    >>> number_problem("head_length_mm", 19.95, low=140, high=250)[0]
    'head_length_mm must be 140 to 250 mm; got 19.95. That reads like centimetres: \
did you mean 199.5 mm?'
    >>> number_problem("head_length_mm", "7.85 in", low=140, high=250)[0]
    "head_length_mm must be a number, in mm; got '7.85 in'. Write 199.4."
    """
    if isinstance(got, bool) or not isinstance(got, Real):
        return _not_a_number(name, got, low=low, high=high, unit=unit)
    value = _finite(got)
    if value is not None and low <= value <= high:
        return None
    slip, mended = None, None
    if unit == "mm" and value is not None:
        slip, mended = _unit_slip(value, low=low, high=high, usual=usual)
    cure = "Take the reading again."
    if slip is not None:
        cure = f"That reads like {slip}: did you mean {mended:g} mm?"
    elif value is None:
        cure = "Leave a reading out if it was not taken."
    shown = str(got)[:40]
    return range_message(name, low=low, high=high, unit=unit, got=shown, cure=cure), mended


def _finite(got: Real) -> float | None:
    try:
        value = float(got)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def _unit_slip(
    value: float, *, low: float, high: float, usual: float | None
) -> tuple[str | None, float | None]:
    """Return the likeliest slip of unit and the value in millimetres."""
    middle = (low + high) / 2 if usual is None else usual
    found = [(slip, round(value * mm, 1)) for slip, mm in _SLIPS]
    found = [(slip, mended) for slip, mended in found if low <= mended <= high]
    return min(found, key=lambda pair: abs(pair[1] - middle), default=(None, None))


def _not_a_number(
    name: str, got: object, *, low: float, high: float, unit: str
) -> tuple[str, float | None]:
    shown = repr(got) if len(repr(got)) <= 60 else repr(got)[:57] + "..."
    want = f"{name} must be a number, in {unit}; got {shown}."
    mended = _from_text(got) if isinstance(got, str) and unit == "mm" else None
    if mended is not None and low <= mended <= high:
        return f"{want} Write {mended:g}.", mended
    return f"{want} Write a plain number of {low:g} to {high:g}.", None


def _from_text(text: str) -> float | None:
    """Return the millimetres that a text like ``"57,4 cm"`` means, or None."""
    match = _WRITTEN.fullmatch(text[:60])
    if match is None or match[2].lower() not in _UNIT_MM:
        return None
    return round(float(match[1].replace(",", ".")) * _UNIT_MM[match[2].lower()], 1)
