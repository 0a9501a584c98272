"""Directions of sight: a grid over the sphere with the solid angle of every cell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from fitkit.geometry.mesh import FloatArray, IntArray

#: Nobody sees farther aside than this, with or without a nose. [deg]
REACH_DEG = 112.0


@dataclass(frozen=True, kw_only=True, eq=False)
class DirectionGrid:
    """
    Cells of equal longitude and latitude about the straight-ahead line.

    Longitude is the angle to the wearer's right in the horizontal plane, latitude the
    angle above it; both are 0 straight ahead. Rows run up, columns run right. Cells
    reach 112 degrees to either side and 90 up and down.
    """

    #: Height and width of a cell. [deg]
    step_deg: float
    #: Middle of each column, shape (m,): right positive. [deg]
    longitude_deg: FloatArray
    #: Middle of each row, shape (n,): up positive. [deg]
    latitude_deg: FloatArray

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.latitude_deg), len(self.longitude_deg)

    @cached_property
    def directions(self) -> FloatArray:
        """Unit direction of every cell's middle, row by row, shape (n * m, 3)."""
        longitude, latitude = np.meshgrid(self.longitude_deg, self.latitude_deg)
        found = direction_at(longitude.ravel(), latitude.ravel())
        found.setflags(write=False)
        return found

    @cached_property
    def solid_angle_sr(self) -> FloatArray:
        """Exact solid angle of every cell, shape (n, m), in steradians."""
        half = np.radians(self.step_deg) / 2
        middle = np.radians(self.latitude_deg)
        rows = 2 * half * (np.sin(middle + half) - np.sin(middle - half))
        found = np.repeat(rows[:, None], len(self.longitude_deg), axis=1)
        found.setflags(write=False)
        return found

    def parts(self, cells: IntArray, *, count: int) -> FloatArray:
        """
        Split cells into count x count parts of equal solid angle.

        Returns
        -------
        ndarray, shape (len(cells), count ** 2, 3)
            Unit directions of the parts' middles.
        """
        row, column = np.divmod(cells, self.shape[1])
        half = self.step_deg / 2
        share = (np.arange(count) + 0.5) / count
        low = np.sin(np.radians(self.latitude_deg[row] - half))
        high = np.sin(np.radians(self.latitude_deg[row] + half))
        sine = low[:, None] + (high - low)[:, None] * share
        latitude = np.degrees(np.arcsin(sine))[:, :, None]
        aside = self.longitude_deg[column, None] + self.step_deg * (share - 0.5)
        longitude, latitude = np.broadcast_arrays(aside[:, None, :], latitude)
        found = direction_at(longitude.ravel(), latitude.ravel())
        return found.reshape(len(cells), count**2, 3)


@lru_cache(maxsize=8)
def direction_grid(step_deg: float) -> DirectionGrid:
    """Make the grid of a step that divides 112 and 90 degrees evenly enough."""
    rows = round(180 / step_deg)
    step = 180 / rows
    columns = 2 * int(REACH_DEG / step)
    longitude, latitude = (
        (np.arange(count, dtype=np.float64) - (count - 1) / 2) * step
        for count in (columns, rows)
    )
    return DirectionGrid(step_deg=step, longitude_deg=longitude, latitude_deg=latitude)


def direction_at(longitude_deg: FloatArray, latitude_deg: FloatArray) -> FloatArray:
    """Unit directions, shape (k, 3): right, front, up; angles of shape (k,), in degrees."""
    aside, above = np.radians(longitude_deg), np.radians(latitude_deg)
    level = np.cos(above)
    return np.stack([np.sin(aside) * level, np.cos(aside) * level, np.sin(above)], axis=-1)


def around(
    eccentricity_deg: FloatArray,
    meridian_deg: FloatArray,
) -> FloatArray:
    """
    Unit directions at an angle from straight ahead along a meridian, shape (k, 3).

    The meridian turns from right (0) over up (90) to left (180). [deg]
    """
    off, turn = np.radians(eccentricity_deg), np.radians(meridian_deg)
    aside = np.sin(off)
    return np.stack([aside * np.cos(turn), np.cos(off), aside * np.sin(turn)], axis=-1)


def polar(directions: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Angle from straight ahead, and meridian, of unit directions, in degrees."""
    right, ahead, up = np.moveaxis(directions, -1, 0)
    aside = np.hypot(right, up)
    return np.degrees(np.arctan2(aside, ahead)), np.degrees(np.arctan2(up, right))
