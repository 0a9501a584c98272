from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh, join
from fitkit.geometry.sections import hull_girth_mm, hull_loop, length_mm, section

UP, ORIGIN = [0, 0, 1], [0, 0, 0]


def exact_ellipse_perimeter(a: float, b: float) -> float:
    """Complete elliptic integral of the second kind, 4 a E(1 - b²/a²)."""
    return float(4 * a * ellipe(1 - (b / a) ** 2))


def ramanujan(a: float, b: float) -> float:
    """S. Ramanujan, Quart. J. Math. 45, 350-372 (1914), second approximation."""
    h = ((a - b) / (a + b)) ** 2
    return float(np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h))))


def test_two_outside_formulas_agree_on_a_head_size_ellipse():
    exact = exact_ellipse_perimeter(99.75, 77.165)
    assert ramanujan(99.75, 77.165) == pytest.approx(exact, abs=1e-3)
    assert exact == pytest.approx(558.062, abs=1e-3)


def test_level_section_of_an_ellipsoid_has_the_exact_perimeter(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=6)
    (line,) = section(mesh, point_mm=ORIGIN, normal=UP)
    assert length_mm(line) == pytest.approx(558.062, rel=1e-4)
    inside = (line[:, 0] / 99.75) ** 2 + (line[:, 1] / 77.165) ** 2
    assert inside == pytest.approx(np.ones(len(line)), abs=1e-3)


def test_oblique_section_of_an_ellipsoid_is_the_exact_ellipse(ellipsoid):
    # the plane through the right axis, tilted by angle t, cuts semi-axes a and
    # 1 / sqrt(cos²t / b² + sin²t / c²)
    mesh, tilt = ellipsoid(99.75, 77.165, 115.0, subdivisions=6), np.radians(25)
    other = 1 / np.hypot(np.cos(tilt) / 77.165, np.sin(tilt) / 115.0)
    (line,) = section(mesh, point_mm=ORIGIN, normal=[0, -np.sin(tilt), np.cos(tilt)])
    exact = exact_ellipse_perimeter(99.75, other)
    assert length_mm(line) == pytest.approx(exact, rel=1e-4)


def test_section_off_centre_shrinks_as_the_square_root(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=6)
    shrink = np.sqrt(1 - (70 / 115) ** 2)
    (line,) = section(mesh, point_mm=[0, 0, 70], normal=UP)
    assert length_mm(line) == pytest.approx(558.062 * shrink, rel=2e-4)


def test_section_is_closed_exactly_and_counter_clockwise(ellipsoid):
    (line,) = section(ellipsoid(99.75, 77.165, 115.0), point_mm=[0, 0, 3], normal=UP)
    assert np.array_equal(line[0], line[-1])
    assert np.cross(line[:-1], line[1:])[:, 2].sum() > 0


def test_section_of_an_open_mesh_is_an_open_line(dome):
    (line,) = section(dome, point_mm=ORIGIN, normal=[0, 1, 0])
    assert not np.array_equal(line[0], line[-1])
    assert length_mm(line) == pytest.approx(np.pi * 100, rel=1e-3)


