from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh, join

REFERENCE = Path(__file__).parents[1] / "reference"
AREAS = pd.read_csv(REFERENCE / "ellipsoid_areas.csv", comment="#")


@pytest.mark.parametrize("row", list(AREAS.itertuples()), ids=str)
def test_ellipsoid_area_matches_the_published_table(row, ellipsoid):
    coarse = ellipsoid(row.a, row.b, row.c, subdivisions=5).area_mm2
    fine = ellipsoid(row.a, row.b, row.c, subdivisions=6).area_mm2
    # inscribed facets fall short by a term that drops fourfold with each halving
    assert fine + (fine - coarse) / 3 == pytest.approx(row.area, rel=2e-4)


def test_ellipsoid_volume_matches_the_closed_form(ellipsoid):
    # 4/3 pi a b c of a head-size ellipsoid is 3707.829 cm³
    coarse = ellipsoid(99.75, 77.165, 115.0, subdivisions=4).volume_mm3
    fine = ellipsoid(99.75, 77.165, 115.0, subdivisions=5).volume_mm3
    assert fine + (fine - coarse) / 3 == pytest.approx(3707.829e3, rel=2e-5)


def angle_defects_deg(mesh: Mesh) -> np.ndarray:
    turned = np.bincount(mesh.faces.ravel(), mesh.corner_angles_deg.ravel())
    return 360 - turned


# Descartes' theorem: the defects of any closed surface without handles sum to 720°;
# 90° at each corner of a cube, 36° at each corner of a dodecahedron.
def test_angle_defects_of_closed_meshes_sum_to_720_degrees(ellipsoid, box):
    for mesh in (ellipsoid(99.75, 77.165, 115.0), box(200.0, 150.0, 230.0)):
        assert angle_defects_deg(mesh).sum() == pytest.approx(720, abs=1e-7)


def test_angle_defect_at_each_corner_of_a_box_is_90_degrees(box):
    assert angle_defects_deg(box(200.0, 150.0, 230.0)) == pytest.approx(np.full(8, 90.0))


def test_angle_defects_of_a_torus_cancel():
    ring = trimesh.creation.torus(90.0, 30.0)
    assert angle_defects_deg(Mesh(ring.vertices, ring.faces)).sum() == pytest.approx(
        0, abs=1e-6
    )


def test_open_rim_is_found_as_one_loop_of_the_right_length(dome):
    loops = dome.boundary_loops
    assert len(loops) == 1
    assert dome.loop_length_mm(loops[0]) == pytest.approx(2 * np.pi * 100, rel=2e-3)


def test_rim_loop_runs_with_the_surface_on_its_left(dome):
    ring = dome.vertices[dome.boundary_loops[0]]
    turn = np.cross(ring, np.roll(ring, -1, axis=0)).sum(axis=0)
    assert turn[2] > 0  # the dome is above: counter-clockwise from outside, below it


def test_closed_mesh_is_told_from_open_and_from_badly_wound(ellipsoid, cup):
    whole = ellipsoid(90.0, 80.0, 110.0, subdivisions=2)
    badly = np.array(whole.faces)
    badly[7] = badly[7, ::-1]
    assert whole.is_closed
    assert not cup.is_closed
    assert not Mesh(whole.vertices, badly).is_closed


def test_volume_is_negative_when_wound_inward(box):
    assert box(2.0, 3.0, 4.0).flipped().volume_mm3 == pytest.approx(-24.0)


def test_vertex_normals_of_a_box_point_along_its_diagonals(box):
    cube = box(2.0, 2.0, 2.0)
    assert cube.vertex_normals == pytest.approx(cube.vertices / np.sqrt(3))


@settings(max_examples=25, deadline=None)
@given(number=st.integers(0, 10**6))
def test_rigid_motion_keeps_area_volume_and_angles(number, ellipsoid, rigid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=2)
    moved = mesh.moved(rigid(number))
    assert moved.area_mm2 == pytest.approx(mesh.area_mm2, rel=1e-9)
    assert moved.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-9)
    assert moved.corner_angles_deg == pytest.approx(mesh.corner_angles_deg, abs=1e-7)


def test_mirroring_keeps_faces_outward(ellipsoid):
    mesh = ellipsoid(99.75, 77.165, 115.0, subdivisions=2)
    assert mesh.scaled([-1, 1, 1]).volume_mm3 == pytest.approx(mesh.volume_mm3)


def test_scaling_each_axis_scales_volume_by_the_product(box):
    assert box(2.0, 3.0, 4.0).scaled([1, 2, 3]).volume_mm3 == pytest.approx(24 * 6)


def test_parts_are_told_apart_and_joined_again(box):
    small, large = box(2.0, 2.0, 2.0), box(9.0, 9.0, 9.0).scaled(1)
    pair = join([small, large.moved(np.eye(4) + 20 * np.eye(4, k=3))])
    volumes = sorted(part.volume_mm3 for part in pair.parts())
    assert volumes == pytest.approx([8, 729])


def test_submesh_keeps_the_order_of_vertices(cup):
    chosen = np.arange(40, 90)
    part = cup.submesh(chosen)
    assert np.array_equal(part.vertices, cup.vertices[np.unique(cup.faces[chosen])])
    assert np.array_equal(part.triangles, cup.triangles[chosen])


def test_arrays_cannot_be_changed_from_outside(box):
    mine = np.array(box(2.0, 2.0, 2.0).vertices)
    mesh = Mesh(mine, box(2.0, 2.0, 2.0).faces)
    mine[0] = 99.0
    assert mesh.size_mm == pytest.approx([2, 2, 2])
    with pytest.raises(ValueError, match="read-only"):
        mesh.vertices[0] = 99.0
    with pytest.raises(ValueError, match="read-only"):
        mesh.normals[0] = 0.0


def test_pickled_mesh_comes_back_read_only(box):
    back = pickle.loads(pickle.dumps(box(2.0, 3.0, 4.0)))
    assert back.volume_mm3 == pytest.approx(24)
    assert not back.vertices.flags.writeable


@pytest.mark.parametrize(
    ("vertices", "faces", "words"),
    [
        (np.zeros((3, 2)), [[0, 1, 2]], r"shape \(n, 3\)"),
        (np.zeros((0, 3)), np.zeros((0, 3), int), "n > 0"),
        ([[0, 0, 0], [1, np.nan, 0], [0, 1, 0]], [[0, 1, 2]], "first at row 1"),
        (np.eye(3), [[0, 1, 3]], "count from 1"),
        (np.eye(3), [[0.0, 1.0, 2.0]], "whole numbers"),
        (np.eye(3), [[0, 1, 2, 0]], "Split polygons"),
    ],
)
def test_bad_arrays_are_refused_in_words(vertices, faces, words):
    with pytest.raises(MeshError, match=words):
        Mesh(vertices, faces)


def test_joining_nothing_is_refused():
    with pytest.raises(MeshError, match="at least one"):
        join([])
