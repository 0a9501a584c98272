"""Facing: shells whose every face is known from the tool that cut it (see shells.py)."""

from __future__ import annotations

import numpy as np
import pytest
import shells
from shells import INNER, OUTER, RIM, Shell

from fitkit.errors import DesignError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh, join
from fitkit.piece.facing import (
    facing_faces,
    inward_check,
    split_by_facing,
    split_from,
)
from fitkit.piece.links import face_links


def jawed() -> Shell:
    both = shells.jawed_shell()
    kind = np.concatenate([one.kind for one in both])
    return Shell(join([one.mesh for one in both]), kind)


SHELLS = {
    "plain": shells.plain_shell,
    "ruffled": shells.ruffled_shell,
    "beaked": shells.beaked_shell,
    "jawed": jawed,
    "layered": shells.layered_shell,
    "collared": shells.collared_shell,
}


@pytest.fixture(scope="module", params=SHELLS)
def judged(request) -> tuple[Shell, np.ndarray]:
    shell = SHELLS[request.param]()
    return shell, facing_faces(shell.mesh)


def share(shell: Shell, chosen: np.ndarray, kind: int) -> float:
    area = shell.mesh.areas_mm2
    of_kind = shell.kind == kind
    return float(area[of_kind & chosen].sum() / area[of_kind].sum())


def test_no_face_of_the_outside_is_said_to_face_the_head(judged):
    shell, facing = judged
    assert share(shell, facing, OUTER) == 0.0


def test_the_inner_wall_faces_the_head_to_the_last_half_percent(judged):
    shell, facing = judged
    assert share(shell, facing, INNER) > 0.995


def test_rims_belong_to_neither_side(judged):
    shell, facing = judged
    assert share(shell, facing, RIM) < 0.07


def test_facing_winds_around_the_head_once(judged):
    shell, facing = judged
    surface = split_from(shell.mesh, facing)
    # the solid angle of the openings is what is missing from 1
    assert 0.85 < SurfaceTree(surface).winding(np.array([[0.0, 0.0, 20.0]]))[0] < 1.0


@pytest.mark.parametrize(("name", "loops"), [("plain", 4), ("ruffled", 3), ("beaked", 4)])
def test_each_boundary_loop_is_one_opening_rim(name, loops):
    shell = SHELLS[name]()
    surface = split_from(shell.mesh, facing_faces(shell.mesh))
    assert len(surface.boundary_loops) == loops


def test_the_same_shell_always_gives_the_same_answer():
    shell = shells.ruffled_shell()
    again = Mesh(shell.mesh.vertices, shell.mesh.faces)
    assert np.array_equal(facing_faces(shell.mesh), facing_faces(again))


def test_a_mirrored_shell_gives_the_mirrored_answer():
    shell = shells.beaked_shell()
    mirrored = shell.mesh.moved(np.diag([-1.0, 1, 1, 1]))
    here, there = facing_faces(shell.mesh), facing_faces(mirrored)
    differing = shell.mesh.areas_mm2[here != there].sum()
    assert differing < 0.002 * shell.mesh.areas_mm2[here].sum()


@pytest.mark.parametrize("name", ["beaked", "layered"])
@pytest.mark.parametrize(
    ("shift_mm", "scale", "nod_deg"),
    [
        ((0, 20, 0), 1, 0),
        ((5, -20, -20), 1, 0),
        ((0, 0, 0), 0.85, 20),
        ((0, 0, 10), 1.2, -15),
    ],
)
def test_the_answer_bears_an_origin_size_and_nod_that_are_off(
    name, shift_mm, scale, nod_deg
):
    shell = SHELLS[name]()
    cosine, sine = np.cos(np.radians(nod_deg)), np.sin(np.radians(nod_deg))
    matrix = np.diag([scale, scale, scale, 1.0])
    matrix[:3, :3] @= [[1, 0, 0], [0, cosine, sine], [0, -sine, cosine]]
    matrix[:3, 3] = shift_mm
    moved = Shell(shell.mesh.moved(matrix), shell.kind)
    facing = facing_faces(moved.mesh)
    assert share(moved, facing, OUTER) < 0.001
    assert share(moved, facing, INNER) > 0.99


