"""The pupil: how wide it opens, and the points of its disc that stand for all of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.sight import Side
from fitkit.geometry.mesh import FloatArray
from fitkit.wearer.wearer import Eye

#: Diameter taken unless another is given: indoors by day. [mm]
PUPIL_MM = 4.0
#: Widest range believed: from bright sun to full dark. [mm]
PUPIL_RANGE_MM = (1.0, 9.0)
#: Points of the disc: its centre alone, or centre, ring and rim.
SAMPLES = (1, 19)
#: Weights of centre, inner ring and rim together.
_SIMPSON = (1 / 6, 4 / 6, 1 / 6)
#: The inner ring is turned by this, so that no two points lie on one level. [deg]
_RING_TURN_DEG = 15.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Pupil:
    """Points of one entrance pupil and the share of its light that each stands for."""

    #: Centre, head frame, shape (3,). [mm]
    centre: FloatArray
    diameter_mm: float
    #: Points, shape (s, 3); the first is the centre. [mm]
    points: FloatArray
    #: Share of the pupil's area, shape (s,); sums to 1.
    weights: FloatArray


def eye_pupil(eye: Eye, *, side: Side, diameter_mm: float, samples: int) -> Pupil:
    """Lay the points of an eye that looks straight ahead."""
    offsets, weights = disc_rule(samples)
    right, up = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    across = offsets[:, :1] * (1 if side == "right" else -1)
    points = eye.entrance_pupil + diameter_mm / 2 * (across * right + offsets[:, 1:] * up)
    return Pupil(
        centre=eye.entrance_pupil, diameter_mm=diameter_mm, points=points, weights=weights
    )


@lru_cache(maxsize=2)
def disc_rule(samples: int) -> tuple[FloatArray, FloatArray]:
    """
    Points of the unit disc, shape (s, 2), and their weights, shape (s,).

    With 19 points: the centre, six at 1/sqrt(2) and twelve on the rim. By radius this
    is Simpson's rule in the square of the radius, so polynomials up to degree 5 are
    exact; the rim's points meet its top, bottom and sides, so first and last light
    are exact there and within 1 - cos(15 deg) = 3.4 % of the radius in between. The
    share of a disc behind a straight edge is right to 0.1 for level and upright edges,
    to 0.2 for any.
    """
    if samples == 1:
        return np.zeros((1, 2)), np.ones(1)
    centre, ring, rim = _SIMPSON
    inner = _ring(6, turn_deg=_RING_TURN_DEG) / np.sqrt(2)
    points = np.concatenate([np.zeros((1, 2)), inner, _ring(12, turn_deg=0.0)])
    weights = np.repeat([centre, ring / 6, rim / 12], [1, 6, 12])
    return points, weights


def pupil_diameter_mm(*, luminance_cd_m2: float, field_deg: float = 60.0) -> float:
    """
    Diameter of a pupil that looks at a lit square field.

    Parameters
    ----------
    luminance_cd_m2 : float
        Of the field: 0.01 at night under lamps, 1 at dusk, 100 indoors, 5000 in sun.
    field_deg : float
        Side of the square. [deg]

    Returns
    -------
    float
        Diameter of a young adult's pupil; it is smaller in the old. [mm]

    Raises
    ------
    BriefError
        If a number is out of range.

    References
    ----------
    .. [1] P. G. J. Barten, *Contrast Sensitivity of the Human Eye and Its Effects on
       Image Quality*, 1999: d = 5 - 3 tanh(0.4 log10(L X² / 40²)).

    Examples
    --------
    >>> round(pupil_diameter_mm(luminance_cd_m2=20), 3)
    3.262
    """
    in_range("luminance_cd_m2", luminance_cd_m2, low=1e-6, high=1e6, unit="cd/m²")
    in_range("field_deg", field_deg, low=1, high=180, unit="deg")
    reach = np.log10(luminance_cd_m2 * field_deg**2 / 40**2)
    return float(5 - 3 * np.tanh(0.4 * reach))


def check_pupil(*, pupil_mm: float, samples: int) -> None:
    """Refuse a pupil that no eye has, or a number of points that has no rule."""
    low, high = PUPIL_RANGE_MM
    in_range("pupil_mm", pupil_mm, low=low, high=high, unit="mm")
    if samples not in SAMPLES:
        msg = f"samples must be 1 (the pupil's centre alone) or 19; got {samples!r}."
        raise BriefError(msg)


def _ring(count: int, *, turn_deg: float) -> FloatArray:
    turn = np.radians(turn_deg) + 2 * np.pi * np.arange(count) / count
    return np.column_stack([np.cos(turn), np.sin(turn)])
