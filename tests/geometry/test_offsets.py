"""Offsets against Steiner's formulas and against exact distances."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad

from fitkit.errors import MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import hull_girth_mm
from fitkit.geometry.solids import difference, is_solid, offset_surface

AXES = (99.75, 77.165, 115.0)
# Volume, area and integral of mean curvature of that ellipsoid, from closed forms.
V_CM3, S_CM2, M_CM = 3707.829, 1184.48, 123.2246


def steiner(volume: float, area: float, curvature: float, r: float) -> tuple[float, float]:
    """J. Steiner (1840): volume and area of a convex body grown by r."""
    grown = volume + area * r + curvature * r**2 + 4 / 3 * np.pi * r**3
    return grown, area + 2 * curvature * r + 4 * np.pi * r**2


def inside_faces(mesh: Mesh) -> np.ndarray:
    weights = np.random.default_rng(4).dirichlet([1, 1, 1], len(mesh.faces))
    return np.einsum("fi,fij->fj", weights, mesh.triangles)


def error_mm(offset: Mesh, of: Mesh, distance_mm: float) -> tuple[float, float]:
    """Worst error of the distance at vertices, and at a random point of each face."""
    tree = SurfaceTree(of)
    at_vertices = tree.nearest(offset.vertices).distance_mm - distance_mm
    in_faces = tree.nearest(inside_faces(offset)).distance_mm - distance_mm
    return float(np.abs(at_vertices).max()), float(np.abs(in_faces).max())


def test_the_curvature_integral_used_here_is_right():
    # M is 4 pi times the mean of the support function sqrt(sum (a_i u_i)²) over u
    def support(polar: float, turn: float) -> float:
        u = np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)
        return float(np.linalg.norm(np.multiply(AXES, u)) * np.sin(polar))

    whole, _ = dblquad(support, 0, 2 * np.pi, 0, np.pi)
    assert whole / 10 == pytest.approx(M_CM, abs=1e-3)


def test_ellipsoid_grown_by_10_mm_has_steiners_volume_and_area(ellipsoid):
    mesh = ellipsoid(*AXES, subdivisions=5)
    grown = offset_surface(mesh, distance_mm=10.0, resolution_mm=5.0)
    volume, area = steiner(V_CM3, S_CM2, M_CM, 1.0)
    assert (volume, area) == pytest.approx((5019.723, 1443.496), abs=0.01)
    # the faceted ellipsoid itself is 0.05 % short in volume
    assert grown.volume_mm3 / 1e3 == pytest.approx(volume, rel=1e-3)
    assert grown.area_mm2 / 1e2 == pytest.approx(area, rel=1e-3)


def test_box_grown_by_10_mm_has_steiners_volume_and_area(box):
    grown = offset_surface(box(200.0, 150.0, 230.0), distance_mm=10.0, resolution_mm=4.0)
    # mean curvature integral of a box is pi (a + b + c)
    volume, area = steiner(6900.0, 2210.0, np.pi * 58.0, 1.0)
    assert (volume, area) == pytest.approx((9296.401, 2586.991), abs=0.01)
    assert grown.volume_mm3 / 1e3 == pytest.approx(volume, rel=1e-4)
    assert grown.area_mm2 / 1e2 == pytest.approx(area, rel=2e-4)
    assert is_solid(grown)


def test_girth_grows_by_two_pi_times_the_pad():
    # any convex ring of length L becomes L + 2 pi r: 574.37 mm and a 10 mm pad, 637.202
    turn = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    ring = np.column_stack([99.75 * np.cos(turn), 77.165 * np.sin(turn)])
    ring *= 574.37 / np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum()
    levels = np.linspace(-40.0, 40.0, 5)
    points = np.vstack([np.column_stack([ring, np.full(240, z)]) for z in levels])
    a = np.arange(4 * 240).reshape(4, 240)
    b, d = np.roll(a, -1, axis=1), a + 240
    c = b + 240
    tube = Mesh(
        points,
        np.concatenate(
            [np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))]
        ),
    )
    padded = offset_surface(tube, distance_mm=10.0, resolution_mm=4.0)
    got = hull_girth_mm(padded, point_mm=[0, 0, 0], normal=[0, 0, 1])
    assert got == pytest.approx(637.202, abs=0.1)


@pytest.mark.parametrize("distance_mm", [10.0, 2.0, -6.0])
def test_closed_offset_is_at_the_true_distance(distance_mm, ellipsoid):
    mesh = ellipsoid(*AXES)
    offset = offset_surface(mesh, distance_mm=distance_mm, resolution_mm=5.0)
    at_vertices, in_faces = error_mm(offset, mesh, abs(distance_mm))
    assert at_vertices < 0.001
    assert in_faces < 0.05
    assert is_solid(offset)
    side = SurfaceTree(mesh).signed_mm(offset.vertices)
    assert np.sign(side).tolist() == [np.sign(distance_mm)] * len(side)


# Trap: a distance grid of 2 mm errs by up to 1 mm within 3 mm of a thin wall.
def test_offset_between_thin_walls_is_exact_although_the_grid_is_coarser(ellipsoid):
    outer = ellipsoid(*AXES, subdivisions=3)
    inner = ellipsoid(97.75, 75.165, 113.0, subdivisions=3)
    shell = difference(outer, inner)  # a wall of 2 mm
    grown = offset_surface(shell, distance_mm=1.0, resolution_mm=4.0)
    at_vertices, in_faces = error_mm(grown, shell, 1.0)
    assert at_vertices < 0.001
    assert in_faces < 0.05
    assert grown.volume_mm3 > shell.volume_mm3


@pytest.mark.parametrize("distance_mm", [8.0, 1.0, -1.0, -8.0])
def test_open_offset_keeps_its_side_and_its_distance(distance_mm, dome):
    offset = offset_surface(dome, distance_mm=distance_mm, resolution_mm=4.0)
    radius = np.linalg.norm(offset.vertices, axis=1)
    # the dome is faceted: up to 0.07 mm inside its sphere
    assert radius == pytest.approx(np.full(len(radius), 100 + distance_mm), abs=0.1)
    at_vertices, in_faces = error_mm(offset, dome, abs(distance_mm))
    assert at_vertices < 0.001
    assert in_faces < 0.05


@pytest.mark.parametrize("distance_mm", [8.0, -8.0])
def test_open_offset_ends_straight_above_the_rim(distance_mm, dome):
    offset = offset_surface(dome, distance_mm=distance_mm, resolution_mm=4.0)
    assert len(offset.boundary_loops) == 1
    rim = offset.vertices[offset.boundary_loops[0]]
    # square to the lowest facets, which lean inward by half of 90°/32
    height = distance_mm * np.sin(np.radians(90 / 32 / 2))
    assert rim[:, 2] == pytest.approx(np.full(len(rim), height), abs=0.1)
    assert offset.area_mm2 == pytest.approx(2 * np.pi * (100 + distance_mm) ** 2, rel=0.005)


def test_open_offset_is_wound_like_the_surface(dome):
    for distance_mm in (6.0, -6.0):
        offset = offset_surface(dome, distance_mm=distance_mm, resolution_mm=5.0)
        outward = np.einsum("ij,ij->i", offset.normals, offset.centroids)
        assert np.all(outward[offset.areas_mm2 > 1e-3] > 0)


def test_small_offset_is_found_on_a_coarse_grid(dome):
    offset = offset_surface(dome, distance_mm=0.3, resolution_mm=8.0)
    assert error_mm(offset, dome, 0.3)[0] < 0.001
    assert offset.area_mm2 == pytest.approx(dome.area_mm2, rel=0.02)


def test_offset_is_the_same_twice(cup):
    first, second = (
        offset_surface(cup, distance_mm=-4.0, resolution_mm=6.0) for _ in range(2)
    )
    assert np.array_equal(first.vertices, second.vertices)
    assert np.array_equal(first.faces, second.faces)


def test_offset_deeper_than_the_body_is_refused(box):
    with pytest.raises(MeshError, match="thinner than twice that"):
        offset_surface(box(20.0, 20.0, 20.0), distance_mm=-15.0, resolution_mm=2.0)


@pytest.mark.parametrize("distance_mm", [0.0, 500.0, np.nan])
def test_distance_out_of_range_is_refused(distance_mm, box):
    with pytest.raises(MeshError, match=r"distance_mm must be 0\.01 to 200 mm"):
        offset_surface(box(9.0, 9.0, 9.0), distance_mm=distance_mm, resolution_mm=1.0)


@pytest.mark.parametrize("resolution_mm", [0.0, 0.01, 1e4])
def test_resolution_out_of_range_is_refused_with_the_least(resolution_mm, box):
    with pytest.raises(MeshError, match=r"resolution_mm must be 0\.576169 to 339\.706 mm"):
        offset_surface(
            box(200.0, 150.0, 230.0), distance_mm=5.0, resolution_mm=resolution_mm
        )
