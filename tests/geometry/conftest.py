"""Shapes with known answers, and a stand-in for random rigid motions."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from fitkit.geometry.mesh import Mesh

Shape = Callable[..., Mesh]


@pytest.fixture(scope="session")
def ellipsoid() -> Shape:
    """A closed ellipsoid whose vertices lie on the true surface."""

    def make(a: float, b: float, c: float, *, subdivisions: int = 4) -> Mesh:
        ball = trimesh.creation.icosphere(subdivisions=subdivisions)
        points = ball.vertices / np.linalg.norm(ball.vertices, axis=1, keepdims=True)
        return Mesh(points * [a, b, c], ball.faces)

    return make


@pytest.fixture(scope="session")
def box() -> Shape:
    """A closed box of 12 faces, centred on the origin."""

    def make(right: float, front: float, up: float) -> Mesh:
        block = trimesh.creation.box((right, front, up))
        return Mesh(block.vertices, block.faces)

    return make


@pytest.fixture(scope="session")
def cup(ellipsoid: Shape) -> Mesh:
    """The upper part of a head-size ellipsoid, open below, with a ragged rim."""
    whole = ellipsoid(99.75, 77.165, 115.0)
    return whole.submesh(whole.centroids[:, 2] > -40.0)


@pytest.fixture(scope="session")
def dome() -> Mesh:
    """A hemisphere of radius 100 above the plane up = 0, with a flat smooth rim."""
    around, rings = 128, 32
    turn = np.arange(around) * 2 * np.pi / around
    rise = np.arange(rings)[:, None] * np.pi / 2 / rings
    ring = np.stack([np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn)], axis=2)
    tall = np.broadcast_to(np.sin(rise)[..., None], (rings, around, 1))
    points = np.concatenate([ring, tall], axis=2).reshape(-1, 3)
    a = np.arange((rings - 1) * around).reshape(rings - 1, around)
    b, c, d = np.roll(a, -1, axis=1), np.roll(a, -1, axis=1) + around, a + around
    quads = [
        np.stack(corners, axis=-1).reshape(-1, 3) for corners in ((a, b, c), (a, c, d))
    ]
    last = (rings - 1) * around + np.arange(around)
    cap = np.column_stack([last, np.roll(last, -1), np.full(around, len(points))])
    return Mesh(100 * np.vstack([points, [0, 0, 1]]), np.concatenate([*quads, cap]))


@pytest.fixture(scope="session")
def rigid() -> Callable[[int], np.ndarray]:
    """A rigid motion, shape (4, 4), from a whole number."""

    def make(number: int) -> np.ndarray:
        random = np.random.default_rng(number)
        matrix = np.eye(4)
        matrix[:3, :3] = Rotation.random(rng=random).as_matrix()
        matrix[:3, 3] = random.uniform(-500, 500, 3)
        return matrix

    return make
