"""Long edges are halved; shape and neighbours stay."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.geometry.refine import split_long_edges


def longest_mm(mesh) -> float:
    ends = mesh.vertices[mesh.edges]
    return float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max())


def test_no_edge_is_longer_than_wanted_and_the_box_is_the_same_box(box):
    fine = split_long_edges(box(200.0, 150.0, 230.0), longest_mm=9.0)
    assert longest_mm(fine) <= 9.0
    assert fine.is_closed
    assert fine.volume_mm3 == pytest.approx(200 * 150 * 230)
    assert fine.area_mm2 == pytest.approx(2 * (200 * 150 + 150 * 230 + 200 * 230))


def test_a_mesh_without_long_edges_is_left_alone(box):
    mesh = box(20.0, 20.0, 20.0)
    assert split_long_edges(mesh, longest_mm=30.0) is mesh


def test_only_long_edges_are_halved(box):
    slab = box(1.0, 1.0, 100.0)
    fine = split_long_edges(slab, longest_mm=51.0)
    assert len(fine.vertices) == len(slab.vertices) + 8  # 4 upright edges, 4 diagonals
    assert fine.is_closed
