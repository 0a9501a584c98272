"""Pictures of where tape and caliper go: they show the measure on the head as drawn."""

from __future__ import annotations

import re

import numpy as np
import pytest

from fitkit.panels.pictures import LOOKS, head_box, head_lines, measure_picture
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.template import load_template

PICTURED = [key for key in CATALOGUE if measure_picture(key) is not None]


def points(data: str) -> np.ndarray:
    numbers = re.findall(r"-?\d+\.\d+", data)
    return np.array(numbers, dtype=float).reshape(-1, 2)


def test_all_but_the_standing_eye_height_are_pictured():
    assert set(CATALOGUE) - set(PICTURED) == {"standing_eye_height_mm"}


@pytest.mark.parametrize("look", LOOKS)
def test_the_head_is_drawn_within_its_box(look):
    left, top, width, height = head_box(look)
    drawn = points(head_lines(look))
    assert ((drawn >= [left, top]) & (drawn <= [left + width, top + height])).all()
    # The outline reaches to all four sides: the box has a margin of 8 mm.
    np.testing.assert_allclose(drawn.min(axis=0), [left + 8, top + 8], atol=1.5)
    assert drawn[:, 0].max() == pytest.approx(left + width - 8, abs=1.5)


@pytest.mark.parametrize("look", LOOKS)
def test_looks_are_right_handed_and_seen_from_outside(look):
    view = LOOKS[look]
    np.testing.assert_allclose(np.cross(view.across, view.upward), view.toward, atol=1e-12)
    assert view.upward[2] > 0


@pytest.mark.parametrize("key", PICTURED)
def test_a_measure_runs_over_the_head_in_its_picture(key):
    picture = measure_picture(key)
    left, top, width, height = head_box(picture.look)
    for x, y in points(picture.seen):
        assert left <= x <= left + width
        assert top <= y <= top + height
    assert len(picture.ends) == (0 if CATALOGUE[key].kind == "girth" else 2)


@pytest.mark.parametrize(
    ("key", "first", "second"),
    [
        ("menton_sellion_mm", "menton", "sellion"),
        ("interpupillary_mm", "cornea_right", "cornea_left"),
        ("head_length_mm", "glabella", "opisthocranion"),
        ("bigonial_breadth_mm", "gonion_right", "gonion_left"),
    ],
)
def test_a_caliper_ends_on_its_landmarks(key, first, second):
    template, picture = load_template(), measure_picture(key)
    at = template.mean_mm[[template.landmarks[first], template.landmarks[second]]]
    flat = LOOKS[picture.look].flat(at)
    np.testing.assert_allclose(np.array(picture.ends), flat, atol=0.06)


def test_a_tape_round_the_head_is_half_hidden():
    picture = measure_picture("head_circumference_mm")
    seen, hidden = points(picture.seen), points(picture.hidden)
    assert 0.5 < len(seen) / len(hidden) < 2.0
    assert seen[:, 1].mean() > hidden[:, 1].mean()  # looked at from a little above


@pytest.mark.parametrize("key", [k for k in PICTURED if CATALOGUE[k].kind == "arc"])
def test_an_arc_runs_from_tragion_to_tragion_without_its_chord(key):
    template, picture = load_template(), measure_picture(key)
    tragia = template.mean_mm[
        [template.landmarks["tragion_left"], template.landmarks["tragion_right"]]
    ]
    ends = LOOKS[picture.look].flat(tragia)
    np.testing.assert_allclose(np.array(picture.ends), ends, atol=2.5)
    middle = ends.mean(axis=0)
    drawn = np.vstack([points(picture.seen), points(picture.hidden)])
    assert np.linalg.norm(drawn - middle, axis=1).min() > 12.0
