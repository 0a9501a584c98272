"""Build-up: layers at true distance, shrinkages chained, walls measured."""

from __future__ import annotations

import math
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
import shells
from hypothesis import given
from hypothesis import strategies as st

from fitkit.errors import DesignError
from fitkit.geometry.distance import SurfaceTree
from fitkit.piece.buildup import (
    BuildUp,
    Layer,
    build_up_of,
    finish,
    finished_inner,
    finished_outer,
    sample_wall,
)
from fitkit.piece.design import Design
from fitkit.piece.notes import parse_notes


def design(parts, *, surface="solid", **notes) -> Design:
    return Design(
        name="ball",
        parts=MappingProxyType(parts),
        surface=surface,
        notes=parse_notes(notes, source="notes"),
        words=(),
        mended=(),
        path=Path("ball.stl"),
    )


def layers(*thicknesses_mm) -> tuple[Layer, ...]:
    return tuple(Layer(name=f"layer {t}", thickness_mm=t) for t in thicknesses_mm)


def skin(radius_mm, **options) -> Design:
    ball = shells.as_mesh(shells.ball(radius_mm, segments=200))
    return design({"skin": ball}, **options)


# -- shrinkage ------------------------------------------------------------------------

# By hand: 1 / (0.999 * 0.996 * 0.997) = 1.0080451; adding the percents gives 1.0080.
CHAIN, SUM = 1.008045, 1.008


def test_shrinkages_chain_and_do_not_add_up():
    scale = BuildUp(shrink_percent=(0.1, 0.4, 0.3)).master_scale
    assert scale == pytest.approx(CHAIN, abs=5e-7)
    assert scale > SUM + 4e-5


def test_590_mm_that_shrink_by_one_and_a_half_percent_are_581_15_mm():
    # by hand: 590 * 0.985 = 581.15
    assert BuildUp(shrink_percent=(1.5,)).shrunk_mm(master_mm=590) == pytest.approx(581.15)


def test_one_percent_of_shrinkage_asks_for_1_010101():
    # by hand: 1 / 0.99
    assert BuildUp(shrink_percent=(1.0,)).master_scale == pytest.approx(1.010101, abs=5e-7)


@given(st.lists(st.floats(0, 10), max_size=6), st.randoms())
def test_order_of_copy_steps_does_not_matter_and_the_master_undoes_them(steps, random):
    shuffled = random.sample(steps, len(steps))
    one = BuildUp(shrink_percent=tuple(steps))
    other = BuildUp(shrink_percent=tuple(shuffled))
    assert one.master_scale == pytest.approx(other.master_scale)
    assert one.shrunk_mm(master_mm=100 * one.master_scale) == pytest.approx(100)
    assert one.master_scale >= 1 + sum(steps) / 100 - 1e-12


# -- layers ---------------------------------------------------------------------------


def test_layers_add_up_on_each_side():
    build_up = BuildUp(outward=layers(0.5, 0.25), inward=layers(2.5, 1.0))
    assert build_up.growth_mm == 0.75
    assert build_up.lining_mm == 3.5
    assert build_up.wall_mm == 4.25


@pytest.mark.parametrize("thickness", [0, -2, 81, math.nan])
def test_a_layer_without_thickness_or_beyond_belief_is_refused(thickness):
    with pytest.raises(DesignError, match=r"thickness_mm \(above 0\) must be 0 to 80 mm"):
        Layer(name="laminate", thickness_mm=thickness)


@pytest.mark.parametrize("shrink", [-0.1, 10.1, math.nan])
def test_a_shrinkage_beyond_belief_is_refused(shrink):
    with pytest.raises(DesignError, match="shrink_percent must be 0 to 10 %"):
        BuildUp(shrink_percent=(shrink,))


def test_layers_that_fill_the_room_are_refused():
    with pytest.raises(DesignError, match="inward layers together must be 0 to 150 mm"):
        BuildUp(inward=layers(70, 70, 70))


def test_the_build_up_is_taken_from_the_notes():
    notes = {
        "layers": {"outward": [{"name": "paint", "thickness_mm": 0.4}]},
        "shrink_percent": [0.3],
    }
    build_up = build_up_of(parse_notes(notes, source="notes"))
    assert build_up == BuildUp(
        outward=(Layer(name="paint", thickness_mm=0.4),), shrink_percent=(0.3,)
    )


# -- finished surfaces ----------------------------------------------------------------

# By hand: 4/3 pi (120³ - 117³) = 529 408.6 mm³ for a wall of 3 mm inside radius 120.
BALL_WALL_MM3 = 529_408.6


@pytest.fixture(scope="module")
def lined_ball():
    drawn = skin(120, surface="outer")
    return finish(drawn, build_up=BuildUp(inward=layers(2.0, 1.0), outward=layers(0.5)))


def test_the_wall_of_a_ball_has_the_volume_worked_out_by_hand(lined_ball):
    wall = lined_ball.facing.volume_mm3 - finished_inner(lined_ball).volume_mm3
    assert wall == pytest.approx(BALL_WALL_MM3, rel=0.005)  # a polyhedron is not round


def test_the_finished_inner_wall_lies_at_the_true_distance(lined_ball):
    inner = finished_inner(lined_ball)
    gap = SurfaceTree(lined_ball.facing).signed_mm(inner.vertices)
    assert np.abs(gap + 3.0).max() < 0.01


