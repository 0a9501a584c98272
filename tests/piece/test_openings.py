"""Openings: measured against the tools that cut them, and named."""

from __future__ import annotations

import numpy as np
import pytest
import shells

from fitkit.geometry.mesh import join
from fitkit.piece.facing import facing_faces, split_by_facing, split_from
from fitkit.piece.notes import OpeningNote
from fitkit.piece.openings import find_openings, opening_words


@pytest.fixture(scope="module")
def facing():
    shell = shells.plain_shell(segments=128)
    return split_from(shell.mesh, facing_faces(shell.mesh))


@pytest.fixture(scope="module")
def found(facing):
    return {opening.name: opening for opening in find_openings(facing)}


def note(name, centre, **more) -> OpeningNote:
    return OpeningNote(name=name, centre_mm=centre, **more)


def test_names_are_offered_by_place(found):
    assert list(found) == ["neck", "eye_left", "eye_right", "mouth"]
    assert [o.kind for o in found.values()] == ["neck", "eye", "eye", "mouth"]


def test_left_is_the_wearers_left(found):
    assert found["eye_left"].plane_point[0] < 0 < found["eye_right"].plane_point[0]


def test_the_neck_is_the_circle_that_the_cut_makes(found):
    # a ball of radius 136 cut 110 below its centre: radius sqrt(136² - 110²)
    neck = found["neck"]
    radius = np.sqrt(136**2 - 110**2)
    assert neck.area_mm2 == pytest.approx(np.pi * radius**2, rel=0.005)
    assert neck.width_mm == pytest.approx(2 * radius, rel=0.003)
    assert neck.height_mm == pytest.approx(2 * radius, rel=0.003)
    assert np.allclose(neck.plane_point, [0, 0, -110], atol=0.3)
    assert np.allclose(neck.plane_normal, [0, 0, -1], atol=0.01)


def test_an_eye_is_the_bore_that_made_it(found):
    # a bore of radius 16 along front at right = 32 leaves the ball of radius 136 in a
    # curve whose shadow along front is the bore's own circle
    eye = found["eye_right"]
    shadow = eye.area_mm2 * eye.plane_normal[1]
    assert shadow == pytest.approx(np.pi * 16**2, rel=0.01)
    # height across the bore is not foreshortened
    assert eye.height_mm == pytest.approx(32, abs=0.1)
    # on a ball the rim's plane looks nearly straight out
    outward = eye.plane_point / np.linalg.norm(eye.plane_point)
    assert eye.plane_normal @ outward > 0.999


def test_normals_look_away_from_the_head(found):
    for opening in found.values():
        assert opening.plane_normal @ opening.plane_point > 0


