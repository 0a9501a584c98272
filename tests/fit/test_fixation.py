"""Where a turning eye can look, and where its lines of gaze leave the piece."""

import numpy as np
import pytest
from plates import ellipse, faceless, opening, plate_piece, rectangle
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit.eyeline import eye_line, eye_lines
from fitkit.fit.fixation import GAZE_RANGE, field_of_fixation
from fitkit.fit.placement import Placement
from fitkit.fit.sight import check_sight

LONE = faceless(left=(-600, 0, 0), right=(0, 0, 0))
PAIR = faceless()


def plate(*holes, distance_mm=25, wall_mm=0.001, names=()):
    made = [
        opening(name, hole, distance_mm=distance_mm)
        for name, hole in zip(names, holes, strict=False)
    ]
    return plate_piece(list(holes), distance_mm=distance_mm, wall_mm=wall_mm, openings=made)


def test_turning_eye_sees_less_through_a_hole_than_a_resting_one():
    eye = field_of_fixation(LONE, plate(ellipse(5, 5)), Placement()).right
    limits = [
        getattr(eye.limits, f"{way}_deg") for way in ("up", "down", "nasal", "temporal")
    ]
    assert limits == pytest.approx([FIGURES["hole 5 at 25 turning eye"]] * 4, abs=0.01)


def test_wide_hole_leaves_the_whole_range_of_gaze():
    eye = field_of_fixation(
        LONE, plate(rectangle((-200, 200), (-200, 200))), Placement()
    ).right
    assert eye.percent_of_range == pytest.approx(100)
    assert eye.limits.up_deg == GAZE_RANGE.up_deg
    assert eye.limits.temporal_deg == GAZE_RANGE.temporal_deg


def test_blocked_gaze_has_no_limits_and_no_share():
    eye = field_of_fixation(LONE, plate(), Placement()).right
    assert eye.percent_of_range == 0
    assert np.isnan(eye.limits.up_deg)


def test_straight_ahead_line_agrees_with_the_first_checks():
    holes = ellipse(12, 9, at=(-30, 2)), ellipse(12, 9, at=(35, -3))
    piece = plate(*holes, names=("eye_left", "eye_right"))
    first = check_sight(PAIR, piece, Placement())
    for side in ("left", "right"):
        line = eye_line(PAIR, piece, Placement(), side=side)
        assert line.margin_mm == pytest.approx(first[side].margin_mm)
        assert line.pierces_at == pytest.approx(first[side].pierces_at)
        assert line.correct_right_mm == pytest.approx(first[side].correct_right_mm)
        assert line.correct_up_mm == pytest.approx(first[side].correct_up_mm)


def test_free_cone_about_a_centred_line_is_the_hole_seen_from_the_pupil():
    piece = plate(ellipse(11, 10), names=("eye_right",))
    line = eye_line(LONE, piece, Placement(), side="right")
    assert line.free_cone_deg == pytest.approx(np.degrees(np.arctan(10 / 25)), abs=0.26)
    assert line.blocked_at_mm == np.inf


def test_lowered_gaze_takes_the_pupil_along_and_runs_into_the_wall():
    piece = plate(ellipse(11, 10, at=(0, 0)), names=("eye_right",))
    line = eye_line(LONE, piece, Placement(), side="right", up_deg=-25)
    down = np.radians(25)
    # the pupil is 10.45 mm ahead of the centre of rotation, which is 10.45 mm behind 0
    ahead = 25 + 10.45 - 10.45 * np.cos(down)
    falls = 10.45 * np.sin(down) + ahead * np.tan(down)
    assert line.pierces_at[2] == pytest.approx(-falls, abs=1e-6)
    assert line.blocked_at_mm == pytest.approx(ahead / np.cos(down), abs=1e-3)
    assert line.free_cone_deg == 0
    assert line.margin_mm < 0
    assert line.correct_up_mm < 0  # the opening should come down


def test_report_of_lines_holds_both_eyes_ahead_and_on_stage():
    piece = plate(rectangle((-60, 60), (-10, 10)), names=("visor",))
    lines = eye_lines(PAIR, piece, Placement(), stage_right_deg=5, stage_up_deg=-10)
    assert [(line.side, line.right_deg, line.up_deg) for line in lines] == [
        ("left", 0, 0),
        ("right", 0, 0),
        ("left", 5, -10),
        ("right", 5, -10),
    ]
    assert {line.opening for line in lines} == {"visor"}


def test_piece_without_eye_openings_says_so():
    line = eye_line(LONE, plate(), Placement(), side="right")
    assert line.opening is None
    assert line.blocked_at_mm == pytest.approx(25, abs=1e-3)


def test_opening_before_the_other_eye_is_refused():
    holes = ellipse(8, 8, at=(-32, 0)), ellipse(8, 8, at=(32, 0))
    piece = plate(*holes, names=("eye_right", "eye_left"))
    with pytest.raises(BriefError, match=r"'eye_left'.*swapped in the notes"):
        eye_line(PAIR, piece, Placement(), side="left")


def test_gaze_beyond_what_an_eye_turns_is_refused():
    with pytest.raises(BriefError, match="up_deg must be -60 to 60 deg; got 90"):
        eye_line(LONE, plate(), Placement(), side="right", up_deg=90)
