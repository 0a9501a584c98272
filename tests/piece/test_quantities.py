"""Quantities against closed forms: areas, masses, waste, scale, cost and time."""

from __future__ import annotations

import numpy as np
import pytest
from buildup_figures import FIGURES
from shells import as_mesh, ball, box

from fitkit.errors import DesignError
from fitkit.piece.laminate import Laminate
from fitkit.piece.quantities import Shop, Weight, curved, quantities
from fitkit.piece.route_steps import CopyStep, LayerStep, RemoveStep
from fitkit.piece.routes import Route

#: A ball of 192 sides is short of a round one by this share.
CHORDS = 1e-3


def layer(name, side, thickness, **more) -> LayerStep:
    return LayerStep(name=name, side=side, thickness_mm=thickness, **more)


def ball_mm(radius):
    return as_mesh(ball(radius, segments=192))


@pytest.fixture(scope="module")
def ball_of_120():
    return ball_mm(120)


def ask(mesh, *steps, shop=None, **more):
    route = Route(name="r", steps=steps, **more)
    return quantities(outside=mesh, inside=mesh, route=route, shop=shop)


def test_a_printed_wall_weighs_what_its_volume_says(ball_of_120):
    wall = layer("wall", "inward", 3.0, density_g_cm3=1.24)
    found = ask(ball_of_120, wall)
    told = "ball of 120 with a wall of 3"
    assert found.step("wall").volume_cm3 == pytest.approx(FIGURES[told], rel=CHORDS)
    mass = FIGURES[f"{told} at 1.24"]
    assert found.step("wall").weight.net_g == pytest.approx(mass, rel=CHORDS)
    assert found.wall_g == pytest.approx(mass, rel=CHORDS)


def test_area_at_a_distance_is_steiners():
    told = "box 200 150 230 grown by 10"
    area = curved(as_mesh(box(200, 150, 230))).area_at_mm2(10.0) / 100
    assert area == pytest.approx(FIGURES[f"{told}: area"], abs=0.001)


def test_a_scaled_surface_is_the_surface_of_the_scaled_mesh():
    mesh = as_mesh(ball(99.75, 77.165, 115, segments=64))
    one, other = curved(mesh), curved(mesh.scaled(1.3))
    assert one.area_at_mm2(4.0, scale=1.3) == pytest.approx(other.area_at_mm2(4.0))
    volumes = [c.volume_mm3(-3, 2, scale=f) for c, f in ((one, 1.3), (other, 1.0))]
    assert volumes[0] == pytest.approx(volumes[1])


def test_area_of_an_ellipsoid_grown_by_10_is_steiners():
    mesh = as_mesh(ball(99.75, 77.165, 115, segments=256))
    area = curved(mesh).area_at_mm2(10.0) / 100
    assert area == pytest.approx(FIGURES["ellipsoid grown by 10: area"], rel=5e-4)


def test_a_layer_on_an_ellipsoid_has_steiners_volume():
    mesh = as_mesh(ball(99.75, 77.165, 115, segments=256))
    found = ask(mesh, layer("foam", "outward", 10.0))
    told = FIGURES["ellipsoid grown by 10: volume"] - 3707.829
    assert found.step("foam").volume_cm3 == pytest.approx(told, rel=1e-3)


def test_a_laminate_is_parted_into_fibre_and_resin(ball_of_120):
    mat = LayerStep(name="mat", side="inward", laminate=Laminate(fibre_g_m2=300))
    one = ask(ball_of_120, mat).step("mat")
    # a thin layer weighs its area times 1050 g/m²; curvature takes t / R of it
    area = 4 * np.pi * 0.12**2
    assert one.area_m2 == pytest.approx(area, rel=CHORDS)
    assert one.weight.net_g == pytest.approx(
        area * FIGURES["mat 300 at 2.5: weight"], rel=0.008
    )
    assert one.resin.net_g == pytest.approx(2.5 * one.fibre.net_g)
    assert one.fibre.net_g + one.resin.net_g == pytest.approx(one.weight.net_g)


