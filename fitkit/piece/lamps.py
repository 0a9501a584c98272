"""LED chains: resistor, current, hours on a battery, heat at the wall."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitkit.errors import DesignError
from fitkit.piece.laminate import within

#: Values of a decade of resistors in steps of 5 % (E24 of IEC 60063, from memory).
E24 = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
#: Share of a battery's rating that is counted on. [percent]
USABLE_PERCENT = 80.0
#: Heat passed to still air by a warm wall, convection and radiation together; from
#: memory of textbooks, 5 to 15. [W/(m² K)]
TO_AIR_W_M2_K = 10.0
#: Heat conduction of an unfilled plastic wall, from memory. [W/(m K)]
WALL_W_M_K = 0.2
#: Rises of the wall over the air above which a caution is given. [K]
WARM_K = 15.0


@dataclass(frozen=True, kw_only=True)
class LedChain:
    """
    Strings of LEDs side by side on one battery, each with its own resistor.

    Raises
    ------
    DesignError
        If a number is out of range, or the LEDs need more than the supply gives.
    """

    #: Of the full battery, under load. [V]
    supply_v: float
    #: Of one LED at its current. [V]
    forward_v: float
    #: Wanted through each string. [mA]
    current_ma: float
    #: LEDs one after another in a string, and strings.
    in_series: int = 1
    strings: int = 1

    def __post_init__(self) -> None:
        within("supply_v", self.supply_v, low=1, high=24, unit="V")
        within("forward_v", self.forward_v, low=1, high=5, unit="V")
        within("in_series", self.in_series, low=1, high=12, unit="")
        within("strings", self.strings, low=1, high=500, unit="")
        cure = "Is that amperes? Then it is a thousand times that in mA."
        within("current_ma", self.current_ma, low=0.1, high=1000, unit="mA",
               cure=cure if self.current_ma < 0.1 else "")  # fmt: skip
        if self.resistor_v <= 0:
            need = self.in_series * self.forward_v
            fits = int((self.supply_v - 1e-9) // self.forward_v)
            cure = f"Put {fits} in a string." if fits else "Take a battery of more voltage."
            msg = (
                f"{self.in_series} LEDs in series need {need:g} V and leave nothing of "
                f"{self.supply_v:g} V for a resistor. {cure}"
            )
            raise DesignError(msg)

    @property
    def resistor_v(self) -> float:
        """Voltage over the resistor in V: supply less all LEDs of a string."""
        return self.supply_v - self.in_series * self.forward_v


@dataclass(frozen=True, kw_only=True)
class LedAnswer:
    """A chain worked out."""

    chain: LedChain
    #: (supply - LEDs) / current, exactly. [ohm]
    resistor_ohm: float
    #: Next larger one that can be bought in steps of 5 %. [ohm]
    bought_ohm: float
    #: Through each string with the exact resistor and with the bought one. [mA]
    current_ma: float
    bought_current_ma: float
    #: Heat of one resistor, as bought; take one rated for twice that. [mW]
    resistor_mw: float
    #: Of all strings, as bought. [mA]
    total_ma: float
    #: All that the battery gives, which nearly all becomes heat. [mW]
    total_mw: float
    #: On one battery; nan if its charge was not given. [h]
    battery_h: float
    cautions: tuple[str, ...]


def led_answer(
    chain: LedChain,
    *,
    battery_mah: float | None = None,
    usable_percent: float = USABLE_PERCENT,
) -> LedAnswer:
    """
    Work out resistor, current and hours of a chain.

    Parameters
    ----------
    chain : LedChain
    battery_mah : float, optional
        Rated charge. [mAh]
    usable_percent : float
        Share of it that is counted on. [percent]

    Raises
    ------
    DesignError
        If a number is out of range.

    Notes
    -----
    R = (U - n U_f) / I; P = (U - n U_f)² / R; hours = charge × usable share / total
    current. As the battery empties its voltage falls and the light dims.

    Examples
    --------
    >>> chain = LedChain(supply_v=12, forward_v=1.8, current_ma=5)
    >>> round(led_answer(chain).resistor_ohm)
    2040
    """
    within("usable_percent", usable_percent, low=10, high=100, unit="%")
    hours = math.nan
    exact = chain.resistor_v / chain.current_ma * 1000
    bought = next_resistor_ohm(at_least_ohm=exact)
    current = chain.resistor_v / bought * 1000
    total = current * chain.strings
    if battery_mah is not None:
        within("battery_mah", battery_mah, low=10, high=100_000, unit="mAh")
        hours = battery_hours(
            battery_mah=battery_mah, current_ma=total, usable_percent=usable_percent
        )
    return LedAnswer(
        chain=chain,
        resistor_ohm=exact,
        bought_ohm=bought,
        current_ma=chain.current_ma,
        bought_current_ma=current,
        resistor_mw=chain.resistor_v * current,
        total_ma=total,
        total_mw=chain.supply_v * total,
        battery_h=hours,
        cautions=_cautions(chain),
    )


def battery_hours(
    *, battery_mah: float, current_ma: float, usable_percent: float = USABLE_PERCENT
) -> float:
    """
    Say how long a battery lasts, in h.

    Examples
    --------
    >>> battery_hours(battery_mah=2000, current_ma=40)
    40.0
    """
    return battery_mah * usable_percent / 100 / current_ma


def next_resistor_ohm(*, at_least_ohm: float) -> float:
    """
    Give the next larger resistor of the 5 % steps, in ohm.

    Examples
    --------
    >>> next_resistor_ohm(at_least_ohm=241.7)
    270.0
    """
    decade = 10.0 ** math.floor(math.log10(at_least_ohm))
    for step in (*E24, 10.0):
        if step * decade >= at_least_ohm * (1 - 1e-9):
            return round(step * decade, 6)
    return 10 * decade


@dataclass(frozen=True, kw_only=True)
class WallHeat:
    """How warm a wall gets behind a lamp, over the air about it."""

    #: Of the face with the lamp, and of the face towards the head. [K]
    lamp_side_k: float
    head_side_k: float
    cautions: tuple[str, ...]


def wall_heat(
    *,
    power_mw: float,
    area_cm2: float,
    wall_mm: float,
    to_air_w_m2_k: float = TO_AIR_W_M2_K,
    wall_w_m_k: float = WALL_W_M_K,
) -> WallHeat:
    """
    Estimate how warm a wall gets that carries a lamp or resistor.

    Parameters
    ----------
    power_mw : float
        Heat of what sits there. [mW]
    area_cm2 : float
        Of the wall that the heat spreads over: the lamp's foot for the worst case.
        [cm²]
    wall_mm : float
        Thickness. [mm]
    to_air_w_m2_k : float
        Heat passed on to still air, by convection and radiation. [W/(m² K)]
    wall_w_m_k : float
        Conduction of the wall. [W/(m K)]

    Raises
    ------
    DesignError
        If a number is out of range.

    Notes
    -----
    All heat is taken to cross the wall, the worst case for the head: the inner face is
    P / (h A) above the air inside, the outer one P t / (k A) more. Air that is shut in
    beside a head is itself warm.

    Examples
    --------
    >>> heat = wall_heat(power_mw=100, area_cm2=10, wall_mm=4)
    >>> round(heat.head_side_k, 3), round(heat.lamp_side_k, 3)
    (10.0, 12.0)
    """
    within("power_mw", power_mw, low=0, high=100_000, unit="mW")
    within("area_cm2", area_cm2, low=0.05, high=5000, unit="cm²")
    within("wall_mm", wall_mm, low=0.1, high=80, unit="mm")
    within("to_air_w_m2_k", to_air_w_m2_k, low=1, high=100, unit="W/(m² K)")
    within("wall_w_m_k", wall_w_m_k, low=0.01, high=400, unit="W/(m K)")
    flux = power_mw / 1000 / (area_cm2 / 1e4)
    head = flux / to_air_w_m2_k
    lamp = head + flux * wall_mm / 1000 / wall_w_m_k
    words = []
    if lamp > WARM_K:
        words.append(
            f"The wall behind the lamp would be {lamp:.0f} K warmer than the air: spread "
            "the heat over more wall, let air past it, or take less current."
        )
    return WallHeat(lamp_side_k=lamp, head_side_k=head, cautions=tuple(words))


def _cautions(chain: LedChain) -> tuple[str, ...]:
    words = [
        "Cells, fuse and wiring: no bare or loose cell and nothing unfused against the "
        "head; a switch that the wearer reaches; local rules and qualified advice first."
    ]
    if chain.resistor_v < 0.1 * chain.supply_v:
        words.append(
            f"Only {chain.resistor_v:.2f} V is left over the resistor: the current will "
            "change much with the battery and the LED. Put fewer in a string."
        )
    return tuple(words)
