import numpy as np
import pytest
from stand_ins import ball, opened, piece_of

from fitkit.fit._cavity import capped_mesh, cavity_of
from fitkit.fit.placement import Placement


def signed(wall, points, placement=None):
    placement = Placement() if placement is None else placement
    cavity = cavity_of(piece_of(wall)).stretched(placement.size)
    return cavity.gaps(np.asarray(points, float), placement).signed_mm


def test_inside_a_ball_is_positive_and_beyond_it_negative():
    points = [[0, 0, 0], [0, 60, 0], [0, 0, 130]]
    assert signed(ball(100, segments=256), points) == pytest.approx(
        [100, 40, -30], abs=0.03
    )


def test_through_an_opening_is_air_to_the_rim():
    bowl = opened(ball(100, segments=256), below_up_mm=0)
    rim_up = bowl.vertices[bowl.boundary_vertices][:, 2].mean()
    got = signed(bowl, [[0, 0, rim_up - 30]])
    assert got == pytest.approx(np.hypot(100, 30), abs=0.1)


def test_beside_an_open_wall_is_still_beyond_it():
    bowl = opened(ball(100, segments=256), below_up_mm=0)
    assert signed(bowl, [[120, 0, 30]])[0] < 0


@pytest.mark.parametrize("below", [-60, -20, 0, 40])
def test_side_agrees_with_the_winding_number_of_the_capped_wall(below):
    # Where the rim is nearest a point passes through the opening, whatever its side.
    bowl = opened(ball(100, 90, 120, segments=96), below_up_mm=below)
    rng = np.random.default_rng(4)
    points = rng.uniform(-130, 130, size=(2000, 3))
    piece = piece_of(bowl)
    free = ~piece.tree.nearest(points).on_boundary & (points[:, 2] > below + 5)
    points, cavity = points[free], cavity_of(piece)
    inside = cavity.inside(points)
    assert 100 < inside.sum() < len(points) - 100
    assert np.array_equal(cavity.gaps(points, Placement()).signed_mm > 0, inside)


def test_sharp_inward_edge_does_not_confuse_the_sides():
    # Two balls side by side joined at a waist: nearest points lie on the waist's edge.
    from manifold3d import Manifold

    from fitkit.geometry.mesh import Mesh

    one = Manifold.sphere(60, 96).translate([-45, 0, 0])
    both = (one + Manifold.sphere(60, 96).translate([45, 0, 0])).to_mesh()
    wall = Mesh(np.asarray(both.vert_properties, float)[:, :3], np.int64(both.tri_verts))
    points = [[0, 0, 5], [0, 25, 25], [0, 0, 55], [0, 45, 20], [0, 70, 0]]
    waist = np.sqrt(60**2 - 45**2)
    away = [waist - np.linalg.norm(p) for p in points]
    assert np.array_equal(signed(wall, points) > 0, np.array(away) > 0)


@pytest.mark.parametrize("size", [0.8, 1.0, 1.25])
def test_one_tree_serves_every_uniform_size_exactly(size):
    wall = ball(100, 90, 120, segments=64)
    points = np.random.default_rng(2).uniform(-60, 60, size=(50, 3))
    got = signed(wall, points, Placement(size=size))
    assert got == pytest.approx(signed(wall.scaled(size), points), abs=1e-9)


def test_stretching_rebuilds_the_exact_distance():
    wall, size = ball(100, 90, 120, segments=64), np.array([1.1, 0.95, 1.02])
    points = np.random.default_rng(2).uniform(-60, 60, size=(50, 3))
    got = signed(wall, points, Placement(size=size))
    assert got == pytest.approx(signed(wall.scaled(size), points), abs=1e-9)


def test_estimate_at_other_proportions_is_exact_for_a_plane_wall():
    from manifold3d import Manifold

    from fitkit.geometry.mesh import Mesh

    raw = Manifold.cube([200, 200, 200], True).rotate([20, 30, 0]).to_mesh()
    box = Mesh(np.asarray(raw.vert_properties, float)[:, :3], np.int64(raw.tri_verts))
    size = np.array([1.02, 0.99, 1.0])
    placement = Placement(size=size)
    normal = box.normals[0]
    points = box.centroids[:1] - 5 * normal  # 5 mm inside one face
    kept = cavity_of(piece_of(box)).gaps(points, placement).signed_mm
    exact = signed(box.scaled(size), points)
    assert kept == pytest.approx(exact, abs=1e-9)


def test_moving_along_away_gains_distance_one_for_one():
    wall = ball(100, 90, 120, segments=64)
    placement = Placement(size=1.05, shift_mm=(3, -2, 4), pitch_deg=9)
    points = np.random.default_rng(5).uniform(-130, 130, size=(200, 3))
    cavity = cavity_of(piece_of(wall))
    here = cavity.gaps(points, placement)
    there = cavity.gaps(points + 1e-4 * here.away, placement)
    gain = (there.signed_mm - here.signed_mm) / 1e-4
    assert np.median(gain) == pytest.approx(1.0, abs=1e-6)
    assert np.percentile(gain, 5) > 0.9


def test_a_point_on_the_wall_still_has_a_direction():
    wall = ball(100, segments=32)
    at = wall.centroids[:5]
    gaps = cavity_of(piece_of(wall)).gaps(at, Placement())
    assert gaps.signed_mm == pytest.approx(0, abs=1e-9)
    assert gaps.away == pytest.approx(-wall.normals[:5], abs=1e-6)


def test_capped_wall_is_closed():
    assert capped_mesh(opened(ball(100, segments=64), below_up_mm=-30)).is_closed


def test_a_closed_wall_needs_no_cap():
    wall = ball(100, segments=32)
    assert capped_mesh(wall) is wall
