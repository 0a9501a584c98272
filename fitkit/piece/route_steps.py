"""The steps that routes are made of: layers, copies, removals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.mesh import BoolArray, FloatArray
from fitkit.piece.laminate import Laminate, within
from fitkit.piece.mass import checked_density
from fitkit.piece.notes import layer_thickness_mm, shrinkage_percent

Side = Literal["outward", "inward"]
Kept = Literal["outer", "inner", "both"]


@dataclass(frozen=True, kw_only=True)
class Region:
    """A ball within which a layer has a thickness of its own."""

    name: str
    #: In the axes of the drawn piece, at its drawn size. [mm]
    centre_mm: tuple[float, float, float]
    radius_mm: float
    #: Of the layer there, above 0. [mm]
    thickness_mm: float

    def __post_init__(self) -> None:
        layer_thickness_mm(self.thickness_mm)
        within(f"radius_mm of {self.name}", self.radius_mm, low=1, high=2000, unit="mm")

    def holds(self, points: FloatArray) -> BoolArray:
        """Say which drawn points, shape (n, 3), lie within."""
        off: FloatArray = np.linalg.norm(points - np.array(self.centre_mm), axis=1)
        return off <= self.radius_mm


@dataclass(frozen=True, kw_only=True)
class LayerStep:
    """
    Something that is added: card, laminate, filler, paint, a cast wall, a lining.

    Raises
    ------
    DesignError
        If the thickness is not above 0 and at most 80 mm, a number is out of range, or
        thickness and laminate are both given or both missing.
    """

    name: str
    #: Away from the head, or towards it.
    side: Side
    #: Thickness; left out where a laminate gives it. [mm]
    thickness_mm: float | None = None
    laminate: Laminate | None = None
    #: One standard deviation of the thickness, over the thickness. [percent]
    spread_percent: float = 10.0
    #: Of the finished layer; a laminate knows its own. [g/cm³]
    density_g_cm3: float = 1.2
    #: Where it is thicker or thinner.
    regions: tuple[Region, ...] = ()

    def __post_init__(self) -> None:
        if (self.thickness_mm is None) == (self.laminate is None):
            msg = f"{self.name}: give thickness_mm or laminate, one of the two."
            raise DesignError(msg)
        try:
            layer_thickness_mm(self.even_mm)
        except DesignError as error:
            msg = f"{self.name}: {error}"
            raise DesignError(msg) from None
        _check_spread(self.name, self.spread_percent)
        checked_density(self.name, self.density)

    @property
    def even_mm(self) -> float:
        """Thickness outside the regions in mm."""
        if self.laminate is not None:
            return self.laminate.thickness_mm
        assert self.thickness_mm is not None
        return self.thickness_mm

    @property
    def density(self) -> float:
        """Density in g/cm³."""
        return self.laminate.density_g_cm3 if self.laminate else self.density_g_cm3


@dataclass(frozen=True, kw_only=True)
class CopyStep:
    """
    A mould, a casting or a heat-formed copy: it keeps one surface and shrinks.

    Raises
    ------
    DesignError
        If the shrinkage is not 0 to 10 %, or its spread is out of range.
    """

    name: str
    #: Linear shrinkage. [percent]
    shrink_percent: float
    #: One standard deviation of it, in the same percent of length.
    spread_percent: float = 0.0
    #: The surface that is copied; "both" copies the wall as it is.
    keeps: Kept = "outer"

    def __post_init__(self) -> None:
        try:
            shrinkage_percent(self.shrink_percent)
        except DesignError as error:
            msg = f"{self.name}: {error}"
            raise DesignError(msg) from None
        within(f"{self.name}: spread_percent", self.spread_percent, low=0, high=5, unit="%")

    @property
    def factor(self) -> float:
        """What is left of a length."""
        return 1 - self.shrink_percent / 100


@dataclass(frozen=True, kw_only=True)
class RemoveStep:
    """
    Something that is taken away evenly: sanding.

    Raises
    ------
    DesignError
        If the depth is not above 0 and at most 80 mm, or the spread is out of range.
    """

    name: str
    #: The surface that is sanded.
    side: Side
    #: Taken off, above 0. [mm]
    depth_mm: float
    #: One standard deviation of the depth, over the depth. [percent]
    spread_percent: float = 25.0

    def __post_init__(self) -> None:
        layer_thickness_mm(self.depth_mm)
        _check_spread(self.name, self.spread_percent)


Step = LayerStep | CopyStep | RemoveStep


def _check_spread(name: str, percent: float) -> None:
    within(f"{name}: spread_percent", percent, low=0, high=50, unit="%")


def linear_shrink_percent(*, volume_percent: float) -> float:
    """
    Linear shrinkage of a copy whose data sheet gives the shrinkage of its volume.

    Parameters
    ----------
    volume_percent : float
        From 0 to 27.1, which is 10 % along each axis. [percent]

    Raises
    ------
    DesignError
        If that is more than any copy shrinks.

    Examples
    --------
    >>> round(linear_shrink_percent(volume_percent=7.0), 2)
    2.39
    """
    within("volume_percent", volume_percent, low=0, high=27.1, unit="%")
    return float(100 * (1 - (1 - volume_percent / 100) ** (1 / 3)))
