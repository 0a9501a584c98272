"""Fixings on walls whose thickness, edges and bends are known."""

from __future__ import annotations

from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
import shells

from fitkit.errors import DesignError
from fitkit.piece.buildup import BuildUp, Layer, finish
from fitkit.piece.design import Design
from fitkit.piece.fixings import Fixing, check_fixings, hole_template
from fitkit.piece.notes import parse_notes


def made(mesh, *, surface="solid", inward=()):
    drawn = Design(
        name="shell",
        parts=MappingProxyType({"skin": mesh}),
        surface=surface,
        notes=parse_notes({}, source="notes"),
        words=(),
        mended=(),
        path=Path("shell.stl"),
    )
    layers = tuple(Layer(name=f"layer {t}", thickness_mm=t) for t in inward)
    return finish(drawn, build_up=BuildUp(inward=layers))


@pytest.fixture(scope="module")
def shell():
    """A ball of 140 mm with a drawn wall of 4, a neck, two eyes and a mouth."""
    return made(shells.plain_shell(wall_mm=4.0, segments=96).mesh, inward=(1.5,))


def bolt(name, at, **more):
    return Fixing(name=name, kind="bolt", at_mm=at, hole_mm=6.0, foot_mm=20.0, **more)


def on_ball(right, front, radius=136.0):
    return (right, front, float(np.sqrt(radius**2 - right**2 - front**2)))


def test_the_wall_at_a_fixing_is_drawn_wall_and_layers(shell):
    (one,) = check_fixings(shell, [bolt("top", (0, 0, 138))])
    assert one.wall_mm == pytest.approx(5.5, abs=0.05)
    assert one.inward == pytest.approx([0, 0, -1], abs=0.03)
    assert np.linalg.norm(one.at_mm) == pytest.approx(136, abs=0.2)
    assert one.boss_mm == 0
    assert one.problems == ()


def test_a_foot_on_a_ball_stands_off_by_its_sagitta(shell):
    (one,) = check_fixings(shell, [bolt("top", (0, 0, 138))])
    assert one.gap_under_foot_mm == pytest.approx(136 - np.sqrt(136**2 - 10**2), abs=0.15)


def test_a_thin_wall_is_given_a_boss():
    thin = made(shells.plain_shell(wall_mm=2.5, segments=64).mesh)
    (one,) = check_fixings(thin, [bolt("top", (0, 0, 138))])
    assert one.boss_mm == pytest.approx(1.5, abs=0.05)
    assert any("lay a boss of 1.5 mm over 20 mm" in words for words in one.problems)


def test_a_fixing_near_an_opening_is_told_how_far(shell):
    # eyes are holes of 16 mm about right = 32: on the ball their rim is 16 mm off
    at = (32, float(np.sqrt(136**2 - 32**2 - 24**2)), 24)
    (one,) = check_fixings(shell, [bolt("brow", at)])
    assert one.edge_mm == pytest.approx(8.0, abs=0.4)
    assert one.least_edge_mm == 12.0  # two diameters of 6
    assert any("Move it away from the opening" in words for words in one.problems)


def test_holes_too_near_each_other_are_told(shell):
    pair = [bolt("a", on_ball(0, 0)), bolt("b", on_ball(15, 0))]
    one, _ = check_fixings(shell, pair)
    apart = np.linalg.norm(on_ball(15, 0) - np.array(on_ball(0, 0)))
    assert one.problems == (
        f"a: {apart:.1f} mm from b; holes need 18.0 mm between centres.",
    )


def test_one_bolt_lets_a_horn_turn_and_two_apart_do_not(shell):
    (lone,) = check_fixings(shell, [bolt("a", on_ball(0, 0), holds="left horn")])
    assert "one bolt will let left horn turn; use two" in lone.problems[0]
    pair = [
        bolt("a", on_ball(-15, 0), holds="left horn"),
        bolt("b", on_ball(15, 0), holds="left horn"),
    ]
    assert [one.problems for one in check_fixings(shell, pair)] == [(), ()]


def test_size_moves_places_and_grows_the_drawn_wall(shell):
    (one,) = check_fixings(shell, [bolt("top", (0, 0, 138))], size=1.1)
    assert one.at_mm[2] == pytest.approx(1.1 * 136, abs=0.2)
    assert one.wall_mm == pytest.approx(1.1 * 4 + 1.5, abs=0.05)


# -- templates ------------------------------------------------------------------------


def test_a_template_has_its_holes_where_the_bolts_are(shell):
    pair = [bolt("a", on_ball(-20, 0)), bolt("b", on_ball(20, 0))]
    fixed = check_fixings(shell, pair)
    sheet = hole_template(shell, fixed, name="left horn")
    assert sheet.holes == ("a", "b")
    apart = np.linalg.norm(fixed[0].at_mm - fixed[1].at_mm)
    assert np.linalg.norm(np.diff(sheet.centres_mm, axis=0)) == pytest.approx(apart)
    # seen from above, up is the front: the wearer's right is on the right
    assert sheet.centres_mm[0, 0] < sheet.centres_mm[1, 0]
    outer, *holes = sheet.outlines_mm
    assert [np.ptp(hole[:, 0]) for hole in holes] == pytest.approx([6, 6], abs=0.01)
    assert np.ptp(outer[:, 0]) == pytest.approx(apart + 2 * (10 + 10), abs=0.1)
    # from the middle to the end of the paper, 40 mm off
    assert sheet.off_wall_mm == pytest.approx(140 - np.sqrt(140**2 - 40**2), abs=0.6)


def test_a_template_seen_from_the_front_has_the_wearers_left_on_its_right(shell):
    front = [bolt("left", (-12, 133, -30)), bolt("right", (12, 133, -30))]
    sheet = hole_template(shell, check_fixings(shell, front), name="beak")
    assert sheet.centres_mm[0, 0] > sheet.centres_mm[1, 0]


def test_glued_things_need_no_template(shell):
    pad = Fixing(name="pad", kind="hinge pad", at_mm=(0, 0, 138), hole_mm=0, foot_mm=40)
    with pytest.raises(DesignError, match="none of its fixings has a hole"):
        hole_template(shell, check_fixings(shell, [pad]), name="hinge")


def test_bolts_on_two_sides_need_two_templates(shell):
    sides = [bolt("a", (-138, 0, 0)), bolt("b", (138, 0, 0))]
    with pytest.raises(DesignError, match="too far apart for one template"):
        hole_template(shell, check_fixings(shell, sides), name="horns")


# -- refused --------------------------------------------------------------------------


def test_a_fixing_off_the_wall_is_refused(shell):
    with pytest.raises(DesignError, match=r"top: 0, 0, 200 mm is 64 mm from the wall"):
        check_fixings(shell, [bolt("top", (0, 0, 200))])


def test_no_fixings_and_twins_are_refused(shell):
    with pytest.raises(DesignError, match="no fixings"):
        check_fixings(shell, [])
    with pytest.raises(DesignError, match="Two fixings are named 'a'"):
        check_fixings(shell, [bolt("a", (0, 0, 138)), bolt("a", (0, 30, 135))])


def test_a_foot_smaller_than_its_hole_is_refused():
    with pytest.raises(DesignError, match="foot_mm of a must be 6 to 200 mm; got 4"):
        Fixing(name="a", kind="bolt", at_mm=(0, 0, 0), hole_mm=6, foot_mm=4)