# Vertices that lie on the plane must neither drop nor double a segment.
@pytest.mark.parametrize("normal", [[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [1, 0, -1]])
@pytest.mark.parametrize("sign", [1, -1])
def test_cut_through_corners_and_edges_of_a_cube_is_one_loop(normal, sign, box):
    cube = box(2.0, 2.0, 2.0)
    lines = section(cube, point_mm=ORIGIN, normal=sign * np.array(normal))
    assert len(lines) == 1
    diagonal = np.count_nonzero(normal) == 2
    want = 2 * (2 + 2 * np.sqrt(2)) if diagonal else 8
    assert length_mm(lines[0]) == pytest.approx(want)


def test_cut_along_the_equator_vertices_of_a_grid_ball_is_one_loop(dome):
    bottom = dome.scaled([1, 1, -1])
    ball = join([dome, bottom])
    lines = section(ball, point_mm=[0, 0, 100 * np.sin(np.pi / 2 / 32 * 5)], normal=UP)
    ring = 2 * 128 * np.sin(np.pi / 128) * 100 * np.cos(np.pi / 2 / 32 * 5)
    assert [length_mm(line) for line in lines] == pytest.approx([ring])


def test_face_in_the_plane_is_outlined_only_where_the_solid_lies_behind(box):
    cube = box(2.0, 2.0, 2.0)
    (top,) = section(cube, point_mm=[0, 0, 1], normal=UP)
    assert length_mm(top) == pytest.approx(8)
    assert section(cube, point_mm=[0, 0, -1], normal=UP) == []


@settings(max_examples=50, deadline=None)
@given(number=st.integers(0, 10**6), height=st.integers(-3, 3))
def test_every_section_of_a_closed_mesh_is_closed(number, height, box):
    # whole heights and quarter turns put many vertices on the plane
    cube = box(4.0, 4.0, 4.0)
    normal = np.random.default_rng(number).integers(-1, 2, 3)
    normal[0] += 2  # never without direction
    for line in section(cube, point_mm=normal * height / 2, normal=normal):
        assert np.array_equal(line[0], line[-1])
        assert len(line) >= 4


@settings(max_examples=25, deadline=None)
@given(number=st.integers(0, 10**6))
def test_rigid_motion_keeps_the_length_of_a_section(number, ellipsoid, rigid):
    mesh, matrix = ellipsoid(99.75, 77.165, 115.0), rigid(number)
    normal, point = np.array([0.3, -0.2, 1.0]), np.array([4.0, 3.0, 20.0])
    (still,) = section(mesh, point_mm=point, normal=normal)
    (moved,) = section(
        mesh.moved(matrix),
        point_mm=matrix[:3, :3] @ point + matrix[:3, 3],
        normal=matrix[:3, :3] @ normal,
    )
    assert length_mm(moved) == pytest.approx(length_mm(still), abs=1e-6)


def test_every_point_of_a_section_lies_in_the_plane(cup):
    normal, point = np.array([1.0, 2.0, 3.0]), np.array([5.0, 5.0, 30.0])
    for line in section(cup, point_mm=point, normal=normal):
        assert (line - point) @ normal == pytest.approx(np.zeros(len(line)), abs=1e-9)


def test_flipped_faces_do_not_break_a_section(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0)
    faces = np.array(mesh.faces)
    faces[::3] = faces[::3, ::-1]
    (good,) = section(mesh, point_mm=[0, 0, 10], normal=UP)
    (bad,) = section(Mesh(mesh.vertices, faces), point_mm=[0, 0, 10], normal=UP)
    assert length_mm(bad) == pytest.approx(length_mm(good))


def test_only_the_chosen_faces_are_cut(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0)
    right = mesh.centroids[:, 0] > 0
    (half,) = section(mesh, point_mm=ORIGIN, normal=UP, faces=right)
    by_index = section(mesh, point_mm=ORIGIN, normal=UP, faces=np.nonzero(right)[0])
    assert length_mm(half) == pytest.approx(558.06 / 2, rel=0.02)
    assert np.array_equal(half, by_index[0])


def test_plane_that_misses_gives_no_lines(cup):
    assert section(cup, point_mm=[0, 0, 500], normal=UP) == []


def test_girth_spans_the_hollow_of_a_waist(box):
    # two posts 10 x 10 with their centres 50 apart: the tape runs straight between them
    shift = np.eye(4)
    shift[0, 3] = 50.0
    posts = join([box(10.0, 10.0, 90.0), box(10.0, 10.0, 90.0).moved(shift)])
    assert hull_girth_mm(posts, point_mm=ORIGIN, normal=UP) == pytest.approx(140)


def test_girth_goes_round_the_nearest_part_only_when_asked(box):
    shift = np.eye(4)
    shift[0, 3] = 50.0
    posts = join([box(10.0, 10.0, 90.0), box(20.0, 10.0, 90.0).moved(shift)])
    near = hull_girth_mm(posts, point_mm=ORIGIN, normal=UP, near_mm=[48.0, 0, 0])
    assert near == pytest.approx(60)


def test_girth_of_a_convex_shape_is_its_section(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=6)
    got = hull_girth_mm(mesh, point_mm=ORIGIN, normal=UP)
    assert got == pytest.approx(exact_ellipse_perimeter(99.75, 77.165), rel=1e-4)


def test_hull_loop_is_closed_and_counter_clockwise_about_any_normal():
    points = np.random.default_rng(2).normal(size=(50, 3))
    for normal in ([1, 2, 3], [0, 0, -1], [-4, 0, 1]):
        flat = points - np.outer(points @ normal, normal) / np.dot(normal, normal)
        loop = hull_loop(flat, normal=normal)
        assert np.array_equal(loop[0], loop[-1])
        assert np.cross(loop[:-1], loop[1:]).sum(axis=0) @ normal > 0


def test_girth_off_the_mesh_is_refused(cup):
    with pytest.raises(MeshError, match="misses the mesh"):
        hull_girth_mm(cup, point_mm=[0, 0, 500], normal=UP)


def test_hull_of_a_line_is_refused():
    with pytest.raises(MeshError, match="not in line"):
        hull_loop(np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), normal=UP)


def test_normal_without_direction_is_refused(cup):
    with pytest.raises(MeshError, match="length above 0"):
        section(cup, point_mm=ORIGIN, normal=[0, 0, 0])
