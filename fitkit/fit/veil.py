"""Disability glare: the veil that a lamp in view lays over everything else."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.geometry.mesh import FloatArray

Formula = Literal["stiles-holladay", "general"]
#: Angles between the line of gaze and the glare source for which a formula holds. [deg]
VALID_DEG: dict[Formula, tuple[float, float]] = {
    "stiles-holladay": (1.0, 30.0),
    "general": (0.1, 100.0),
}
#: Factor of the eye's pigment in the general formula.
PIGMENT = {"black": 0.0, "brown": 0.5, "light": 1.0, "very light": 1.2}


def veil_per_lux(
    *,
    angle_deg: ArrayLike,
    age_years: float = 40.0,
    formula: Formula = "general",
    pigment: float = 0.5,
) -> FloatArray:
    """
    Veiling luminance for each lux at the eye from a source at an angle to the gaze.

    Parameters
    ----------
    angle_deg : array-like, shape (...)
        Between the line of gaze and the direction to the source. [deg]
    age_years : float
        Of the wearer.
    formula : {"general", "stiles-holladay"}
        CIE general disability glare equation, 0.1 to 100 degrees; or the age-adjusted
        Stiles-Holladay equation, 1 to 30 degrees.
    pigment : float
        0 black eyes, 0.5 brown, 1 light, 1.2 very light; in the general formula only.

    Returns
    -------
    ndarray, shape (...)
        [cd/m² per lx]

    Raises
    ------
    BriefError
        If an angle is outside the formula's domain, or a number is out of range.

    References
    ----------
    .. [1] J. J. Vos, Clin. Exp. Optom. 86, 363-370 (2003), abstract: 10 (1 + (A/70)^4)
       / angle², for 1 to 30 degrees; the exponent from memory, the print was garbled.
    .. [2] CIE 146:2002, abstract, for the domains; the general equation from memory:
       10/angle³ + (5/angle² + 0.1 p/angle)(1 + (A/62.5)^4) + 0.0025 p.

    Examples
    --------
    >>> float(veil_per_lux(angle_deg=10, age_years=70, formula="stiles-holladay"))
    0.2
    """
    if formula not in VALID_DEG:
        msg = f"formula must be one of {', '.join(VALID_DEG)}; got {formula!r}."
        raise BriefError(msg)
    in_range("age_years", age_years, low=0, high=110, unit="years")
    in_range("pigment", pigment, low=0, high=1.2, unit="")
    angle = np.asarray(angle_deg, dtype=float)
    low, high = VALID_DEG[formula]
    outside = ~((angle >= low) & (angle <= high))
    if outside.any():
        other = "general: it holds from 0.1 to 100 degrees"
        cure = f" Use formula={other}." if formula == "stiles-holladay" else ""
        first = float(np.atleast_1d(angle)[np.atleast_1d(outside)][0])
        msg = (
            f"angle_deg must be {low:g} to {high:g} deg for the {formula} formula; got "
            f"{first:g}.{cure}"
        )
        raise BriefError(msg)
    if formula == "stiles-holladay":
        return np.asarray(10 * (1 + (age_years / 70) ** 4) / angle**2)
    grown = 1 + (age_years / 62.5) ** 4
    haze = (5 / angle**2 + 0.1 * pigment / angle) * grown
    return np.asarray(10 / angle**3 + haze + 0.0025 * pigment)


def contrast_left(*, scene_cd_m2: float, veil_cd_m2: float) -> float:
    """
    Share of a scene's contrast that a veil leaves.

    Examples
    --------
    >>> round(contrast_left(scene_cd_m2=10, veil_cd_m2=2), 5)
    0.83333
    """
    in_range("scene_cd_m2", scene_cd_m2, low=1e-6, high=1e7, unit="cd/m²")
    in_range("veil_cd_m2", veil_cd_m2, low=0, high=1e9, unit="cd/m²")
    return scene_cd_m2 / (scene_cd_m2 + veil_cd_m2)
