"""Self-crossings against exact arithmetic over every pair of faces."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from fitkit.geometry.crossings import crossing_faces
from fitkit.geometry.mesh import Mesh, join


def volume(p, q, r, s):
    """Six times the signed volume of a tetrahedron, exactly."""
    a, b, c = ([x - y for x, y in zip(v, p, strict=True)] for v in (q, r, s))
    return (
        a[0] * (b[1] * c[2] - b[2] * c[1])
        - a[1] * (b[0] * c[2] - b[2] * c[0])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )


def pierces(p, q, triangle):
    """Whether a segment meets a triangle away from its plane, in exact arithmetic."""
    a, b, c = triangle
    first, last = volume(p, a, b, c), volume(q, a, b, c)
    if first * last > 0 or first == last == 0:
        return False
    around = [volume(p, q, *pair) for pair in ((a, b), (b, c), (c, a))]
    return min(around) >= 0 or max(around) <= 0


def brute_force(mesh):
    """Every crossing pair of faces, by all edges of one against the other, exactly."""
    points = [[int(x) for x in v] for v in mesh.vertices * 1024]  # see `on_grid`
    found = []
    for i, j in combinations(range(len(mesh.faces)), 2):
        one, two = mesh.faces[i].tolist(), mesh.faces[j].tolist()
        if len(set(one) & set(two)) > 1:
            continue
        meets = False
        for mine, other in ((one, two), (two, one)):
            for k in range(3):
                edge = mine[k], mine[(k + 1) % 3]
                if not set(edge) & set(other):
                    corners = [points[v] for v in other]
                    meets = meets or pierces(points[edge[0]], points[edge[1]], corners)
        if meets:
            found.append([i, j])
    return np.array(found, dtype=np.int64).reshape(-1, 2)


def on_grid(vertices):
    """Vertices at whole multiples of 1/1024 mm, where whole numbers are exact."""
    return np.rint(vertices * 1024) / 1024


@pytest.mark.parametrize("seed", range(4))
def test_random_triangles_cross_where_exact_arithmetic_says(seed):
    random = np.random.default_rng(seed)
    corners = random.uniform(-50, 50, (60, 1, 3)) + random.normal(0, 20, (60, 3, 3))
    soup = Mesh(on_grid(corners.reshape(-1, 3)), np.arange(180).reshape(-1, 3))
    expected = brute_force(soup)
    assert len(expected) > 10
    np.testing.assert_array_equal(crossing_faces(soup), expected)


@pytest.mark.parametrize("seed", range(3))
def test_crumpled_sphere_crosses_where_exact_arithmetic_says(ellipsoid, seed):
    ball = ellipsoid(80, 90, 100, subdivisions=1)
    noise = np.random.default_rng(seed).normal(0, 25, ball.vertices.shape)
    crumpled = ball.with_vertices(on_grid(ball.vertices + noise))
    expected = brute_force(crumpled)
    sharing = [len(set(crumpled.faces[i]) & set(crumpled.faces[j])) for i, j in expected]
    assert min(sharing) == 0
    assert max(sharing) == 1  # also faces that meet in a corner and cross away from it
    np.testing.assert_array_equal(crossing_faces(crumpled), expected)


def test_faces_of_very_unlike_size_are_not_missed():
    # A needle's eye: one face of a metre, with a fine tube pushed through it.
    turn = np.arange(24) * 2 * np.pi / 24
    ring = np.column_stack([0.5 * np.cos(turn), 0.5 * np.sin(turn)])
    tube = np.vstack([np.c_[ring, np.full(24, -0.3)], np.c_[ring, np.full(24, 0.3)]])
    a, b = np.arange(24), np.roll(np.arange(24), -1)
    faces = np.vstack([np.c_[a, b, a + 24], np.c_[b, b + 24, a + 24]])
    sheet = Mesh(np.array([[-500.0, -400, 0], [600, -300, 0], [0, 700, 0]]), [[0, 1, 2]])
    pairs = crossing_faces(join([sheet, Mesh(tube, faces)]))
    assert len(pairs) == 48  # every face of the tube spans the sheet
    assert (pairs[:, 0] == 0).all()


def test_convex_shapes_do_not_cross(ellipsoid, box):
    assert len(crossing_faces(ellipsoid(99.75, 77.165, 115.0))) == 0
    assert len(crossing_faces(box(200, 150, 230))) == 0


def test_two_overlapping_balls_cross_along_their_circle(ellipsoid):
    # Spheres of radius 100 whose centres lie 120 apart meet in a circle of radius 80.
    ball = ellipsoid(100, 100, 100)
    turned = np.eye(4)
    turned[0, 3] = 120
    both = join([ball, ball.moved(turned)])
    pairs = crossing_faces(both)
    assert (pairs[:, 0] < len(ball.faces)).all()
    assert (pairs[:, 1] >= len(ball.faces)).all()
    centres = both.centroids[pairs]
    away = np.hypot(centres[..., 1], centres[..., 2])
    np.testing.assert_allclose(away, 80, atol=6)
    np.testing.assert_allclose(centres[..., 0], 60, atol=6)


def test_answer_does_not_depend_on_where_the_mesh_lies(ellipsoid, rigid):
    ball = ellipsoid(80, 90, 100, subdivisions=3)
    noise = np.random.default_rng(7).normal(0, 6, ball.vertices.shape)
    crumpled = ball.with_vertices(ball.vertices + noise)
    pairs = crossing_faces(crumpled)
    assert len(pairs) > 100
    for number in range(3):
        moved = crossing_faces(crumpled.moved(rigid(number)))
        np.testing.assert_array_equal(moved, pairs)


def test_touching_counts_and_an_empty_mesh_does_not_cross(box):
    stacked = join([box(100, 100, 100), Mesh([[0.0, 0, 50], [20, 5, 90], [5, 20, 90]],
                                             [[0, 1, 2]])])  # fmt: skip
    assert len(crossing_faces(stacked)) > 0  # the tip stands on the lid
    bare = Mesh([[0.0, 0, 0]], np.empty((0, 3), dtype=np.int64))
    assert crossing_faces(bare).shape == (0, 2)
