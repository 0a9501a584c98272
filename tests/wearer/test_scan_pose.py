"""Scans and landmarks that cannot be stood upright are refused, with their cure."""

from __future__ import annotations

import numpy as np
import pytest
from heads import fsaverage
from scans import FRANKFORT, THREE, person

from fitkit.errors import MeasureError, MeshError
from fitkit.wearer.scan import wearer_from_scan


def refuse(error, words, scan, landmarks):
    with pytest.raises(error, match=words):
        wearer_from_scan(scan, landmarks)


@pytest.mark.parametrize("seed", [2, 5, 6, 7])
@pytest.mark.parametrize("names", [THREE, FRANKFORT])
def test_swapped_sides_are_found_with_their_cure(seed, names):
    who = person(seed)
    other = {"left": "right", "right": "left"}
    swapped = {}
    for name, at in who.some(names).items():
        stem, _, side = name.rpartition("_")
        swapped[f"{stem}_{other[side]}" if side in other else name] = at
    refuse(MeasureError, "swapped.*Exchange every _left with its _right", who.scan, swapped)


def test_swapped_sides_of_a_real_head_are_found():
    mesh, marks = fsaverage()
    swapped = {
        "tragion_left": marks["tragion_right"],
        "tragion_right": marks["tragion_left"],
        "sellion": marks["sellion"],
    }
    refuse(MeasureError, "swapped", mesh, swapped)


def test_one_swapped_pair_is_named():
    who = person(2)
    marks = who.some(FRANKFORT)
    marks["orbitale_left"], marks["orbitale_right"] = (
        marks["orbitale_right"],
        marks["orbitale_left"],
    )
    refuse(
        MeasureError, "orbitale_left lies to the right of orbitale_right", who.scan, marks
    )


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (0.1, "centimetres.*by 10"),
        (0.001, "metres.*by 1000"),
        (1 / 25.4, "inches.*by 25.4"),
    ],
)
def test_wrong_unit_is_named_with_its_factor(factor, words):
    who = person(2)
    marks = {k: v * factor for k, v in who.some(THREE).items()}
    refuse(MeasureError, words, who.scan.scaled(factor), marks)


def test_scan_in_another_unit_than_its_landmarks_is_found():
    who = person(2)
    refuse(MeshError, r"longest side.*in cm", who.scan.scaled(0.1), who.some(THREE))


def test_landmark_off_the_surface_is_named_with_its_distance():
    who = person(2)
    marks = who.some(THREE)
    inward = who.pose.to_scan(np.zeros((1, 3)))[0] - marks["sellion"]
    marks["sellion"] = marks["sellion"] + 30.0 * inward / np.linalg.norm(inward)
    refuse(
        MeasureError, r"sellion must lie within 10 mm.*it lies (2\d|30) mm", who.scan, marks
    )


def test_landmarks_of_another_scan_are_refused():
    who = person(2)
    marks = {k: v + 2000.0 for k, v in who.some(THREE).items()}
    refuse(MeasureError, "Nothing of the scan lies within", who.scan, marks)


@pytest.mark.slow
def test_chin_given_as_sellion_is_refused_by_name():
    who = person(2)
    marks = {**who.some(THREE), "sellion": who.landmarks["menton"]}
    refuse(MeasureError, "sellion|orbitale|tragion|swapped", who.scan, marks)


@pytest.mark.slow
def test_half_a_head_is_too_little():
    who = person(2)
    local = who.pose.to_head(who.scan.centroids)
    by_ear = np.hypot(local[:, 1], local[:, 2]) < 25.0
    bridge = (local[:, 1] > 0) & (np.abs(local[:, 2]) < 15.0)
    front = who.scan.submesh((local[:, 1] > 40.0) | by_ear | bridge)
    refuse(MeshError, r"shows \d+% of scalp and face", front, who.some(THREE))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"selion": [0, 0, 0]}, "Did you mean 'sellion'"),
        ({"menton": [0, 0]}, "menton must be three finite numbers"),
        ({"menton": [0, 0, np.nan]}, "menton must be three finite numbers"),
    ],
)
def test_landmarks_are_checked_by_name_and_number(change, words):
    who = person(2)
    refuse(MeasureError, words, who.scan, {**who.some(THREE), **change})


@pytest.mark.parametrize(
    ("left", "words"),
    [
        (THREE[:2], "sellion, or both orbitale_left and orbitale_right"),
        (("tragion_left", "sellion"), "tragion_right"),
        ((*THREE[:2], "orbitale_left"), "sellion, or both"),
    ],
)
def test_missing_landmarks_are_named(left, words):
    who = person(2)
    refuse(MeasureError, words, who.scan, who.some(left))
