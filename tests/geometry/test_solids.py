from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.solids import (
    difference,
    intersection,
    is_solid,
    overlap_mm3,
    simplify,
    split_by_plane,
    union,
)


def shifted(mesh: Mesh, *by: float) -> Mesh:
    matrix = np.eye(4)
    matrix[:3, 3] = by
    return mesh.moved(matrix)


def test_boxes_that_overlap_have_the_volumes_of_sums_of_boxes(box):
    a, b = box(10.0, 10.0, 10.0), shifted(box(10.0, 10.0, 10.0), 5.0, 0.0, 0.0)
    assert union(a, b).volume_mm3 == pytest.approx(1500)
    assert difference(a, b).volume_mm3 == pytest.approx(500)
    assert intersection(a, b).volume_mm3 == pytest.approx(500)
    assert overlap_mm3(a, b) == pytest.approx(500)


def test_union_less_overlap_is_the_sum_of_two_balls(ellipsoid):
    a, b = ellipsoid(50.0, 50.0, 50.0), shifted(ellipsoid(40.0, 40.0, 40.0), 30.0, 5.0, 0.0)
    total = union(a, b).volume_mm3 + overlap_mm3(a, b)
    assert total == pytest.approx(a.volume_mm3 + b.volume_mm3, rel=1e-9)


def test_lens_of_two_balls_matches_the_closed_form(ellipsoid):
    # two balls of radius r at distance d share pi (4 r + d) (2 r - d)² / 12
    a = ellipsoid(50.0, 50.0, 50.0, subdivisions=5)
    want = np.pi * (200 + 60) * (100 - 60) ** 2 / 12
    assert overlap_mm3(a, shifted(a, 60.0, 0.0, 0.0)) == pytest.approx(want, rel=5e-3)


def test_solids_apart_overlap_by_nothing(box):
    a, b = box(2.0, 2.0, 2.0), shifted(box(2.0, 2.0, 2.0), 10.0, 0.0, 0.0)
    assert overlap_mm3(a, b) == 0
    with pytest.raises(MeshError, match="intersection is empty"):
        intersection(a, b)


def test_results_are_solids_with_vertices_to_the_last_digit(box):
    made = difference(box(10.0, 10.0, 10.0), box(3.1, 3.1, 30.0))
    assert is_solid(made)
    assert set(np.abs(made.vertices[:, 0]).round(12)) == {5.0, 1.55}


def test_halves_of_a_box_are_solids_and_add_up(box):
    ahead, behind = split_by_plane(
        box(10.0, 10.0, 10.0), point_mm=[0, 0, 2], normal=[0, 0, 2]
    )
    assert ahead.volume_mm3 == pytest.approx(300)
    assert behind.volume_mm3 == pytest.approx(700)
    assert is_solid(ahead)
    assert is_solid(behind)
    assert ahead.bounds_mm[0, 2] == pytest.approx(2)


def test_plane_that_misses_is_refused(box):
    with pytest.raises(MeshError, match="half ahead is empty"):
        split_by_plane(box(2.0, 2.0, 2.0), point_mm=[0, 0, 9], normal=[0, 0, 1])


def test_simpler_copy_stays_within_the_tolerance(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=5)
    simple = simplify(mesh, tolerance_mm=0.2)
    assert len(simple.faces) < len(mesh.faces) / 2
    assert SurfaceTree(simple).nearest(mesh.vertices).distance_mm.max() < 0.2
    assert is_solid(simple)


def test_open_surface_is_not_a_solid_and_is_refused_with_its_holes(cup, box):
    assert not is_solid(cup)
    with pytest.raises(MeshError, match=r"second must be a solid.* 1 holes"):
        union(box(2.0, 2.0, 2.0), cup)


def test_solid_turned_inside_out_is_refused_with_the_cure(box):
    inside_out = box(2.0, 2.0, 2.0).flipped()
    assert not is_solid(inside_out)
    with pytest.raises(MeshError, match=r"Did you mean first\.flipped"):
        union(inside_out, box(2.0, 2.0, 2.0))


# Trap: the solid kernel refuses read-only arrays, and every Mesh array is one.
def test_read_only_arrays_are_taken(box):
    mesh = box(2.0, 2.0, 2.0)
    assert not mesh.vertices.flags.writeable
    assert is_solid(mesh)
