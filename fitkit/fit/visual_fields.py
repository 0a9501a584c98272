"""Reference fields: how far an eye is taken to see when nothing is worn."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit._directions import REACH_DEG, polar
from fitkit.fit.sight import Side
from fitkit.geometry.mesh import BoolArray, FloatArray


@dataclass(frozen=True, kw_only=True)
class ReferenceField:
    """
    Limits of one eye's field, told by four angles from straight ahead.

    Between the four meridians the limit is a quarter of an ellipse in the polar chart
    that perimetry draws (angle from straight ahead against meridian).

    Raises
    ------
    BriefError
        If a limit is not above 0, or beyond 112 degrees.

    Examples
    --------
    >>> round(reference_field("wide").solid_angle_sr, 3)
    4.988
    """

    name: str
    #: Limits of one eye. [deg]
    up_deg: float
    down_deg: float
    nasal_deg: float
    temporal_deg: float
    #: Who says so.
    source: str

    def __post_init__(self) -> None:
        for name in ("up_deg", "down_deg", "nasal_deg", "temporal_deg"):
            value = getattr(self, name)
            in_range(name, value, low=0.1, high=REACH_DEG, unit="deg")

    def limit_deg(self, meridian_deg: FloatArray, *, side: Side) -> FloatArray:
        """Give the limit along meridians counted from right over up, in degrees."""
        turn = np.radians(meridian_deg)
        outward = np.cos(turn) * (1 if side == "right" else -1)
        above = np.sin(turn)
        across = np.where(outward > 0, self.temporal_deg, self.nasal_deg)
        along = np.where(above > 0, self.up_deg, self.down_deg)
        limit: FloatArray = across * along / np.hypot(along * outward, across * above)
        return limit

    def contains(self, directions: FloatArray, *, side: Side) -> BoolArray:
        """Say which unit directions, shape (k, 3), this eye could see."""
        off, meridian = polar(directions)
        inside: BoolArray = off <= self.limit_deg(meridian, side=side)
        return inside

    @cached_property
    def solid_angle_sr(self) -> float:
        """Solid angle of one eye's field, in steradians."""
        turn = np.linspace(0, 360, 3600, endpoint=False) + 0.05
        limit = np.radians(self.limit_deg(turn, side="right"))
        return float(2 * np.pi * np.mean(1 - np.cos(limit)))


@cache
def reference_fields() -> dict[str, ReferenceField]:
    """All reference fields that fitkit knows, by name."""
    raw = files("fitkit.data").joinpath("visual_fields.json").read_text(encoding="utf-8")
    rows = json.loads(raw)["visual_fields"]
    return {row["name"]: ReferenceField(**row) for row in rows}


def reference_field(named: str | ReferenceField) -> ReferenceField:
    """
    Find a reference field by name; one that is given already is given back.

    Raises
    ------
    BriefError
        If the name is unknown.
    """
    if isinstance(named, ReferenceField):
        return named
    known = reference_fields()
    if named not in known:
        msg = (
            f"There is no reference field {named!r}; there are {', '.join(known)}. Or give "
            "a ReferenceField with limits of your own and their source."
        )
        raise BriefError(msg)
    return known[named]
