"""The floor ahead, against right triangles."""

from types import SimpleNamespace

import numpy as np
import pytest
from plates import ellipse, faceless, plate_piece, rectangle
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit.floor import down_needed_deg, floor_distance_mm, floor_view
from fitkit.fit.placement import Placement

EYES = faceless(left=(-0.001, 0, 0), right=(0.001, 0, 0))  # as good as one eye


def window(down_deg, *, up_deg=30, half_width_mm=1500.0, distance_mm=25.0):
    low, high = (distance_mm * np.tan(np.radians(angle)) for angle in (-down_deg, up_deg))
    hole = rectangle((-half_width_mm, half_width_mm), (low, high))
    return plate_piece([hole], distance_mm=distance_mm, wall_mm=0.001)


@pytest.mark.parametrize("down", [10, 15, 20, 30, 45, 60])
def test_nearest_floor_is_height_over_tangent(down):
    figure = 1000 * FIGURES[f"floor at {down} deg"]
    assert floor_distance_mm(eye_height_mm=1600, down_deg=down) == pytest.approx(
        figure, abs=0.6
    )
    view = floor_view(EYES, window(down), Placement(), eye_height_mm=1600)
    assert view.bows[0].nearest_mm == pytest.approx(figure, rel=1e-3)


@pytest.mark.parametrize(("metres", "name"), [(1.4, "1.4"), (4, "4"), (6, "6")])
def test_angle_needed_for_a_distance(metres, name):
    got = down_needed_deg(eye_height_mm=1600, distance_mm=1000 * metres)
    assert got == pytest.approx(FIGURES[f"down for {name} m"], abs=0.005)


def test_bowing_the_head_adds_its_angle():
    view = floor_view(
        EYES, window(20), Placement(), eye_height_mm=1600, bows_deg=[0, 10, 25]
    )
    wanted = [1600 / np.tan(np.radians(20 + bow)) for bow in (0, 10, 25)]
    assert [bow.nearest_mm for bow in view.bows] == pytest.approx(wanted, rel=1e-3)


def test_bow_for_two_steps_is_what_is_missing_of_the_angle():
    view = floor_view(EYES, window(20), Placement(), eye_height_mm=1600, step_mm=700)
    assert view.bow_for_two_steps_deg == np.ceil(FIGURES["down for 1.4 m"] - 20)


def test_width_of_floor_is_that_of_the_window_seen_from_the_eye():
    half, distance = 8.0, 25.0
    piece = window(60, half_width_mm=half, distance_mm=distance)
    view = floor_view(EYES, piece, Placement(), eye_height_mm=1600, step_mm=1000)
    # a point x ahead and y aside passes the window at y / x * distance
    assert view.bows[0].one_step_width_mm == pytest.approx(
        2 * half / distance * 1000, abs=2
    )
    assert view.bows[0].two_steps_width_mm == pytest.approx(
        2 * half / distance * 2000, abs=2
    )


def test_second_window_lower_down_shows_a_second_stretch_of_floor():
    upper = rectangle((-100, 100), (-5, 5))
    lower = rectangle((-100, 100), (-40, -30))
    piece = plate_piece([upper, lower], distance_mm=25, wall_mm=0.001)
    (near, far) = floor_view(EYES, piece, Placement(), eye_height_mm=1600).bows[0].ahead_mm
    assert near == pytest.approx((1600 * 25 / 40, 1600 * 25 / 30), rel=1e-3)
    assert far[0] == pytest.approx(1600 * 25 / 5, rel=1e-3)


def test_gap_between_two_stretches_is_not_taken_for_floor():
    upper = rectangle((-100, 100), (-15, 5))
    lower = rectangle((-100, 100), (-40, -30))
    piece = plate_piece([upper, lower], distance_mm=25, wall_mm=0.001)
    level = floor_view(EYES, piece, Placement(), eye_height_mm=1600).bows[0]
    assert level.words() == "the floor is seen from 1.0 to 1.3 m and from 2.7 m on"
    assert level.shows(1100, 1300)
    assert not level.shows(1100, 2800)
    assert not level.shows(1400, 1400)


def test_record_s_eye_height_is_used_and_a_missing_one_is_confessed():
    reading = SimpleNamespace(mean_mm=1500.0)
    tall = faceless(readings={"standing_eye_height_mm": reading})
    assert floor_view(tall, window(30), Placement()).eye_height_from == "record"
    assert floor_view(tall, window(30), Placement()).eye_height_mm == 1500
    view = floor_view(EYES, window(30), Placement())
    assert view.eye_height_from == "assumed"
    assert any("not in the record" in caution for caution in view.cautions)


def test_cautions_grow_as_the_view_of_the_floor_shrinks_and_never_promise_safety():
    said = {
        down: floor_view(EYES, window(down), Placement(), eye_height_mm=1600).cautions
        for down in (60, 40, 10)
    }
    assert said[60] == ()
    assert len(said[40]) == len(said[10]) == 2
    assert "from 1.9 m on" in said[40][0]
    assert "from 9.1 m on" in said[10][0]
    assert not any("safe" in words for each in said.values() for words in each)


def test_no_floor_at_all_is_said():
    piece = plate_piece([ellipse(5, 5, at=(0, 12))], distance_mm=25, wall_mm=0.001)
    view = floor_view(EYES, piece, Placement(), eye_height_mm=1600)
    assert np.isnan(view.bows[0].nearest_mm)
    assert view.bows[0].ahead_mm == ()
    assert "no floor is seen" in view.cautions[0]


def test_eye_height_in_centimetres_is_caught():
    with pytest.raises(BriefError, match="Did you mean 1540 mm"):
        floor_view(EYES, window(30), Placement(), eye_height_mm=154)
