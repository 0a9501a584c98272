"""Flattening against surfaces whose flat form or least stretch is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import Delaunay

from fitkit.errors import MeshError
from fitkit.geometry.flatten import edge_parts, flatten, stretches
from fitkit.geometry.mesh import Mesh, join


def grid(rows, columns):
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
    c, d = index[1:, 1:].ravel(), index[1:, :-1].ravel()
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def cylinder_patch(radius=80.0, height=60.0, turn_deg=100.0):
    angle = np.radians(np.linspace(0, turn_deg, 41))
    level = np.linspace(0, height, 21)
    points = [[radius * np.cos(t), radius * np.sin(t), z] for z in level for t in angle]
    return Mesh(np.array(points), grid(21, 41))


def cone_patch(half_apex_deg=30.0, low=60.0, high=160.0, turn_deg=200.0):
    angle, slant = np.radians(np.linspace(0, turn_deg, 61)), np.linspace(low, high, 21)
    sine, cosine = np.sin(np.radians(half_apex_deg)), np.cos(np.radians(half_apex_deg))
    points = [[s * sine * np.cos(t), s * sine * np.sin(t), -s * cosine]
              for s in slant for t in angle]  # fmt: skip
    return Mesh(np.array(points), grid(21, 61))


def cap(half_angle_deg, radius=90.0, rings=24):
    points = [[0.0, 0.0, radius]]
    for ring in range(1, rings + 1):
        tilt = np.radians(half_angle_deg) * ring / rings
        turn = np.linspace(0, 2 * np.pi, 6 * ring, endpoint=False)
        points += [[radius * np.sin(tilt) * np.cos(t), radius * np.sin(tilt) * np.sin(t),
                    radius * np.cos(tilt)] for t in turn]  # fmt: skip
    flat = np.array(points)
    tilt = np.arccos(np.clip(flat[:, 2] / radius, -1, 1))
    turn = np.arctan2(flat[:, 1], flat[:, 0])
    plane = np.column_stack([tilt * np.cos(turn), tilt * np.sin(turn)])
    faces = Delaunay(plane).simplices
    a, b, c = np.moveaxis(plane[faces], 1, 0)
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    faces = faces[np.abs(doubled) > 1e-9]
    doubled = doubled[np.abs(doubled) > 1e-9]
    faces[doubled < 0] = faces[doubled < 0][:, ::-1]
    return Mesh(flat, faces.astype(np.int64))


@pytest.mark.parametrize("make", [cylinder_patch, cone_patch])
def test_cylinders_and_cones_unroll_without_stretch(make):
    sheet = flatten(make())
    assert sheet.worst_percent < 0.05
    assert sheet.flat_area_mm2 == pytest.approx(sheet.mesh.area_mm2, rel=1e-4)


def test_a_cone_unrolls_to_the_sector_of_its_apex():
    # a turn of 200° about a cone of 30° half apex is a sector of 200° sin 30° = 100°
    mesh = cone_patch()
    flat = flatten(mesh).flat.reshape(21, 61, 2)
    first, last = flat[-1, 0] - flat[0, 0], flat[-1, -1] - flat[0, -1]
    turned = np.degrees(np.arccos(first @ last / 100.0**2))
    assert turned == pytest.approx(100.0, abs=0.05)


@pytest.mark.parametrize(
    ("half", "least_ratio", "hoop", "disc_over_cap"),
    [(30, 1.07180, 1.04720, 1.02316), (45, 1.17157, 1.11072, 1.05303),
     (60, 1.33333, 1.20920, 1.09662)],
)  # fmt: skip
def test_a_cap_stretches_between_the_bounds_of_map_makers(
    half, least_ratio, hoop, disc_over_cap
):
    # no flat map has a smaller ratio of scales than 2/(1 + cos c) (Chebyshev, Milnor);
    # ours should be no worse than the azimuthal equidistant, hoop c/sin c, on average
    sheet = flatten(cap(half))
    ratio = sheet.stretch.max() / sheet.stretch.min()
    assert ratio > 1 + 0.9 * (np.sqrt(least_ratio) - 1)
    assert sheet.worst_percent < 100 * (hoop - 1)
    area = sheet.flat_area_mm2 / sheet.mesh.area_mm2
    assert 1 - (disc_over_cap - 1) < area < disc_over_cap


def test_the_azimuthal_map_of_a_cap_has_the_hoop_stretch_of_the_formula():
    # c/sin c at the rim of a 60° cap: 1.20920 shrinks the sheet by that much
    mesh = cap(60)
    tilt = np.arccos(mesh.vertices[:, 2] / 90.0)
    turn = np.arctan2(mesh.vertices[:, 1], mesh.vertices[:, 0])
    flat = 90 * np.column_stack([tilt * np.cos(turn), tilt * np.sin(turn)])
    got = stretches(mesh, flat)
    assert 1 / got.min() == pytest.approx(1.2092, abs=0.012)  # faces inside the rim
    assert got.max() == pytest.approx(1.0, abs=0.005)


def test_flattening_does_not_depend_on_where_the_patch_lies():
    mesh = cap(45)
    turn = np.eye(4)
    turn[:3, :3] = [[0, 0, 1], [1, 0, 0], [0, 1, 0]]
    turn[:3, 3] = 40
    one, other = flatten(mesh), flatten(mesh.moved(turn))
    assert one.worst_percent == pytest.approx(other.worst_percent, abs=0.05)


def test_closed_or_parted_surfaces_are_refused():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    ball = Mesh(corners, np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]))
    with pytest.raises(MeshError, match="0 open loops"):
        flatten(ball)
    two = join([cap(30), cap(45)])
    with pytest.raises(MeshError, match="2 parts"):
        flatten(two)


def test_a_triangle_without_area_is_refused():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]])
    flat = Mesh(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    with pytest.raises(MeshError, match="no area"):
        flatten(flat)


def bow_tie():
    corners = np.array([[0.0, 0, 0], [1, 1, 0], [1, -1, 0], [-1, 1, 0], [-1, -1, 0]])
    return Mesh(corners, np.array([[0, 2, 1], [0, 3, 4]]))


def test_a_surface_pinched_to_a_point_is_refused_and_can_be_parted_there():
    with pytest.raises(MeshError, match="single point"):
        flatten(bow_tie())
    assert [len(part.faces) for part in edge_parts(bow_tie())] == [1, 1]


def test_a_strip_that_only_folds_when_pulled_flat_still_starts_without_folds():
    # nearly closed tube: the conformal start may turn triangles over, the other may not
    sheet = flatten(cylinder_patch(radius=10.0, height=200.0, turn_deg=340.0))
    assert sheet.worst_percent < 0.2
