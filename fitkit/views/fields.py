"""What each eye sees, on an equal-area chart: numbers, not a drawing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from fitkit.fit._directions import DirectionGrid, around, polar
from fitkit.fit.field import FieldOfView
from fitkit.fit.sight import SIDES, Side

FloatArray = NDArray[np.float64]

#: Pixels across a chart, and its edge. [deg]
PIXELS, EDGE_DEG = 361, 112.0


@dataclass(frozen=True, kw_only=True, eq=False)
class FieldChart:
    """
    Fields of both eyes on Lambert's azimuthal equal-area chart about straight ahead.

    Chart coordinates are 2 sin(angle / 2) along the meridian, wearer's right and up
    positive; equal areas of paper are equal solid angles.
    """

    #: Centres of the pixel columns and rows, shapes (w,) and (h,); chart coordinates.
    across: FloatArray
    upward: FloatArray
    #: Share seen from the pupil's centre at each pixel, by side, (h, w), 0 to 1.
    worn: Mapping[Side, FloatArray]
    bare: Mapping[Side, FloatArray]
    #: Light that gets to the pupil, lenses included, by side, (h, w), 0 to 1.
    light: Mapping[Side, FloatArray]
    #: Seen by either eye and by both, in percent of bare-headed.
    either_percent: float
    both_percent: float
    #: Name of the reference field.
    reference: str


def field_chart(field: FieldOfView) -> FieldChart:
    """Lay a field of view out on the equal-area chart."""
    edge = chart_radius(EDGE_DEG)
    line = np.linspace(-edge, edge, PIXELS)
    across, upward = np.meshgrid(line, line)
    radius = np.minimum(np.hypot(across, upward), 2.0)
    off = np.degrees(2 * np.arcsin(radius / 2))
    ways = around(off.ravel(), np.degrees(np.arctan2(upward, across)).ravel())
    lay = _Layer(field.grid, ways, (PIXELS, PIXELS))
    worn, bare = field.worn, field.bare
    return FieldChart(
        across=line,
        upward=line,
        worn=_by_side(lambda side: lay(worn.eye(side).seen["centre"])),
        bare=_by_side(lambda side: lay(bare.eye(side).seen["centre"])),
        light=_by_side(lambda side: lay(worn.eye(side).light)),
        either_percent=field.either_percent,
        both_percent=field.both_percent,
        reference=field.reference.name,
    )


def chart_radius(angle_deg: float) -> float:
    """Distance from the middle of the chart of a direction so far off straight ahead."""
    return float(2 * np.sin(np.radians(angle_deg) / 2))


def on_chart(directions: FloatArray) -> FloatArray:
    """Chart coordinates of unit directions, shape (k, 3) to (k, 2)."""
    off, meridian = polar(directions)
    radius, turn = 2 * np.sin(np.radians(off) / 2), np.radians(meridian)
    return np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])


def _by_side(make: Callable[[Side], FloatArray]) -> Mapping[Side, FloatArray]:
    return MappingProxyType({side: make(side) for side in SIDES})


class _Layer:
    """Look maps of a grid up at the directions of a chart's pixels."""

    def __init__(
        self, grid: DirectionGrid, ways: FloatArray, shape: tuple[int, int]
    ) -> None:
        longitude = np.degrees(np.arctan2(ways[:, 0], ways[:, 1]))
        latitude = np.degrees(np.arcsin(np.clip(ways[:, 2], -1, 1)))
        self._at = np.stack(
            [
                (latitude - grid.latitude_deg[0]) / grid.step_deg,
                (longitude - grid.longitude_deg[0]) / grid.step_deg,
            ]
        )
        self._shape = shape

    def __call__(self, values: FloatArray) -> FloatArray:
        found = map_coordinates(values, self._at, order=1, mode="constant", cval=0.0)
        return np.asarray(found.reshape(self._shape))
