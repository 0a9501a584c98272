"""How thick and how heavy a laminate or a card comes out, from what is weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.errors import DesignError, range_message

#: Density of E-glass and of cured polyester resin, from memory of handbooks. [g/cm³]
GLASS_G_CM3, POLYESTER_G_CM3 = 2.56, 1.2
#: Weight of uncoated card and its thickness, as a paper-size site tables them
#: (a-size.com, read). [g/m²], [mm]
CARD_G_M2 = (80.0, 120.0, 160.0, 180.0, 210.0, 250.0, 300.0)
CARD_MM = (0.100, 0.150, 0.190, 0.215, 0.250, 0.280, 0.350)


@dataclass(frozen=True, kw_only=True)
class Laminate:
    """
    Plies of fibre wetted with resin, without voids.

    Raises
    ------
    DesignError
        If a number is out of range.

    Notes
    -----
    Thickness is that of fibre and resin each laid flat: w_f / ρ_f + w_r / ρ_r. A
    chopped mat laid by hand takes about 2.5 times its own weight in resin (supplier's
    guide, neo.co.th, read).

    Examples
    --------
    >>> one = Laminate(fibre_g_m2=300, resin_ratio=2.5)
    >>> round(one.thickness_mm, 4), one.mass_g_m2
    (0.7422, 1050.0)
    """

    #: Weight of one dry ply. [g/m²]
    fibre_g_m2: float
    #: Weight of resin over that of fibre.
    resin_ratio: float = 2.5
    plies: int = 1
    #: Density of the solid fibre and of the cured resin. [g/cm³]
    fibre_g_cm3: float = GLASS_G_CM3
    resin_g_cm3: float = POLYESTER_G_CM3

    def __post_init__(self) -> None:
        within("fibre_g_m2", self.fibre_g_m2, low=10, high=3000, unit="g/m²")
        within("resin_ratio", self.resin_ratio, low=0.1, high=10, unit="")
        within("plies", self.plies, low=1, high=40, unit="")
        if self.plies != int(self.plies):
            msg = f"plies must be a whole number; got {self.plies:g}."
            raise DesignError(msg)
        within("fibre_g_cm3", self.fibre_g_cm3, low=0.5, high=9, unit="g/cm³")
        within("resin_g_cm3", self.resin_g_cm3, low=0.5, high=3, unit="g/cm³")

    @property
    def thickness_mm(self) -> float:
        """Thickness of all plies in mm."""
        fibre = self.fibre_g_m2 / self.fibre_g_cm3
        resin = self.fibre_g_m2 * self.resin_ratio / self.resin_g_cm3
        return self.plies * (fibre + resin) / 1000

    @property
    def mass_g_m2(self) -> float:
        """Weight of all plies with their resin in g/m²."""
        return self.plies * self.fibre_g_m2 * (1 + self.resin_ratio)

    @property
    def fibre_share(self) -> float:
        """Weight of the fibre over that of the laminate."""
        return 1 / (1 + self.resin_ratio)

    @property
    def density_g_cm3(self) -> float:
        """Density of the laminate in g/cm³."""
        return self.mass_g_m2 / self.thickness_mm / 1000


def card_thickness_mm(*, weight_g_m2: float) -> float:
    """
    Give the thickness of uncoated card or paper of a weight.

    Parameters
    ----------
    weight_g_m2 : float
        80 to 300. [g/m²]

    Returns
    -------
    float
        Between the tabled weights, along a straight line. [mm]

    Raises
    ------
    DesignError
        If the weight is outside the table.

    Examples
    --------
    >>> card_thickness_mm(weight_g_m2=160)
    0.19
    """
    low, high = CARD_G_M2[0], CARD_G_M2[-1]
    within("weight_g_m2", weight_g_m2, low=low, high=high, unit="g/m²")
    return float(np.interp(weight_g_m2, CARD_G_M2, CARD_MM))


def within(
    name: str, value: float, *, low: float, high: float, unit: str, cure: str = ""
) -> None:
    """
    Refuse a number that is not finite or lies outside `low` to `high`.

    Raises
    ------
    DesignError
        If so.
    """
    if not low <= value <= high:  # also if it is not a number
        raise DesignError(
            range_message(name, low=low, high=high, unit=unit, got=f"{value:g}", cure=cure)
        )
