"""Undercuts and partings against shapes whose overhang is known."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import Manifold
from shells import as_mesh, ball, box, plain_shell

from fitkit.errors import DesignError
from fitkit.piece.undercuts import best_parting, undercuts

UP = (0, 0, 1)


def test_the_lower_half_of_a_ball_is_locked_by_its_own_width():
    mesh = as_mesh(ball(60, segments=96))
    found = undercuts(mesh, pull=UP)
    at = mesh.centroids
    ring = np.hypot(at[:, 0], at[:, 1])
    low = at[:, 2] < -3
    # a point of the lower half must go sideways to the equator: R - sqrt(R² - z²)
    assert np.abs(found.depth_mm[low] - (60 - ring[low])).max() < 1.5
    assert found.depth_mm[at[:, 2] > 1].max() == 0
    assert found.worst_mm == pytest.approx(60, abs=2)
    assert found.worst_at_mm[2] < -58


def test_a_groove_round_a_post_is_as_deep_as_it_is():
    post = box(100, 100, 120) - (box(120, 120, 20) - box(84, 84, 20))
    found = undercuts(as_mesh(post), pull=UP)
    at = found.surface.centroids
    floor = (np.abs(at[:, 2]) < 9) & (np.abs(at[:, 0]) < 42.5) & (np.abs(at[:, 1]) < 42.5)
    assert found.depth_mm[floor] == pytest.approx(8.0, abs=1.5)


def test_a_cone_pulled_off_its_tip_has_only_its_foot_and_the_other_way_its_side():
    cone = as_mesh(Manifold.cylinder(80, 40, 5, 64))
    found = undercuts(cone, pull=UP)
    locked = found.depth_mm > 0
    assert np.all(cone.normals[locked, 2] < -0.99)  # the foot lies under all of it
    side = undercuts(cone, pull=(0, 0, -1)).area_mm2()
    slant, top = np.pi * 45 * np.hypot(80, 35), np.pi * 25
    assert side == pytest.approx(slant + top, rel=0.02)


def test_a_turned_shape_pulled_the_turned_way_is_the_same():
    turn = np.array([[0, 0, 1.0, 0], [1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    mesh = as_mesh(box(60, 60, 40) + box(100, 80, 20, at=(0, 0, 30)))
    one = undercuts(mesh, pull=UP)
    other = undercuts(mesh.moved(turn), pull=turn[:3, :3] @ UP)
    assert other.depth_mm == pytest.approx(one.depth_mm, abs=1.5)


def test_a_smaller_pixel_is_closer():
    mesh = as_mesh(box(60, 60, 40) + box(100, 100, 20, at=(0, 0, 30)))
    fine = undercuts(mesh, pull=UP, pixel_mm=0.25)
    sides = np.abs(fine.surface.centroids[:, 2]) < 19
    # the way out for the middle of each side of the post: 20 mm
    assert fine.depth_mm[sides] == pytest.approx(20, abs=0.5)


# -- partings -------------------------------------------------------------------------


def test_a_ball_is_parted_at_its_equator():
    parting = best_parting(as_mesh(ball(60, at=(3, 5, 7), segments=96)), pull=UP)
    assert parting.point_mm @ np.array(UP) == pytest.approx(7, abs=1.5)
    # the band of faces that the plane passes through
    assert parting.left.worst_mm < 1.0


def test_an_egg_is_parted_where_it_is_widest():
    upper = ball(60, 60, 100, segments=96) ^ box(200, 200, 200, at=(0, 0, 100))
    lower = ball(60, 60, 40, segments=96) ^ box(200, 200, 200, at=(0, 0, -100))
    parting = best_parting(as_mesh(upper + lower), pull=UP)
    assert parting.point_mm[2] == pytest.approx(0, abs=2)


def test_an_open_shell_is_moulded_as_if_its_neck_were_closed():
    mesh = plain_shell(segments=64)
    outer = mesh.mesh.submesh(mesh.kind == 0)
    found = undercuts(outer, pull=UP)
    ring = np.linalg.norm(outer.centroids[:, :2], axis=1)
    low = outer.centroids[:, 2] < -90
    assert np.abs(found.depth_mm[low] - (140 - ring[low])).max() < 4  # 64 chords


def test_what_gives_way_is_not_counted():
    groove = as_mesh(box(100, 100, 120) - (box(120, 120, 20) - box(94, 94, 20)))
    stiff = best_parting(groove, pull=UP)
    rubber = best_parting(groove, pull=UP, tolerance_mm=5.0)
    assert stiff.locked_mm2 > 0
    assert rubber.locked_mm2 == 0


# -- refused --------------------------------------------------------------------------


def test_a_pull_without_direction_is_refused():
    with pytest.raises(DesignError, match="pull must be a direction"):
        undercuts(as_mesh(box(60, 60, 60)), pull=(0, 0, 0))


def test_a_grid_or_a_tolerance_beyond_belief_is_refused():
    with pytest.raises(DesignError, match=r"pixel_mm must be 0\.2 to 10 mm"):
        undercuts(as_mesh(box(60, 60, 60)), pull=UP, pixel_mm=0.01)
    with pytest.raises(DesignError, match="tolerance_mm must be 0 to 50 mm"):
        best_parting(as_mesh(box(60, 60, 60)), pull=UP, tolerance_mm=-1)
