"""Fields evened out, and surfaces cut at a level, against closed forms on a plane."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay
from scipy.special import erfc

from fitkit.geometry.mesh import Mesh
from fitkit.geometry.regions import clipped, evener


@pytest.fixture(scope="module")
def plane():
    """A square of 120 mm, its net uneven as that of a head is."""
    rng = np.random.default_rng(5)
    step = np.linspace(-60, 60, 41)
    flat = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    inner = np.abs(flat).max(axis=1) < 59
    flat[inner] += rng.uniform(-0.8, 0.8, (inner.sum(), 2))
    return Mesh(np.column_stack([flat, np.zeros(len(flat))]),
                Delaunay(flat).simplices.astype(np.int64))  # fmt: skip


def test_a_step_is_evened_out_to_the_error_function(plane):
    # the heat equation turns a step into erfc(x / (σ √2)) / 2
    across = plane.vertices[:, 0]
    step = np.clip(0.5 - across / 3.0, 0, 1)
    got = evener(plane, spread_mm=12.0)(step)
    middle = np.abs(plane.vertices[:, 1]) < 40
    middle &= np.abs(across) < 30
    true = erfc(across / (12 * np.sqrt(2))) / 2
    assert np.abs(got - true)[middle].max() < 0.03


def test_evening_out_keeps_the_mean_and_what_is_level(plane):
    rng = np.random.default_rng(2)
    values = rng.uniform(size=len(plane.vertices))
    share = np.bincount(plane.faces.ravel(), np.repeat(plane.areas_mm2 / 3, 3))
    got = evener(plane, spread_mm=6.0)(values)
    assert share @ got == pytest.approx(share @ values, rel=1e-9)
    assert np.ptp(got) < np.ptp(values)
    flat = np.full(len(values), 0.7)
    assert evener(plane, spread_mm=6.0)(flat) == pytest.approx(flat)


def test_a_cut_along_a_line_keeps_the_area_on_its_side(plane):
    # x + 0.3 y < 17: an affine field is cut exactly but for ends kept free of slivers
    field = 17 - plane.vertices @ [1, 0.3, 0]
    got = clipped(plane, field, level=0.0)
    assert got.area_mm2 == pytest.approx(120 * (60 + 17), rel=2e-3)
    rest = clipped(plane, -field, level=0.0)
    assert got.area_mm2 + rest.area_mm2 == pytest.approx(120**2, rel=1e-9)
    assert np.all(got.normals[:, 2] * plane.normals[0, 2] > 0)


def test_a_cut_along_a_circle_has_its_area_and_one_edge(plane):
    field = 30 - np.linalg.norm(plane.vertices[:, :2], axis=1)
    got = clipped(plane, field, level=0.0)
    assert got.area_mm2 == pytest.approx(np.pi * 30**2, rel=0.01)
    (loop,) = got.boundary_loops
    assert got.loop_length_mm(loop) == pytest.approx(2 * np.pi * 30, rel=0.01)


def test_nothing_above_the_level_leaves_no_faces(plane):
    assert len(clipped(plane, np.zeros(len(plane.vertices)), level=1.0).faces) == 0
