"""Wanted fields: the directions that one eye shall see, as a cone of any shape."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitkit.fit._checks import in_range
from fitkit.fit._directions import around
from fitkit.fit.sight import Side
from fitkit.fit.visual_fields import ReferenceField
from fitkit.geometry.mesh import BoolArray, FloatArray

#: Meridians on which the edge of a wanted field is held.
MERIDIANS = 120
#: Ellipses of EN 166:2002, clause 7.1.1, read second hand (doi
#: 10.1007/s12553-020-00429-2, table 1): full axes across and up, how far ahead of the
#: eye they stand, how far towards the temple and below the eye their centres lie. The
#: centres are spaced 6 mm wider than the pupils. [mm]
EN166_MM = (22.0, 20.0, 25.0, 3.0, 0.7)


@dataclass(frozen=True, kw_only=True, eq=False)
class WantedField:
    """
    Directions that one eye shall see: everything within an edge about a middle.

    The edge runs once around the middle direction; seen from it, the field is
    star-shaped. Between two points of the edge it follows the great circle.
    """

    side: Side
    name: str
    #: Middle direction, unit, shape (3,).
    middle: FloatArray
    #: Unit directions along the edge, from right over up as the wearer sees it, (k, 3).
    edge: FloatArray

    @cached_property
    def _frame(self) -> FloatArray:
        """Unit axes across the middle, right-ish and up-ish, shape (2, 3)."""
        right = np.cross(self.middle, [0.0, 0.0, 1.0])
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(right, self.middle)])

    @cached_property
    def turns_deg(self) -> FloatArray:
        """Meridian of each point of the edge about the middle, rising, shape (k,)."""
        across = self.edge @ self._frame.T
        return np.degrees(np.unwrap(np.arctan2(across[:, 1], across[:, 0])))

    @cached_property
    def reach_deg(self) -> FloatArray:
        """Angle from the middle to each point of the edge, shape (k,)."""
        return np.degrees(np.arccos(np.clip(self.edge @ self.middle, -1, 1)))

    def contains(self, directions: FloatArray) -> BoolArray:
        """Say which unit directions, shape (n, 3), lie within."""
        across = directions @ self._frame.T
        turn = np.degrees(np.arctan2(across[:, 1], across[:, 0]))
        turn = (turn - self.turns_deg[0]) % 360 + self.turns_deg[0]
        sector = np.searchsorted(self.turns_deg, turn, side="right") - 1
        start, end = self.edge[sector], np.roll(self.edge, -1, axis=0)[sector]
        side = np.einsum("ij,ij->i", np.cross(start, end), directions)
        ahead = directions @ self.middle > np.cos(np.radians(self.reach_deg.max() + 1))
        inside: BoolArray = ahead & (side <= 1e-12)
        return inside

    @cached_property
    def solid_angle_sr(self) -> float:
        """Solid angle, in steradians."""
        start, end = self.edge, np.roll(self.edge, -1, axis=0)
        top = np.abs(np.cross(start, end) @ self.middle)
        ahead, after = start @ self.middle, end @ self.middle
        bottom = 1 + np.einsum("ij,ij->i", start, end) + ahead + after
        return float(2 * np.arctan2(top, bottom).sum())

    def on_meridian(self, turn_deg: FloatArray, off_deg: FloatArray) -> FloatArray:
        """Unit directions at an angle off the middle along meridians, shape (n, 3)."""
        off, turn = np.radians(off_deg)[:, None], np.radians(turn_deg)[:, None]
        across = np.cos(turn) * self._frame[0] + np.sin(turn) * self._frame[1]
        ways: FloatArray = np.cos(off) * self.middle + np.sin(off) * across
        return ways

    def limits_deg(self) -> dict[str, float]:
        """Angle from straight ahead to the edge up, down, to nose and temple."""
        outward = 0.0 if self.side == "right" else 180.0
        meridians = {"up": 90, "down": 270, "nasal": 180 - outward, "temporal": outward}
        off = np.arange(0, 113, 0.05)
        found = {}
        for name, meridian in meridians.items():
            held = self.contains(around(off, np.full(len(off), float(meridian))))
            found[name] = float(off[held].max()) if held.any() else float("nan")
        return found

    def within(self, reach_deg: FloatArray) -> WantedField:
        """Give the field drawn in to angles from the middle, shape (k,), in degrees."""
        edge = self.on_meridian(self.turns_deg, reach_deg)
        return WantedField(side=self.side, name=self.name, middle=self.middle, edge=edge)


def wanted_limits(
    *, side: Side, up_deg: float, down_deg: float, nasal_deg: float, temporal_deg: float
) -> WantedField:
    """
    Want a field by its limits; quarters of ellipses join them in the polar chart.

    Parameters
    ----------
    side : {"left", "right"}
        The wearer's eye.
    up_deg, down_deg, nasal_deg, temporal_deg : float
        Angles from straight ahead, 1 to 110. [deg]

    Raises
    ------
    BriefError
        If a limit is out of range.
    """
    given = {"up_deg": up_deg, "down_deg": down_deg, "nasal_deg": nasal_deg}
    given["temporal_deg"] = temporal_deg
    for name, value in given.items():
        in_range(name, value, low=1, high=110, unit="deg")
    shape = ReferenceField(name="wanted", source="asked for", **given)
    turn = 360 * np.arange(MERIDIANS) / MERIDIANS
    reach = shape.limit_deg(turn, side=side) / np.cos(np.pi / MERIDIANS)
    name = (
        f"up {up_deg:g}, down {down_deg:g}, nasal {nasal_deg:g}, temporal "
        f"{temporal_deg:g} deg"
    )
    ahead = np.array([0.0, 1.0, 0.0])
    return WantedField(side=side, name=name, middle=ahead, edge=around(reach, turn))


def wanted_ellipse(
    *,
    side: Side,
    width_mm: float,
    height_mm: float,
    distance_mm: float,
    temporal_mm: float = 0.0,
    up_mm: float = 0.0,
    name: str = "ellipse",
) -> WantedField:
    """
    Want what shows through an upright ellipse ahead of the pupil.

    Parameters
    ----------
    side : {"left", "right"}
        The wearer's eye.
    width_mm, height_mm : float
        Full axes. [mm]
    distance_mm : float
        How far ahead of the pupil it stands. [mm]
    temporal_mm, up_mm : float
        How far its centre lies towards the temple and above the pupil. [mm]

    Raises
    ------
    BriefError
        If a number is out of range.
    """
    for key, value in (("width_mm", width_mm), ("height_mm", height_mm)):
        in_range(key, value, low=0.1, high=400, unit="mm")
    in_range("distance_mm", distance_mm, low=1, high=400, unit="mm")
    for key, value in (("temporal_mm", temporal_mm), ("up_mm", up_mm)):
        in_range(key, value, low=-100, high=100, unit="mm")
    outward = 1.0 if side == "right" else -1.0
    centre = np.array([outward * temporal_mm, distance_mm, up_mm])
    turn = 2 * np.pi * np.arange(MERIDIANS) / MERIDIANS
    grow = 1 / np.cos(np.pi / MERIDIANS)
    right, up = grow * width_mm / 2 * np.cos(turn), grow * height_mm / 2 * np.sin(turn)
    edge = centre + np.column_stack([right, np.zeros(MERIDIANS), up])
    return WantedField(side=side, name=name, middle=_unit(centre), edge=_unit(edge))


def wanted_en166(side: Side) -> WantedField:
    """
    Want the ellipse of EN 166 for eye protectors, as a reference; not a certificate.

    The standard places the ellipse ahead of the eye's surface; here the pupil itself is
    put there, so a little more than the standard's cone is wanted.
    """
    width, height, ahead, temporal, below = EN166_MM
    return wanted_ellipse(
        side=side,
        width_mm=width,
        height_mm=height,
        distance_mm=ahead,
        temporal_mm=temporal,
        up_mm=-below,
        name="EN 166 ellipse",
    )


def _unit(vectors: FloatArray) -> FloatArray:
    unit: FloatArray = vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
    return unit