def test_the_finished_outside_lies_at_the_true_distance(lined_ball):
    outer = finished_outer(lined_ball)
    gap = SurfaceTree(lined_ball.skin).signed_mm(outer.vertices)
    assert np.abs(gap - 0.5).max() < 0.01


def test_layers_keep_their_thickness_at_another_size(lined_ball):
    # 120 * 1.05 - 3 = 123
    radius = np.linalg.norm(finished_inner(lined_ball, size=1.05).vertices, axis=1)
    assert radius.max() == pytest.approx(123.0, abs=0.05)
    assert radius.min() == pytest.approx(123.0, abs=0.1)


def test_a_size_by_axis_stretches_the_drawing_and_not_the_layers(lined_ball):
    inner = finished_inner(lined_ball, size=(1.0, 1.1, 0.95))
    half = inner.size_mm / 2
    assert np.allclose(half, [117, 129, 111], atol=0.1)


def test_without_layers_the_finished_surface_is_the_drawn_one():
    piece = finish(skin(120, surface="inner"), build_up=BuildUp(outward=layers(3)))
    inner = finished_inner(piece, size=1.1)
    assert np.allclose(inner.vertices, 1.1 * piece.facing.vertices)
    assert finished_outer(piece).volume_mm3 > piece.facing.volume_mm3


def test_the_finished_inner_wall_of_an_open_piece_stays_open():
    piece = finish(
        design({"shell": shells.plain_shell().mesh}), build_up=BuildUp(inward=layers(2))
    )
    inner = finished_inner(piece)
    assert len(inner.boundary_loops) == 4
    assert np.allclose(np.linalg.norm(inner.vertices, axis=1), 134, atol=0.3)


@pytest.mark.parametrize("size", [0.2, 3.0, math.nan, (1.0, 1.0, 9.0)])
def test_a_size_beyond_belief_is_refused(lined_ball, size):
    with pytest.raises(DesignError, match=r"size must be 0\.5 to 2"):
        finished_inner(lined_ball, size=size)


def test_a_size_in_percent_is_told_as_such(lined_ball):
    with pytest.raises(DesignError, match=r"Did you mean 1\.03, not percent"):
        finished_outer(lined_ball, size=103)


def test_two_size_factors_are_refused(lined_ball):
    with pytest.raises(DesignError, match=r"one factor, or three \(right, front, up\)"):
        finished_inner(lined_ball, size=(1.0, 1.0))


# -- piece ----------------------------------------------------------------------------


def test_a_skin_without_any_wall_is_refused():
    with pytest.raises(DesignError, match="an outer skin has no wall of its own"):
        finish(skin(120, surface="outer"))


def test_a_piece_of_two_parts_knows_its_jaw_and_hinge():
    head, jaw = shells.jawed_shell()
    drawn = design(
        {"shell": head.mesh, "jaw": jaw.mesh},
        jaw_part="jaw",
        hinge={"left_mm": [-90, 5, -30], "right_mm": [90, 5, -30]},
        layers={"inward": [{"name": "lining", "thickness_mm": 1.5}]},
    )
    piece = finish(drawn)
    jaw_inner = jaw.mesh.areas_mm2[jaw.kind == shells.INNER].sum()
    assert piece.facing.areas_mm2[piece.jaw_faces].sum() == pytest.approx(
        jaw_inner, rel=0.01
    )
    assert piece.hinge is not None
    assert np.allclose(piece.hinge.middle_mm, [0, 5, -30])
    assert np.allclose(piece.hinge.axis, [1, 0, 0])
    assert piece.lining_mm == 1.5
    assert piece.growth_mm == 0.0
    assert piece.tree.mesh is piece.facing
    assert piece.tree.winding(np.zeros((1, 3)))[0] > 0.8


def test_a_piece_without_jaw_has_no_jaw_faces(lined_ball):
    assert lined_ball.hinge is None
    assert not lined_ball.jaw_faces.any()


def test_cautions_carry_the_words_of_the_design_on(lined_ball):
    assert any("no head can get in" in word for word in lined_ball.cautions)


# -- wall -----------------------------------------------------------------------------


def test_the_wall_between_two_balls_is_their_difference():
    piece = finish(design({"shell": shells.plain_shell(wall_mm=4.0, segments=128).mesh}))
    wall = sample_wall(piece)
    assert wall.median_mm == pytest.approx(4.0, abs=0.03)
    assert wall.least_mm > 3.9  # at rims, too: the rim itself is not the other side
    assert len(wall.at_mm) == len(wall.thickness_mm)


def test_a_drawn_wall_grows_with_size_and_layers_do_not():
    shell = shells.plain_shell(wall_mm=4.0, segments=128).mesh
    piece = finish(design({"shell": shell}), build_up=BuildUp(inward=layers(1.5)))
    assert sample_wall(piece, size=1.1).median_mm == pytest.approx(1.1 * 4 + 1.5, abs=0.04)


def test_the_thinnest_place_is_found():
    # the inner ball sits 2 mm low, so the wall is 4 - 2 below and 4 + 2 above
    shell = shells.shell(
        shells.ball(140, segments=160),
        shells.ball(136, segments=160, at=(0, 0, 2)),
        shells.NECK_CUT,
    )
    wall = sample_wall(finish(design({"shell": shell.mesh})))
    assert wall.least_mm == pytest.approx(2.0, abs=0.05)
    assert wall.thinnest_at_mm[2] > 125


def test_a_skin_is_as_thick_as_its_layers(lined_ball):
    wall = sample_wall(lined_ball)
    assert wall.least_mm == wall.median_mm == 3.5