def test_what_is_laid_before_a_copy_is_laid_on_the_larger_master(ball_of_120):
    found = ask(
        ball_of_120,
        layer("filler", "outward", 2.0),
        CopyStep(name="casting", shrink_percent=2.0),
        layer("wall", "inward", 3.0),
    )
    master = 120 / 0.98
    filler = 4 / 3 * np.pi * ((master + 2) ** 3 - master**3) / 1000
    assert found.step("filler").volume_cm3 == pytest.approx(filler, rel=CHORDS)
    outside = 120 + 2 * 0.98
    wall = 4 / 3 * np.pi * (outside**3 - (outside - 3) ** 3) / 1000
    assert found.step("wall").volume_cm3 == pytest.approx(wall, rel=CHORDS)
    assert found.wall_g == pytest.approx(1.2 * wall, rel=CHORDS)  # the filler stays behind


def test_a_copy_and_a_removal_weigh_nothing(ball_of_120):
    found = ask(
        ball_of_120,
        layer("wall", "inward", 3.0),
        RemoveStep(name="sanding", side="outward", depth_mm=0.5),
    )
    sanding = found.step("sanding")
    assert sanding.weight.weigh_g == 0
    assert sanding.area_m2 == pytest.approx(4 * np.pi * 0.12**2, rel=CHORDS)
    assert found.wall_g < found.step("wall").weight.net_g


# -- the bench ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step_g", "weigh_g"), [(1, 114), (5, 115), (0.1, 113.6), (50, 150)]
)
def test_a_weight_is_rounded_up_to_the_scale_with_its_waste(step_g, weigh_g):
    # 103.2 g and a tenth of waste: 113.52 g
    one = Weight(net_g=103.2, waste_percent=10, scale_step_g=step_g)
    assert one.gross_g == pytest.approx(113.52)
    assert one.weigh_g == pytest.approx(weigh_g)


def test_a_weight_on_a_step_of_the_scale_is_not_rounded_up():
    assert Weight(net_g=100, waste_percent=20, scale_step_g=0.1).weigh_g == 120


def test_cost_and_time_are_the_makers_own(ball_of_120):
    shop = Shop(
        price_per_kg={"wall": 24.0},
        setup_min={"wall": 20, "paint": 10},
        min_per_m2={"wall": 100},
        wait_h={"wall": 12, "paint": 4},
    )
    found = ask(
        ball_of_120, layer("wall", "inward", 3.0), layer("paint", "outward", 0.3), shop=shop
    )
    wall = found.step("wall")
    assert wall.cost == pytest.approx(24 * wall.weight.weigh_g / 1000)
    assert wall.bench_min == pytest.approx(20 + 100 * wall.area_m2)
    assert found.cost == wall.cost
    assert found.unpriced == ("paint",)
    assert found.bench_h == pytest.approx((wall.bench_min + 10) / 60)
    assert found.elapsed_h == pytest.approx(found.bench_h + 16)


def test_waste_by_step(ball_of_120):
    shop = Shop(waste_percent=10, waste_by_step={"wall": 50})
    found = ask(
        ball_of_120, layer("wall", "inward", 3.0), layer("paint", "outward", 0.3), shop=shop
    )
    assert found.step("wall").weight.waste_percent == 50
    assert found.step("paint").weight.waste_percent == 10


# -- refused --------------------------------------------------------------------------


def test_a_price_for_no_step_is_told(ball_of_120):
    with pytest.raises(DesignError, match=r"price_per_kg: 'r' has no step 'wal'\. Did you"):
        ask(ball_of_120, layer("wall", "inward", 3.0), shop=Shop(price_per_kg={"wal": 2}))


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("waste_percent", -5, "waste_percent must be 0 to 200 %"),
        ("scale_step_g", 0, "scale_step_g must be 0.001 to 1000 g"),
        ("price_per_kg", {"wall": -1}, "price_per_kg of wall must be 0"),
    ],
)
def test_a_shop_beyond_belief_is_refused(field, value, words):
    with pytest.raises(DesignError, match=words):
        Shop(**{field: value})


def test_an_unknown_step_is_told(ball_of_120):
    with pytest.raises(DesignError, match="no step 'walls'"):
        ask(ball_of_120, layer("wall", "inward", 3.0)).step("walls")
