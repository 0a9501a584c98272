"""LED chains against other people's figures, and heat against its own balance."""

from __future__ import annotations

import math

import pytest
from buildup_figures import FIGURES

from fitkit.errors import DesignError
from fitkit.piece.lamps import (
    LedChain,
    battery_hours,
    led_answer,
    next_resistor_ohm,
    wall_heat,
)


@pytest.mark.parametrize(
    ("supply", "forward", "current"), [(12, 1.8, 5), (9, 1.8, 5), (9, 3.2, 24)]
)
def test_published_resistors(supply, forward, current):
    chain = LedChain(supply_v=supply, forward_v=forward, current_ma=current)
    told = FIGURES[f"resistor {supply} V {forward} V {current} mA"]
    assert led_answer(chain).resistor_ohm == pytest.approx(told, abs=5e-4)


def test_heat_of_a_resistor_at_its_exact_value():
    # 240 ohm, as the page has it, would draw more than 24 mA; the next larger is 270
    chain = LedChain(supply_v=9, forward_v=3.2, current_ma=24)
    answer = led_answer(chain)
    assert answer.bought_ohm == 270
    assert answer.bought_current_ma < 24
    exact = chain.resistor_v * answer.current_ma
    assert exact == pytest.approx(FIGURES["resistor 9 V 3.2 V 24 mA: heat"])
    assert answer.resistor_mw == pytest.approx(5.8**2 / 270 * 1000)


def test_hours_on_a_battery():
    told = FIGURES["battery 2000 mAh at 40 mA"]
    assert battery_hours(battery_mah=2000, current_ma=40) == pytest.approx(told)


def test_strings_side_by_side_add_their_current_and_series_their_voltage():
    # (12 - 3 * 3) / 20 mA is 150 ohm, which can be bought
    chain = LedChain(supply_v=12, forward_v=3.0, current_ma=20, in_series=3, strings=4)
    answer = led_answer(chain, battery_mah=1000)
    assert answer.bought_ohm == 150
    assert answer.total_ma == pytest.approx(80)
    assert answer.total_mw == pytest.approx(960)
    assert answer.battery_h == pytest.approx(10)


def test_what_the_battery_gives_is_what_lamps_and_resistors_take():
    chain = LedChain(supply_v=12, forward_v=3.1, current_ma=17, in_series=2, strings=5)
    answer = led_answer(chain)
    lamps = 5 * 2 * 3.1 * answer.bought_current_ma
    assert answer.total_mw == pytest.approx(lamps + 5 * answer.resistor_mw)


def test_hours_are_unknown_without_a_battery():
    chain = LedChain(supply_v=5, forward_v=2.0, current_ma=10)
    assert math.isnan(led_answer(chain).battery_h)


@pytest.mark.parametrize(
    ("at_least", "bought"),
    [(241.7, 270), (2040, 2200), (1440, 1500), (100, 100), (93, 100)],
)
def test_the_next_resistor_is_never_smaller(at_least, bought):
    assert next_resistor_ohm(at_least_ohm=at_least) == bought


def test_a_wall_gets_as_warm_as_it_takes_to_pass_the_heat_on():
    heat = wall_heat(power_mw=500, area_cm2=25, wall_mm=3, wall_w_m_k=0.2)
    area = 25e-4
    assert heat.head_side_k * 10 * area == pytest.approx(0.5)
    through = 0.2 * area * (heat.lamp_side_k - heat.head_side_k) / 0.003
    assert through == pytest.approx(0.5)
    assert any("K warmer than the air" in words for words in heat.cautions)
    assert wall_heat(power_mw=50, area_cm2=25, wall_mm=3).cautions == ()


def test_cells_and_wiring_are_cautioned_about():
    chain = LedChain(supply_v=3.7, forward_v=3.5, current_ma=20)
    words = led_answer(chain).cautions
    assert "local rules and qualified advice first" in words[0]
    assert "0.20 V is left over the resistor" in words[1]


def test_too_many_in_a_string_are_refused_with_the_cure():
    with pytest.raises(
        DesignError, match=r"4 LEDs in series need 12\.8 V .* Put 3 in a str"
    ):
        LedChain(supply_v=12, forward_v=3.2, current_ma=20, in_series=4)
    with pytest.raises(DesignError, match="Take a battery of more voltage"):
        LedChain(supply_v=3, forward_v=3.2, current_ma=20)


def test_amperes_for_milliamperes_are_told():
    with pytest.raises(DesignError, match="Is that amperes"):
        LedChain(supply_v=9, forward_v=3.2, current_ma=0.02)
