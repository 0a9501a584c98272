"""The template: a closed head in its frame, whose modes keep the frame."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from heads import mean_head

from fitkit.geometry.crossings import crossing_faces
from fitkit.geometry.distance import SurfaceTree
from fitkit.wearer.build import head_model
from fitkit.wearer.template import Template, load_template, save_template
from fitkit.wearer.zones import NECK, ZONES


@pytest.fixture(scope="module")
def template():
    return head_model()[0]


def place(template, name):
    return template.mean_mm[template.landmarks[name]]


def test_mean_head_is_closed_without_handles_and_does_not_cross_itself(template):
    head = mean_head()
    assert head.is_closed
    assert head.volume_mm3 > 0
    assert 5_000 <= template.n_vertices <= 15_000
    assert len(head.vertices) - len(head.edges) + len(head.faces) == 2  # Euler, a sphere
    assert head.face_parts.max() == 0
    assert len(crossing_faces(head)) == 0


def test_angle_defects_add_to_720_degrees():
    # Descartes: the defects of a closed surface without handles add to two full turns.
    head = mean_head()
    around = np.bincount(head.faces.ravel(), head.corner_angles_deg.ravel())
    assert (360.0 - around).sum() == pytest.approx(720.0, abs=1e-6)


def test_frame_is_that_of_the_tragia_and_the_orbitalia(template):
    # Frankfort: both tragia and the lower orbital margins in one level plane.
    left, right = place(template, "tragion_left"), place(template, "tragion_right")
    np.testing.assert_allclose(left + right, 0, atol=1e-9)
    np.testing.assert_allclose((right - left)[1:], 0, atol=1e-9)
    assert right[0] > 0
    eyes = place(template, "orbitale_left") + place(template, "orbitale_right")
    assert eyes[2] == pytest.approx(0, abs=1e-9)


def test_every_mode_keeps_the_frame(template):
    at, modes = template.landmarks, template.modes_mm
    left, right = modes[at["tragion_left"]], modes[at["tragion_right"]]
    step = 0.005  # half precision on a mode of 5 mm
    np.testing.assert_allclose(left + right, 0, atol=step)
    np.testing.assert_allclose((right - left)[1:], 0, atol=step)
    eyes = modes[at["orbitale_left"], 2] + modes[at["orbitale_right"], 2]
    np.testing.assert_allclose(eyes, 0, atol=step)


@pytest.mark.parametrize(
    ("higher", "lower"),
    [
        ("vertex", "glabella"),
        ("glabella", "sellion"),
        ("sellion", "pronasale"),
        ("pronasale", "subnasale"),
        ("subnasale", "stomion_upper"),
        ("stomion_lower", "pogonion"),
        ("pogonion", "menton"),
        ("menton", "infrathyroid"),
        ("infrathyroid", "neck_front"),
        ("tragion_right", "gonion_right"),
        ("tragion_left", "gonion_left"),
    ],
)
def test_landmarks_follow_each_other_down_the_head(template, higher, lower):
    assert place(template, higher)[2] > place(template, lower)[2]


@pytest.mark.parametrize(
    ("front", "behind"),
    [
        ("pronasale", "sellion"),
        ("sellion", "ectocanthus_right"),
        ("cornea_right", "ectocanthus_right"),
        ("pogonion", "menton"),
        ("menton", "gonion_right"),
        ("tragion_right", "opisthocranion"),
    ],
)
def test_landmarks_follow_each_other_back(template, front, behind):
    assert place(template, front)[1] > place(template, behind)[1]


def test_left_landmarks_lie_left_and_mirror_the_right_ones(template):
    for name in template.landmarks:
        if name.endswith("_right"):
            right = place(template, name)
            left = place(template, name.replace("_right", "_left"))
            assert right[0] > 5 > -5 > left[0], name
            np.testing.assert_allclose(left * [-1, 1, 1], right, atol=3.0, err_msg=name)


@pytest.mark.parametrize(
    ("landmark", "zone"),
    [
        ("glabella", "brow"),
        ("vertex", "crown"),
        ("opisthocranion", "back"),
        ("pronasale", "nose"),
        ("stomion_upper", "mouth"),
        ("pogonion", "chin"),
        ("menton", "chin"),
        ("ectocanthus_left", "eye_left"),
        ("ectocanthus_right", "eye_right"),
        ("gonion_left", "cheek_left"),
        ("gonion_right", "cheek_right"),
    ],
)
def test_landmarks_lie_in_their_zones(template, landmark, zone):
    assert ZONES[template.zone[template.landmarks[landmark]]] == zone


def test_zones_are_all_there_and_each_side_is_on_its_side(template):
    right = template.mean_mm[: template.n_vertices, 0]
    assert set(template.zone) == {NECK, *range(len(ZONES))}
    for index, name in enumerate(ZONES):
        if name.endswith(("_left", "_right")):
            sign = 1 if name.endswith("_right") else -1
            assert (right[template.zone == index] * sign > 0).all(), name


def test_hair_blends_between_zones_and_never_adds_up_to_more_than_all(template):
    blend = template.zone_blend
    assert blend.shape == (template.n_vertices, len(ZONES))
    assert blend.min() >= 0
    assert blend.sum(axis=1).max() <= 1.002  # half precision
    crown = template.zone == ZONES.index("crown")
    assert np.median(blend[crown, ZONES.index("crown")]) > 0.95


def test_corneas_stand_on_the_eyes_and_bulge_forward(template):
    head = mean_head()
    for side in ("left", "right"):
        cornea = place(template, f"cornea_{side}")
        assert np.sqrt(SurfaceTree(head).squared(cornea[None])[0][0]) < 2.0
        inner, outer = (place(template, f"{c}ocanthus_{side}") for c in ("end", "ect"))
        assert cornea[1] > outer[1]
        assert min(inner[0], outer[0]) < cornea[0] < max(inner[0], outer[0])


def test_mean_head_is_its_own_mirror_image(template):
    head = mean_head()
    off = np.sqrt(SurfaceTree(head).squared(head.vertices * [-1.0, 1, 1])[0])
    assert np.sqrt(np.mean(off**2)) < 0.3
    assert abs(place(template, "sellion")[0]) < 0.3


def test_loaded_once_and_never_changed():
    first, second = load_template(), load_template()
    assert first is second
    for array in (first.mean_mm, first.modes_mm, first.faces, first.zone, first.zone_blend):
        assert not array.flags.writeable


def test_saved_template_comes_back_to_half_precision(template, tmp_path):
    few = replace(template, modes_mm=template.modes_mm[:, :, :5])
    save_template(few, tmp_path / "head.npz")
    back = load_template(tmp_path / "head.npz")
    assert isinstance(back, Template)
    assert dict(back.landmarks) == dict(few.landmarks)
    np.testing.assert_array_equal(back.mean_mm, few.mean_mm)
    np.testing.assert_array_equal(back.faces, few.faces)
    np.testing.assert_array_equal(back.zone, few.zone)
    np.testing.assert_allclose(back.modes_mm, few.modes_mm, rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(back.zone_blend, few.zone_blend, atol=1e-3)
