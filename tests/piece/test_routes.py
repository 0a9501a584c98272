"""Routes: where surfaces end up, what the master must be, what spreads, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from buildup_figures import FIGURES
from hypothesis import given
from hypothesis import strategies as st

from fitkit.errors import DesignError
from fitkit.piece.buildup import BuildUp, Layer
from fitkit.piece.laminate import Laminate
from fitkit.piece.route_effects import step_effects
from fitkit.piece.route_files import route_library
from fitkit.piece.route_steps import (
    CopyStep,
    LayerStep,
    Region,
    RemoveStep,
    linear_shrink_percent,
)
from fitkit.piece.routes import Route, route_of, stages


def layer(name, side, thickness, **more) -> LayerStep:
    return LayerStep(name=name, side=side, thickness_mm=thickness, **more)


def copy(name, shrink, **more) -> CopyStep:
    return CopyStep(name=name, shrink_percent=shrink, **more)


def cast_route(**more) -> Route:
    """2 mm outward on the master, a mould and a cast of its outside, 3 mm of wall."""
    return Route(
        name="cast",
        steps=(
            layer("filler", "outward", 2.0, spread_percent=20),
            copy("mould", 1.0, spread_percent=0.3),
            copy("casting", 0.5, spread_percent=0.4),
            layer("wall", "inward", 3.0, spread_percent=10),
            layer("paint", "outward", 0.5, spread_percent=50),
        ),
        **more,
    )


# -- where surfaces end up ------------------------------------------------------------


def test_what_is_laid_before_a_copy_shrinks_and_what_is_laid_after_does_not():
    route = cast_route()
    out = 2.0 * 0.99 * 0.995  # by hand: the copied surface, shrunk twice
    assert route.growth_mm == pytest.approx(out + 0.5)
    assert route.lining_mm == pytest.approx(3.0 - out)
    assert route.wall_mm == pytest.approx(3.5)


def test_a_copy_of_the_inside_starts_from_the_inside():
    steps = (layer("lining", "inward", 4.0), copy("cast", 0.0, keeps="inner"))
    route = Route(name="plug", steps=(*steps, layer("wall", "inward", 3.0)))
    assert (route.growth_mm, route.lining_mm) == pytest.approx((-4.0, 7.0))


def test_a_copy_of_both_keeps_the_wall_shrunk():
    steps = (layer("wall", "inward", 4.0), copy("cast", 2.0, keeps="both"))
    assert Route(name="solid", steps=steps).wall_mm == pytest.approx(4.0 * 0.98)


def test_sanding_takes_off_the_last_coat_first():
    steps = (
        layer("wall", "inward", 3.0),
        layer("primer", "outward", 0.5),
        RemoveStep(name="sanding", side="outward", depth_mm=0.7),
    )
    (wall,) = Route(name="sanded", steps=steps).finished.coats
    assert (wall.name, wall.to_mm) == ("wall", pytest.approx(-0.2))


def test_stages_tell_every_moment():
    names = [stage.name for stage in stages(cast_route())]
    assert names == ["master as drawn", "filler", "mould", "casting", "wall", "paint"]
    scales = [round(stage.scale, 6) for stage in stages(cast_route())]
    assert scales == [1, 1, 0.99, 0.98505, 0.98505, 0.98505]


# -- the size of the master -----------------------------------------------------------


def test_shrinkages_chain():
    steps = tuple(copy(f"copy {s}", s) for s in (0.1, 0.4, 0.3))
    scale = Route(name="three", steps=(*steps, layer("w", "inward", 1.0))).master_scale
    assert scale == pytest.approx(FIGURES["chain 0.1 0.4 0.3: master"], abs=5e-7)
    assert scale > 1.008 + 4e-5


def test_one_percent_asks_for_its_inverse_and_takes_three_of_volume():
    route = Route(name="one", steps=(copy("c", 1.0), layer("w", "inward", 1.0)))
    assert route.master_scale == pytest.approx(FIGURES["one percent: master"], abs=5e-7)
    lost = 100 * (1 - route.master_scale**-3)
    assert lost == pytest.approx(FIGURES["one percent: volume lost"], abs=5e-5)


def test_590_mm_of_girth_lose_nearly_9():
    route = Route(name="g", steps=(copy("c", 1.5), layer("w", "outward", 1.0)))
    girth = 590 / route.master_scale
    assert girth == pytest.approx(FIGURES["girth 590 less 1.5 percent"], abs=5e-3)


# -- spread ---------------------------------------------------------------------------


def test_only_what_is_left_in_a_surface_spreads_it():
    route = cast_route()
    filler = 2.0 * 0.2 * 0.99 * 0.995
    assert route.lining_sd_mm == pytest.approx(math.hypot(filler, 0.3))
    assert route.growth_sd_mm == pytest.approx(math.hypot(filler, 0.25))


def test_spreads_of_shrinkage_add_in_squares():
    sd = cast_route().master_scale_sd
    assert sd == pytest.approx(math.hypot(0.003 / 0.99, 0.004 / 0.995))


@given(st.integers(0, 2**32 - 1))
def test_drawn_spreads_fall_as_the_formula_says(seed):
    # the same route made many times over, each step a little off
    random = np.random.default_rng(seed)
    n = 4000
    filler = 2.0 * (1 + 0.2 * random.standard_normal(n))
    mould = 0.99 + 0.003 * random.standard_normal(n)
    casting = 0.995 + 0.004 * random.standard_normal(n)
    wall = 3.0 * (1 + 0.1 * random.standard_normal(n))
    inner = wall - filler * mould * casting
    route = cast_route()
    assert inner.std() == pytest.approx(route.lining_sd_mm, rel=0.08)
    scale = mould * casting
    assert scale.std() / scale.mean() == pytest.approx(route.master_scale_sd, rel=0.08)


# -- slips ----------------------------------------------------------------------------


def test_a_step_left_out_or_doubled_moves_the_inner_wall_by_its_own_thickness():
    effects = {(e.step, e.slip): e for e in step_effects(cast_route())}
    out = effects["wall", "left out"]
    assert out.route is not None
    assert out.inner_away_mm == pytest.approx(3.0)
    again = effects["wall", "doubled"]
    assert again.inner_away_mm == pytest.approx(-3.0)
    assert again.girth_mm == pytest.approx(-2 * math.pi * 3.0)
    assert effects["paint", "doubled"].inner_away_mm == pytest.approx(0.0)
    assert effects["filler", "left out"].inner_away_mm == pytest.approx(-2 * 0.99 * 0.995)


def test_a_copy_left_out_leaves_the_piece_as_large_as_the_master():
    effects = {(e.step, e.slip): e for e in step_effects(cast_route())}
    assert effects["mould", "left out"].size_percent == pytest.approx(100 * (1 / 0.99 - 1))
    assert effects["mould", "doubled"].size_percent == pytest.approx(-1.0)


def test_a_slip_that_leaves_no_wall_says_so():
    route = Route(name="one layer", steps=(layer("wall", "inward", 3.0), copy("c", 0.0,
                  keeps="both")))  # fmt: skip
    effects = {(e.step, e.slip): e for e in step_effects(route)}
    gone = effects["wall", "left out"]
    assert gone.route is None
    assert gone.problem == "No wall is left."
    assert math.isnan(gone.inner_away_mm)


# -- editing --------------------------------------------------------------------------


def test_a_step_can_be_edited():
    thick = cast_route().edited("wall", thickness_mm=5.0)
    assert thick.lining_mm == pytest.approx(cast_route().lining_mm + 2.0)


def test_a_misspelt_step_or_field_is_told():
    with pytest.raises(DesignError, match=r"no step 'wal'\. Did you mean 'wall'"):
        cast_route().edited("wal", thickness_mm=5.0)
    with pytest.raises(DesignError, match=r"no thickness\. Did you mean 'thickness_mm'"):
        cast_route().edited("wall", thickness=5.0)


@pytest.mark.parametrize("name", list(route_library()))
def test_every_typical_route_leaves_a_wall_and_shrinks_little(name):
    route = route_library()[name]
    assert route.wall_mm > 1.0
    assert 1.0 <= route.master_scale < 1.02
    assert route.about


# -- refused --------------------------------------------------------------------------


def test_a_negative_wall_is_refused_by_name():
    sanding = RemoveStep(name="sanding", side="outward", depth_mm=2.5)
    with pytest.raises(
        DesignError, match=r"'sanding' takes 2\.5 mm off a wall of 2\.00 mm"
    ):
        Route(name="thin", steps=(layer("wall", "inward", 2.0), sanding))


def test_shrink_over_ten_percent_is_refused_by_name_with_the_slip():
    with pytest.raises(
        DesignError, match=r"mould: shrink_percent must be 0 to 10 %; got 15"
    ):
        copy("mould", 15)


def test_a_negative_layer_is_refused_by_name():
    with pytest.raises(
        DesignError, match=r"wall: thickness_mm \(above 0\) must be 0 to 80"
    ):
        layer("wall", "inward", -3.0)


def test_thickness_and_laminate_are_one_of_two():
    with pytest.raises(DesignError, match="give thickness_mm or laminate"):
        LayerStep(name="wall", side="inward")
    with pytest.raises(DesignError, match="give thickness_mm or laminate"):
        LayerStep(name="wall", side="inward", thickness_mm=1.0,
                  laminate=Laminate(fibre_g_m2=300))  # fmt: skip


def test_two_steps_of_one_name_are_refused():
    with pytest.raises(DesignError, match="two steps are named 'wall'"):
        Route(name="r", steps=(layer("wall", "inward", 1.0), layer("wall", "inward", 1.0)))


def test_a_route_without_steps_is_refused():
    with pytest.raises(DesignError, match="steps of r must be 1 to 40"):
        Route(name="r", steps=())


def test_layers_beyond_belief_are_refused():
    with pytest.raises(DesignError, match="inner surface after 'b' must be -150 to 150"):
        Route(name="r", steps=(layer("a", "inward", 79.0), layer("b", "inward", 79.0)))


def test_a_drawn_wall_cannot_be_copied_by_one_surface():
    with pytest.raises(DesignError, match="'mould' keeps the outer surface"):
        Route(name="r", steps=(copy("mould", 0.2),), drawn_wall=True)


def test_a_region_beyond_belief_is_refused():
    with pytest.raises(DesignError, match="radius_mm of brow must be 1 to 2000 mm"):
        Region(name="brow", centre_mm=(0, 0, 0), radius_mm=0.5, thickness_mm=1)


# -- notes as a route -----------------------------------------------------------------


def test_layers_and_shrinkage_of_notes_are_a_route():
    build_up = BuildUp(
        outward=(Layer(name="paint", thickness_mm=0.5),),
        inward=(
            Layer(name="laminate", thickness_mm=3.0),
            Layer(name="paint", thickness_mm=0.2),
        ),
        shrink_percent=(0.1, 0.4, 0.3),
    )
    for drawn_wall in (False, True):
        made = route_of(build_up, drawn_wall=drawn_wall)
        assert made.lining_mm == pytest.approx(build_up.lining_mm)
        assert made.growth_mm == pytest.approx(build_up.growth_mm)
        assert made.master_scale == pytest.approx(build_up.master_scale)
        assert made.drawn_wall == drawn_wall
    assert [step.name for step in made.steps[3:]] == ["paint", "laminate", "paint, inward"]


def test_notes_that_say_nothing_are_no_route():
    with pytest.raises(DesignError, match="steps of as noted must be 1 to 40"):
        route_of(BuildUp(), drawn_wall=True)


@pytest.mark.parametrize(
    ("volume_percent", "linear_percent"), [(6, 2.0414), (7, 2.3900), (8, 2.7411)]
)
def test_shrinkage_of_volume_is_told_along_an_axis(volume_percent, linear_percent):
    # The cube root, worked by hand.
    found = linear_shrink_percent(volume_percent=volume_percent)
    assert found == pytest.approx(linear_percent, abs=5e-5)


def test_shrinkage_of_volume_beyond_any_copy_is_refused():
    with pytest.raises(DesignError, match=r"volume_percent must be 0 to 27\.1"):
        linear_shrink_percent(volume_percent=60)
