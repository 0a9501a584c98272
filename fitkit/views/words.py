"""How figures are written for people."""

from __future__ import annotations

#: Shortfalls below this print as none and are not shown. [mm]
UNSEEN_MM = 0.05


def figure(value: float, *, digits: int = 1) -> str:
    """
    Write a number with a true minus sign; nothing for what is not a number.

    Examples
    --------
    >>> figure(-3.14), figure(-0.01), figure(float("nan"))
    ('−3.1', '0.0', '–')
    """
    if value != value:
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−")