def test_outlines_are_what_the_wearer_sees_looking_out(found):
    eye = found["eye_left"]
    right, up = eye.axes
    assert right[0] > 0.9
    assert up[2] > 0.9
    assert np.cross(right, up) == pytest.approx(-eye.plane_normal)
    back = eye.plane_point + eye.outline @ eye.axes
    assert np.linalg.norm(back - eye.rim, axis=1).max() < 1.5  # how far it leaves its plane
    x, y = eye.outline.T
    assert (x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2 == pytest.approx(eye.area_mm2)


def test_up_means_front_for_an_opening_that_looks_down(found):
    assert np.allclose(found["neck"].axes, [[1, 0, 0], [0, 1, 0]], atol=0.02)


def test_noted_names_take_the_place_of_offered_ones(facing):
    named = [note("left slit", [-30, 125, 3]), note("right slit", [30, 125, 3], kind="eye")]
    names = {o.name: o.kind for o in find_openings(facing, named=named)}
    assert names == {
        "neck": "neck",
        "left slit": "eye",
        "right slit": "eye",
        "mouth": "mouth",
    }


def test_noted_names_go_to_the_nearest_opening_all_together(facing):
    # both notes lie nearer to the left eye; the right one must still get the right eye
    named = [note("a", [-32, 131, 0]), note("b", [-2, 135, 0])]
    by_name = {o.name: o for o in find_openings(facing, named=named)}
    assert by_name["a"].plane_point[0] < 0 < by_name["b"].plane_point[0]


def test_a_noted_opening_that_is_not_there_is_told_with_the_nearest(facing):
    named = [note("eye_lefft", [-32, 131, 90])]
    openings = find_openings(facing, named=named)
    words = opening_words(openings, named=named)
    assert "The notes name eye_lefft at (-32, 131, 90) mm" in words[0]
    assert "nearest is eye_left, 90 mm off. Did you mean 'eye_left'?" in words[0]
    assert words[1].startswith("Found but not in the notes, with the name offered: neck")


def test_nothing_is_said_when_notes_and_openings_agree(facing):
    openings = find_openings(facing)
    named = [note(o.name, tuple(o.plane_point), kind=o.kind) for o in openings]
    assert opening_words(find_openings(facing, named=named), named=named) == ()


def test_an_offered_name_never_doubles_a_noted_one(facing):
    named = [note("mouth", [-32, 131, 0])]
    names = [o.name for o in find_openings(facing, named=named)]
    assert len(set(names)) == len(names)


def test_a_skin_without_a_neck_is_told():
    skin = shells.as_mesh(shells.ball(130))
    openings = find_openings(skin)
    assert openings == ()
    assert "no head can get in" in opening_words(openings, named=())[0]


def test_a_jaw_gap_is_no_opening_but_the_mouth_is():
    head, jaw = shells.jawed_shell()
    split = split_by_facing({"shell": head.mesh, "jaw": jaw.mesh}, surface="solid")
    openings = find_openings(split.facing, part=split.part)
    assert [o.name for o in openings] == ["neck", "eye_left", "eye_right", "mouth"]
    mouth = openings[-1]
    assert mouth.width_mm == pytest.approx(80, abs=12)  # cut 80 wide; seams eat its corners
    assert abs(mouth.plane_point[2] + 68) < 3


def test_the_neck_of_a_jawed_shell_is_cut_from_both_parts():
    head, jaw = shells.jawed_shell()
    whole = split_by_facing({"shell": head.mesh, "jaw": jaw.mesh}, surface="solid")
    neck = find_openings(whole.facing, part=whole.part)[0]
    # ellipsoid 110 x 125 x 135 cut 110 below its centre
    share = 1 - (110 / 135) ** 2
    assert neck.area_mm2 == pytest.approx(np.pi * 110 * 125 * share, rel=0.01)


def test_one_wide_slot_before_both_eyes_is_a_visor():
    slot = shells.box(110, 120, 24, at=(0, 120, 28))
    one = shells.shell(shells.ball(140), shells.ball(136), shells.NECK_CUT, slot)
    surface = split_from(one.mesh, facing_faces(one.mesh))
    assert {o.name: o.kind for o in find_openings(surface)} == {
        "neck": "neck",
        "visor": "eye",
    }


def test_other_holes_are_vents_by_size():
    bores = [shells.rod(r, 120, at=(0, -120, u)) for r, u in ((6, 0), (9, 40))]
    one = shells.shell(shells.ball(140), shells.ball(136), shells.NECK_CUT, *bores)
    surface = split_from(one.mesh, facing_faces(one.mesh))
    vents = find_openings(surface)[1:]
    assert [o.name for o in vents] == ["vent_1", "vent_2"]
    assert vents[0].area_mm2 > vents[1].area_mm2


def test_the_back_of_a_half_mask_is_where_the_head_goes_in():
    mask = shells.half_mask()
    surface = split_from(mask.mesh, facing_faces(mask.mesh))
    openings = find_openings(surface)
    assert [o.name for o in openings] == ["neck", "eye_left", "eye_right"]


def test_parts_side_by_side_are_told_apart_by_the_part_given():
    head, jaw = shells.jawed_shell()
    both = join([head.mesh, jaw.mesh])
    facing = split_from(both, facing_faces(both))
    assert len(find_openings(facing, part=facing.face_parts)) == 4
