"""Foams against their data sheets, the gas law, and springs in series."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import BriefError
from fitkit.fit.foam import (
    air_stress_kpa,
    bonded_factor,
    foam,
    foam_from_readings,
    head_friction,
    library,
    linear_foam,
    stacked,
)

SHEET = np.loadtxt(
    Path(__file__).parents[1] / "reference" / "foam_sheet.csv", delimiter=",",
    comments="#", skiprows=4,
)  # fmt: skip


@pytest.mark.parametrize(("percent", "sheet", "air"), SHEET)
def test_polyethylene_follows_its_data_sheet_and_lies_above_its_air(percent, sheet, air):
    strain = percent / 100
    assert float(foam("pe 33").stress(strain)) == pytest.approx(sheet)
    gas = float(air_stress_kpa(strain, relative_density=33 / 930))
    assert gas == pytest.approx(air, abs=0.005)
    assert 3.0 < sheet - gas < 8.5


@pytest.mark.parametrize(
    ("name", "kpa"),
    [("pu 35 soft", 1.5), ("pu 35 firm", 5.0), ("hr 40", 2.8), ("hr 45 firm", 4.5)],
)
def test_soft_foams_have_the_suppliers_stress_at_40_percent(name, kpa):
    assert float(foam(name).stress(0.40)) == pytest.approx(kpa)


@pytest.mark.parametrize("name", ["pu 35 soft", "pu 35 firm", "hr 40", "hr 45 firm"])
def test_soft_foams_support_as_much_as_is_usual(name):
    # support factor, 65 % over 25 %: 1.5 to 2.6
    stress = foam(name).stress([0.25, 0.65])
    assert 1.5 <= stress[1] / stress[0] <= 2.6


@pytest.mark.parametrize("name", ["eva 50", "eva 90"])
def test_eva_lies_above_the_air_in_its_cells(name):
    made = foam(name)
    solid = made.density_kg_m3 / made.solid_kg_m3
    walls = np.array(made.stress_kpa) - air_stress_kpa(made.strain, relative_density=solid)
    grown = 5.5 * (solid / (33 / 930)) ** 1.5
    assert walls == pytest.approx(grown, abs=0.3)


@pytest.mark.parametrize("name", list(library()))
def test_curves_rise_and_slope_and_energy_belong_to_them(name):
    made = foam(name)
    strain = np.linspace(0, made.most_strain + 0.1, 4001)
    stress = made.stress(strain)
    assert np.all(np.diff(stress) > 0)
    step = strain[1]
    away = np.abs(strain[1:-1] - made.most_strain) > 2 * step
    slope = (stress[2:] - stress[:-2]) / (2 * step)
    assert made.stiffness(strain[1:-1])[away] == pytest.approx(slope[away], rel=2e-2)
    work = np.append(0, np.cumsum((stress[1:] + stress[:-1]) / 2 * step))
    assert made.energy(strain) == pytest.approx(work, abs=1e-3 * work[-1])


def test_foam_never_pulls():
    made = foam("hr 40")
    pulled = np.array([-0.5, -1e-9, 0.0])
    assert made.stress(pulled).tolist() == [0, 0, 0]
    assert made.energy(pulled).tolist() == [0, 0, 0]


def test_the_extension_follows_the_gas_law_beyond_the_last_reading():
    # closed cells run out of room: the air alone adds 263.6 − 166.8 kPa from 60 to 70 %
    made = foam("pe 33")
    grown = float(made.stress(0.70) - made.stress(0.60))
    air = np.diff(air_stress_kpa([0.60, 0.70], relative_density=33 / 930))[0]
    assert grown == pytest.approx(air, rel=0.1)


@pytest.mark.parametrize("name", list(library()))
def test_foams_do_not_soften_beyond_their_last_reading(name):
    made = foam(name)
    last = np.diff(made.stress_kpa[-2:])[0] / np.diff(made.strain[-2:])[0]
    on = np.linspace(made.read_strain, made.most_strain, 5)
    assert np.all(np.diff(made.stress(on)) / np.diff(on) > 0.98 * last)


def test_a_bonded_layer_is_stiffer_by_the_tabled_factor():
    # (1 − ν)/((1 + ν)(1 − 2 ν))
    got = [bonded_factor(nu) for nu in (0.0, 0.1, 0.3)]
    assert got == pytest.approx([1, 1.02273, 1.34615], abs=5e-6)
    slab = linear_foam(name="gel", modulus_kpa=50, poisson_ratio=0.3)
    assert float(slab.stress(0.2)) == pytest.approx(50 * 1.34615 * 0.2, rel=1e-5)


def test_sheets_in_a_stack_share_the_stress_and_add_their_compressions():
    soft, firm = (linear_foam(name=n, modulus_kpa=e) for n, e in (("a", 10), ("b", 40)))
    both, thickness = stacked([(firm, 6.0), (soft, 12.0)])
    assert thickness == 18.0
    # springs in series: h/E = 6/40 + 12/10
    modulus = 18 / (6 / 40 + 12 / 10)
    strain = np.linspace(0.02, 0.4, 9)
    assert both.stress(strain) == pytest.approx(modulus * strain, rel=1e-3)


def test_weights_on_an_offcut_make_a_curve():
    # 10 N on 25 cm² is 4 kPa
    made = foam_from_readings(
        name="offcut", density_kg_m3=45, area_mm2=2500, thickness_mm=20,
        load_g=np.array([10, 20, 40]) / 9.80665e-3, pressed_mm=(18, 15, 11),
    )  # fmt: skip
    assert made.stress([0.10, 0.25, 0.45]) == pytest.approx([4, 8, 16])
    assert made.most_strain == pytest.approx(0.6)


def test_set_is_that_of_the_data_sheet_and_grows_with_time():
    made = foam("pe 33")
    # 27 % after 72 h at 50 %; 7 % after 48 h at 20 %
    assert float(made.lasting_set(0.5, hours=72)) == pytest.approx(0.27)
    assert float(made.lasting_set(0.2, hours=48)) == pytest.approx(0.07)
    hours = [float(made.lasting_set(0.3, hours=h)) for h in (0, 1, 4, 20, 100, 9000)]
    assert hours[0] == 0
    assert np.all(np.diff(hours) > 0)
    assert hours[-1] <= 0.3


def test_friction_is_that_of_heads_on_helmet_foam():
    # static 0.32, 0.30 to 0.34, of 74 heads
    got = head_friction()
    assert (got.low, got.mean, got.high) == (0.30, 0.32, 0.34)


def readings(**changes):
    given = {
        "name": "mine", "density_kg_m3": 45, "area_mm2": 2500, "thickness_mm": 20,
        "load_g": (1000, 2000, 4000), "pressed_mm": (18, 15, 11),
    }  # fmt: skip
    return foam_from_readings(**{**given, **changes})


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"density_kg_m3": 0.045}, "did you mean 45 kg/m³"),
        ({"load_g": (1000, 900, 4000)}, "falls from"),
        ({"pressed_mm": (18, 19, 11)}, "swapped"),
        ({"load_g": (1000, 2000)}, "at least three"),
        ({"pressed_mm": (21, 15, 11)}, "strain must be"),
    ],
)
def test_readings_that_cannot_be_foam_are_named(changes, says):
    with pytest.raises(BriefError, match=says):
        readings(**changes)


def test_an_unknown_foam_lists_those_there_are():
    with pytest.raises(BriefError, match="There are: pe 33"):
        foam("pe33")
