"""What is poured: a silicone blanket, a hollow cast coat by coat, mixes in their time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.errors import DesignError
from fitkit.geometry.mesh import Mesh
from fitkit.piece.laminate import within
from fitkit.piece.mass import checked_density
from fitkit.piece.quantities import Weight, curved

#: Density of mould silicone and of casting resin, from memory of data sheets. [g/cm³]
SILICONE_G_CM3, RESIN_G_CM3 = 1.2, 1.06


@dataclass(frozen=True, kw_only=True)
class Mixes:
    """How often to mix, so that nothing sets in the cup."""

    #: All that is poured. [g]
    total: Weight
    #: Most of one mix, and how many equal mixes that makes.
    most_g: float
    count: int
    #: Each mix, rounded up to what the scale shows. [g]
    each_g: float
    #: From the first mix to the last pour. [min]
    minutes: float


def mixes(
    *,
    total: Weight,
    pot_life_min: float,
    mixing_min: float,
    pour_g_per_min: float,
    cup_g: float = math.inf,
) -> Mixes:
    """
    Share a pour into mixes that are used up within the pot life.

    Parameters
    ----------
    total : Weight
        Of all that is poured.
    pot_life_min : float
        From the first contact of the parts, on the data sheet; large and warm mixes set
        sooner. [min]
    mixing_min : float
        Time that the mixing takes of it. [min]
    pour_g_per_min : float
        How fast the maker pours, or rolls it round. [g/min]
    cup_g : float
        What a cup holds. [g]

    Raises
    ------
    DesignError
        If a number is out of range, or no time is left after mixing.
    """
    within("pot_life_min", pot_life_min, low=0.5, high=24 * 60, unit="min")
    within("mixing_min", mixing_min, low=0, high=120, unit="min")
    within("pour_g_per_min", pour_g_per_min, low=0.1, high=1e5, unit="g/min")
    left = pot_life_min - mixing_min
    if left <= 0:
        msg = (
            f"mixing_min must be below the pot life of {pot_life_min:g} min; got "
            f"{mixing_min:g}. It would set in the cup: take a slower resin."
        )
        raise DesignError(msg)
    most = min(left * pour_g_per_min, cup_g)
    count = max(1, math.ceil(total.gross_g / most - 1e-9))
    one = total.gross_g / count
    steps = math.ceil(one / total.scale_step_g - 1e-9)
    minutes = count * (mixing_min + one / pour_g_per_min)
    return Mixes(
        total=total,
        most_g=most,
        count=count,
        each_g=steps * total.scale_step_g,
        minutes=minutes,
    )


@dataclass(frozen=True, kw_only=True)
class Blanket:
    """A blanket of silicone poured between the master and a jacket."""

    thickness_mm: float
    #: Area it covers, and its volume. [m²], [cm³]
    area_m2: float
    volume_cm3: float
    weight: Weight


def silicone_blanket(
    master: Mesh,
    *,
    thickness_mm: float,
    waste_percent: float = 10.0,
    scale_step_g: float = 1.0,
    density_g_cm3: float = SILICONE_G_CM3,
) -> Blanket:
    """
    Weigh the silicone of an even blanket over a master.

    Parameters
    ----------
    master : Mesh
        The outside to be moulded, wound outward, at the master's size. [mm]
    thickness_mm : float
        Of the gap to the jacket, 3 to 50. [mm]
    waste_percent, scale_step_g, density_g_cm3 : float
        As in `Weight`; of the cured silicone. [percent], [g], [g/cm³]

    Raises
    ------
    DesignError
        If a number is out of range.

    Notes
    -----
    A h + M h² + K h³ / 3 (Steiner). Folds narrower than twice the thickness fill, so that
    there it is more than enough; flanges, sprues and keys come on top.
    """
    within("thickness_mm", thickness_mm, low=3, high=50, unit="mm")
    checked_density("silicone", density_g_cm3)
    volume = curved(master).volume_mm3(0.0, thickness_mm) / 1000
    return Blanket(
        thickness_mm=thickness_mm,
        area_m2=master.area_mm2 / 1e6,
        volume_cm3=volume,
        weight=Weight(
            net_g=volume * density_g_cm3,
            waste_percent=waste_percent,
            scale_step_g=scale_step_g,
        ),
    )


@dataclass(frozen=True, kw_only=True)
class CastCoat:
    """One charge of resin, rolled round in the mould."""

    #: Counted from 1.
    number: int
    #: The last one may be thinner. [mm]
    thickness_mm: float
    #: Of the mould, or of the coat before. [m²]
    area_m2: float
    weight: Weight


@dataclass(frozen=True, kw_only=True)
class HollowCast:
    """A hollow cast, coat by coat."""

    wall_mm: float
    coats: tuple[CastCoat, ...]

    @property
    def net_g(self) -> float:
        """What ends up in the piece in g."""
        return math.fsum(coat.weight.net_g for coat in self.coats)


def hollow_cast(
    outside: Mesh,
    *,
    wall_mm: float,
    coat_mm: float,
    waste_percent: float = 10.0,
    scale_step_g: float = 1.0,
    density_g_cm3: float = RESIN_G_CM3,
) -> HollowCast:
    """
    Charge a mould with resin, coat by coat, until the wall is reached.

    Parameters
    ----------
    outside : Mesh
        The outside of the casting, wound outward. [mm]
    wall_mm : float
        Wanted wall, 0.5 to 30. [mm]
    coat_mm : float
        What one coat lays, from a trial in the maker's own mould, 0.2 to 30. [mm]
    waste_percent, scale_step_g, density_g_cm3 : float
        As in `Weight`; of the cured resin. [percent], [g], [g/cm³]

    Raises
    ------
    DesignError
        If a number is out of range.
    """
    within("wall_mm", wall_mm, low=0.5, high=30, unit="mm")
    within("coat_mm", coat_mm, low=0.2, high=30, unit="mm")
    checked_density("resin", density_g_cm3)
    surface = curved(outside)
    coats = []
    for number in range(1, math.ceil(wall_mm / coat_mm - 1e-9) + 1):
        start = (number - 1) * coat_mm
        end = min(number * coat_mm, wall_mm)
        net = surface.volume_mm3(-end, -start) / 1000 * density_g_cm3
        coats.append(
            CastCoat(
                number=number,
                thickness_mm=end - start,
                area_m2=surface.area_at_mm2(-start) / 1e6,
                weight=Weight(
                    net_g=net, waste_percent=waste_percent, scale_step_g=scale_step_g
                ),
            )
        )
    return HollowCast(wall_mm=wall_mm, coats=tuple(coats))