def test_a_wall_cut_into_needles_is_judged_like_a_whole_one():
    shell = shells.needled_shell()
    facing = facing_faces(shell.mesh)
    assert share(shell, facing, OUTER) == 0.0
    assert share(shell, facing, INNER) > 0.995
    assert len(split_from(shell.mesh, facing).boundary_loops) == 4


def test_a_half_mask_is_judged_though_most_of_the_head_is_bare():
    shell = shells.half_mask()
    facing = facing_faces(shell.mesh)
    assert share(shell, facing, OUTER) < 0.002
    assert share(shell, facing, INNER) > 0.99


def test_a_closed_blob_is_refused_with_the_likely_reason():
    blob = {"shell": shells.as_mesh(shells.ball(130))}
    with pytest.raises(DesignError, match=r'closed skin without a wall.*"outer"'):
        split_by_facing(blob, surface="solid")


def test_a_shell_away_from_the_origin_is_refused():
    away = np.eye(4)
    away[2, 3] = 400.0
    shell = shells.plain_shell().mesh.moved(away)
    with pytest.raises(DesignError, match="Give origin_mm in the notes"):
        split_by_facing({"shell": shell}, surface="solid")


def test_a_skin_away_from_the_origin_is_refused():
    away = np.eye(4)
    away[2, 3] = 400.0
    skin = shells.as_mesh(shells.ball(130)).moved(away)
    with pytest.raises(DesignError, match="surrounds only 0 %"):
        split_by_facing({"skin": skin}, surface="outer")


def test_a_skin_faces_the_head_with_all_of_its_faces():
    skin = shells.as_mesh(shells.ball(130))
    split = split_by_facing({"skin": skin}, surface="inner")
    assert len(split.facing.faces) == len(skin.faces)
    assert inward_check(split.facing) == pytest.approx(1.0)
    assert split.words == ()


def test_a_skin_wound_inward_is_turned_and_that_is_said():
    skin = shells.as_mesh(shells.ball(130)).flipped()
    split = split_by_facing({"skin": skin}, surface="outer")
    assert inward_check(split.facing) == pytest.approx(1.0)
    assert "turned over" in split.words[0]


def test_faces_know_which_part_they_come_from():
    head, jaw = shells.jawed_shell()
    split = split_by_facing({"shell": head.mesh, "jaw": jaw.mesh}, surface="solid")
    area = [split.facing.areas_mm2[split.part == k].sum() for k in (0, 1)]
    inner = [one.mesh.areas_mm2[one.kind == INNER].sum() for one in (head, jaw)]
    assert area == pytest.approx(inner, rel=0.01)


def test_facing_and_skin_together_are_the_whole_solid():
    shell = shells.plain_shell()
    split = split_by_facing({"shell": shell.mesh}, surface="solid")
    assert split.facing.area_mm2 + split.skin.area_mm2 == pytest.approx(shell.mesh.area_mm2)
    assert len(split.facing.faces) + len(split.skin.faces) == len(shell.mesh.faces)


def test_links_tell_a_bulging_edge_from_a_hollow_one():
    cube = shells.as_mesh(shells.box(10, 10, 10))
    sharp = face_links(cube).sharpness_deg
    assert np.allclose(np.unique(sharp.round(6)), [0, 90])
    hollow = face_links(cube.flipped()).sharpness_deg
    assert 0 < hollow.max() < 90


def test_fans_that_touch_in_one_vertex_get_a_vertex_each():
    corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]]
    bow = Mesh(np.array(corners, float), np.array([[0, 1, 2], [0, 3, 4]]))
    split = split_from(bow, np.array([True, True]))
    assert len(split.vertices) == 6
    assert len(split.boundary_loops) == 2
