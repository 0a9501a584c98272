"""Checks at the edge, shared by the briefs of every question."""

from __future__ import annotations

import math

from fitkit.errors import BriefError, range_message


def in_range(
    name: str, value: float, *, low: float, high: float, unit: str, cure: str = ""
) -> None:
    """Refuse a number that is not finite or lies outside `low` to `high`."""
    if not (math.isfinite(value) and low <= value <= high):
        raise BriefError(
            range_message(name, low=low, high=high, unit=unit, got=value, cure=cure)
        )
