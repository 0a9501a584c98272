"""Sheets for rays, pushed by the layers of the build-up."""

import numpy as np
import pytest
from plates import ball_piece, box_mesh, faceless, plate_piece, rectangle

from fitkit.fit._layers import Sheet, corner_normals
from fitkit.fit._shell import Shell, own_face
from fitkit.fit.placement import Placement
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh


def shape(name):
    if name == "ball":
        return ball_piece(radius_mm=50, wall_mm=40, segments=64).design.parts["shell"]
    return box_mesh((-20, -30, -10), (20, 30, 10))


@pytest.mark.parametrize("name", ["ball", "box"])
@pytest.mark.parametrize("thickness_mm", [2.0, -1.5])
def test_flat_and_smooth_parts_come_to_lie_at_the_thickness(name, thickness_mm):
    mesh = shape(name)
    pushed = Sheet(mesh).pushed(thickness_mm)
    own = pushed.triangles[: len(mesh.faces)].mean(axis=1)  # the pushed faces come first
    tree = SurfaceTree(mesh)
    wide = mesh.areas_mm2 > 1e-3
    assert tree.signed_mm(own)[wide] == pytest.approx(thickness_mm, abs=0.03)


def test_no_pushed_point_lies_farther_out_than_the_thickness():
    for name in ("ball", "box"):
        mesh = shape(name)
        pushed = Sheet(mesh).pushed(2.0)
        assert SurfaceTree(mesh).signed_mm(pushed.vertices).max() < 2.0 + 1e-6


def test_sharp_edges_part_and_are_bridged():
    box = shape("box")
    pushed = Sheet(box).pushed(1.0)
    assert len(pushed.faces) == 12 + 2 * 12  # two triangles of bridge on each of 12 edges
    ways = corner_normals(box)
    assert np.abs(ways).max(axis=2) == pytest.approx(1)  # along an axis, every one


def test_zero_thickness_is_the_drawn_mesh_itself():
    mesh = shape("ball")
    assert Sheet(mesh).pushed(0.0) is mesh


def test_rim_of_an_open_sheet_gets_a_band_to_the_pushed_edge():
    box = shape("box")
    cup = box.submesh(box.normals[:, 2] < 0.5)  # open above
    pushed = Sheet(cup).pushed(1.0)
    rims = len(cup.boundary_edges)
    creases = int((cup.edge_uses == 2).sum() - (len(cup.faces) / 2))
    assert rims == 4
    assert len(pushed.faces) == len(cup.faces) + 2 * rims + 2 * creases


def test_one_scene_serves_many_poses_and_near_sizes():
    piece = plate_piece([rectangle((-9, 9), (-9, 9))], distance_mm=25, lining_mm=2)
    first = Shell(piece, Placement(size=1.0)).wall
    assert Shell(piece, Placement(size=1.0, shift_mm=(0, 9, 0), pitch_deg=20)).wall is first
    assert Shell(piece, Placement(size=1.01)).wall is first
    assert Shell(piece, Placement(size=1.1)).wall is not first


def test_hit_distances_are_in_head_millimetres_at_any_size():
    piece = plate_piece([], distance_mm=25)
    shell = Shell(piece, Placement(size=1.2, shift_mm=(0, 4, 0)))
    hits = shell.first_hit(np.zeros((1, 3)), np.array([[0, 1.0, 0]]))
    assert hits.distance_mm[0] == pytest.approx(1.2 * 25 + 4)


def test_lids_never_block_their_own_eye_and_block_the_other():
    skin = box_mesh((-60, 6, -40), (60, 7, 40))  # a board 6 mm ahead of both pupils
    many = skin
    for _ in range(6):  # split until the lids can be told from the rest
        many = split(many)
    wearer = faceless(head=many)
    ahead = np.array([[0, 1.0, 0]])
    for side, eye in (("left", wearer.eye_left), ("right", wearer.eye_right)):
        face = own_face(wearer, side)
        assert not face.blocked(eye.entrance_pupil[None], ahead)[0]
        other = wearer.eye_right if side == "left" else wearer.eye_left
        assert face.blocked(other.entrance_pupil[None], ahead)[0]


def split(mesh):
    """Every triangle in four, corners not merged."""
    a, b, c = np.moveaxis(mesh.triangles, 1, 0)
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    soup = np.concatenate(
        [
            np.stack(corners, axis=1)
            for corners in ((a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca))
        ]
    )
    return Mesh(soup.reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3))
