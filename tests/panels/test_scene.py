"""Meshes as the browser gets them."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.sections import length_mm, section
from fitkit.panels.scene import near_order, piece_bodies, scene_message


def arrays(body):
    points = np.frombuffer(body["points"], "<f4").reshape(-1, 3)
    faces = np.frombuffer(body["faces"], "<u4").reshape(-1, 3)
    return points, faces


def test_bodies_carry_the_meshes_they_are_made_of(wearer, piece):
    message = scene_message(wearer, piece)
    head = next(body for body in message["bodies"] if body["role"] == "head")
    points, faces = arrays(head)
    np.testing.assert_allclose(points, wearer.head.vertices, atol=2e-5)
    assert sorted(map(tuple, faces.tolist())) == sorted(
        map(tuple, wearer.head.faces.tolist())
    )
    np.testing.assert_array_equal(np.frombuffer(message["zone"], np.int8), wearer.zone)


def test_the_finished_inner_wall_lies_at_the_lining_from_the_drawn_one(piece):
    inner = [body for body in piece_bodies(piece) if body.role == "inner"]
    moved = np.vstack([body.mesh.vertices + body.lift_mm for body in inner])
    apart = SurfaceTree(piece.facing).nearest(moved).distance_mm
    assert piece.lining_mm == pytest.approx(3.0)
    assert np.median(apart) == pytest.approx(piece.lining_mm, abs=0.02)
    assert apart.max() <= piece.lining_mm + 1e-6
    towards = np.einsum("ij,ij->i", moved - inner[0].mesh.vertices, inner[0].mesh.vertices)
    assert (towards < 0).all()  # the shell is convex about the origin


def test_hair_is_shown_only_where_there_is_some(wearer):
    roles = {body["role"] for body in scene_message(wearer, None)["bodies"]}
    assert roles == {"head", "hair"}
    bald = replace(wearer, hair_mm=np.zeros_like(wearer.hair_mm))
    assert {body["role"] for body in scene_message(bald, None)["bodies"]} == {"head"}


def test_an_empty_session_has_an_empty_scene():
    message = scene_message(None, None)
    assert message["bodies"] == []
    json.dumps({name: value for name, value in message.items() if name != "zone"})


def test_faces_near_each_other_are_sent_near_each_other(piece):
    order = near_order(piece.facing)
    assert sorted(order.tolist()) == list(range(len(piece.facing.faces)))
    runs = np.array_split(piece.facing.centroids[order], len(order) // 64)
    sizes = [float(np.ptp(run, axis=0).max()) for run in runs]
    assert np.median(sizes) < 0.15 * piece.facing.size_mm.max()


def test_a_jaw_part_goes_with_the_jaw_only_if_there_is_a_hinge(piece):
    assert {body.moves for body in piece_bodies(piece)} == {"piece"}


def test_a_section_of_what_is_sent_is_the_section_of_the_piece(wearer, piece):
    points, faces = arrays(scene_message(wearer, piece)["bodies"][0])
    again = type(wearer.head)(points.astype(float), faces.astype(np.int64))
    cuts = [
        section(mesh, point_mm=(0, 0, 20), normal=(0, 0, 1))
        for mesh in (wearer.head, again)
    ]
    lengths = [sum(length_mm(line) for line in cut) for cut in cuts]
    assert lengths[0] == pytest.approx(lengths[1], abs=0.01)
