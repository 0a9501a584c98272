"""Patches laid flat."""

import numpy as np
import pytest

from fitkit.fit._flat import lay_flat
from fitkit.geometry.mesh import Mesh

UP = np.array([0.0, 0.0, 1.0])


def patch(bend, *, wide=80.0, high=40.0, step=2.0):
    """A rectangle in its own plane, carried into space; with its outline."""
    across = np.arange(-wide / 2, wide / 2 + step / 2, step)
    upward = np.arange(-high / 2, high / 2 + step / 2, step)
    grid = np.stack(np.meshgrid(across, upward, indexing="ij"), axis=-1)
    n, m = len(across), len(upward)
    index = np.arange(n * m).reshape(n, m)
    a, b, c, d = index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]
    faces = np.concatenate(
        [
            np.stack([a, b, c], axis=-1).reshape(-1, 3),
            np.stack([a, c, d], axis=-1).reshape(-1, 3),
        ]
    )
    points = np.array([bend(x, z) for x, z in grid.reshape(-1, 2)])
    around = np.concatenate(
        [index[:, 0], index[-1, 1:], index[-2::-1, -1], index[0, -2::-1]]
    )
    return Mesh(points, faces), points[around], grid.reshape(-1, 2)[around]


def flat_of(bend, **how):
    mesh, outline, true = patch(bend, **how)
    flat = lay_flat(mesh, [outline], seen_from=np.zeros(3), up=UP)
    return flat, outline, true


def corner_distances(points):
    """All distances between the four corners of a rectangle's outline."""
    low, high = points.min(axis=0), points.max(axis=0)
    corners = [
        points[np.argmin(np.hypot(*(points - corner).T))]
        for corner in (low, (high[0], low[1]), high, (low[0], high[1]))
    ]
    return np.array([np.linalg.norm(p - q) for p in corners for q in corners])


def cylinder(x, z, radius=60.0):
    return radius * np.sin(x / radius), radius * np.cos(x / radius), z


def ball(x, z, radius=60.0):
    turn, rise = x / radius, z / radius
    level = radius * np.cos(rise)
    return level * np.sin(turn), level * np.cos(turn), radius * np.sin(rise)


def test_plane_comes_out_as_it_is():
    flat, _, true = flat_of(lambda x, z: (x, 50.0, z))
    assert flat.stretch_percent < 1e-4
    assert corner_distances(flat.outlines[0]) == pytest.approx(
        corner_distances(true), abs=1e-3
    )


def test_cylinder_unrolls_true_to_length():
    flat, _, true = flat_of(cylinder)
    assert flat.stretch_percent < 0.2  # chords of the triangles
    assert corner_distances(flat.outlines[0]) == pytest.approx(
        corner_distances(true), rel=2e-3
    )


def test_ball_cannot_be_laid_flat_and_says_by_how_much():
    small = flat_of(ball, wide=30, high=20)[0]
    large = flat_of(ball, wide=80, high=60)[0]
    assert 0.05 < small.stretch_percent < large.stretch_percent < 15


def test_right_and_up_are_kept_as_seen_from_inside():
    def slanting(x, z):
        return x, 50.0, z + 0.3 * x

    flat = flat_of(slanting)[0].outlines[0]
    right = flat[:, 0] > 0.95 * flat[:, 0].max()
    left = flat[:, 0] < 0.95 * flat[:, 0].min()
    assert flat[right, 1].mean() > flat[left, 1].mean() + 10


def test_hole_in_a_patch_stays_a_hole_of_its_size():
    mesh, outline, _ = patch(cylinder)
    x, _, z = mesh.centroids.T
    kept = np.hypot(60 * np.arcsin(x / 60), z) > 10
    ring = mesh.submesh(kept)
    hole = min(ring.boundary_loops, key=len)
    around = ring.vertices[np.append(hole, hole[0])]
    flat = lay_flat(ring, [outline, around], seen_from=np.zeros(3), up=UP)
    length = np.linalg.norm(np.diff(flat.outlines[1], axis=0), axis=1).sum()
    true = np.linalg.norm(np.diff(around, axis=0), axis=1).sum()
    assert length == pytest.approx(true, rel=0.02)
