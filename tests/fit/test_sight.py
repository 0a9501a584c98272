import numpy as np
import pytest
from stand_ins import ball, outline_opening, piece_of, round_opening, wearer_of

from fitkit.fit.brief import Brief
from fitkit.fit.placement import Placement
from fitkit.fit.sight import check_sight, eye_openings, sight_margin_mm

WALL = ball(120, segments=128)
WEARER = wearer_of(ball(90, segments=96))


def piece_with(**holes):
    made = [round_opening(name, **how) for name, how in holes.items()]
    return piece_of(WALL, openings=made)


def ahead(side, *, right=0.0, front=115.0, up=0.0):
    eye = WEARER.eye_left if side == "left" else WEARER.eye_right
    return eye.entrance_pupil * [1, 0, 1] + [right, front, up]


def test_centred_opening_has_its_radius_as_margin():
    piece = piece_with(
        eye_left={"centre": ahead("left"), "radius_mm": 12},
        eye_right={"centre": ahead("right"), "radius_mm": 12},
    )
    for eye in check_sight(WEARER, piece, Placement()).values():
        assert eye.margin_mm == pytest.approx(12, abs=0.03)
        assert eye.correct_right_mm == pytest.approx(0, abs=1e-9)
        assert eye.correct_up_mm == pytest.approx(0, abs=1e-9)


def test_line_pierces_the_plane_straight_ahead_of_the_pupil():
    piece = piece_with(eye_left={"centre": ahead("left", right=5), "radius_mm": 12})
    eye = check_sight(WEARER, piece, Placement())["left"]
    assert eye.pierces_at == pytest.approx(ahead("left"))


def test_offset_opening_tells_each_side_and_the_correction():
    piece = piece_with(eye_left={"centre": ahead("left", right=3, up=-4), "radius_mm": 12})
    eye = check_sight(WEARER, piece, Placement())["left"]
    assert eye.margin_mm == pytest.approx(12 - 5, abs=0.05)
    assert (eye.correct_right_mm, eye.correct_up_mm) == pytest.approx((-3, 4))
    half_height = np.sqrt(12**2 - 3**2)
    assert eye.above_mm == pytest.approx(half_height - 4, abs=0.05)
    assert eye.below_mm == pytest.approx(half_height + 4, abs=0.05)
    half_width = np.sqrt(12**2 - 4**2)
    assert eye.nasal_mm == pytest.approx(half_width + 3, abs=0.05)
    assert eye.temporal_mm == pytest.approx(half_width - 3, abs=0.05)


def test_line_past_the_opening_has_a_negative_margin():
    piece = piece_with(eye_left={"centre": ahead("left", right=20), "radius_mm": 12})
    assert check_sight(WEARER, piece, Placement())["left"].margin_mm == pytest.approx(
        -8, abs=0.05
    )


def test_pupil_to_rim_is_measured_in_space():
    piece = piece_with(eye_left={"centre": ahead("left"), "radius_mm": 12})
    eye = check_sight(WEARER, piece, Placement())["left"]
    front = 115 - WEARER.eye_left.entrance_pupil[1]
    assert eye.pupil_to_rim_mm == pytest.approx(np.hypot(front, 12), abs=0.03)


def test_slanting_opening_is_narrower_as_seen():
    slope = np.radians(60)
    normal = (0, np.cos(slope), np.sin(slope))
    piece = piece_with(
        eye_left={"centre": ahead("left"), "radius_mm": 12, "normal": normal}
    )
    eye = check_sight(WEARER, piece, Placement())["left"]
    assert eye.above_mm == pytest.approx(12 * np.cos(slope), abs=0.05)


def test_cornea_to_wall_is_the_gap_less_the_lining():
    piece = piece_of(WALL, lining_mm=4)
    eye = check_sight(WEARER, piece, Placement())["right"]
    assert eye.cornea_to_wall_mm == pytest.approx(120 - 90 - 4, abs=0.1)


def test_piece_without_eye_openings_says_so():
    eye = check_sight(WEARER, piece_of(WALL), Placement())["left"]
    assert eye.opening is None
    assert np.isnan(eye.margin_mm)
    assert np.isnan(eye.pierces_at).all()


def test_moving_the_piece_by_the_correction_centres_the_opening():
    piece = piece_with(eye_left={"centre": ahead("left", right=3, up=-4), "radius_mm": 12})
    eye = check_sight(WEARER, piece, Placement())["left"]
    moved = Placement(shift_mm=(eye.correct_right_mm, 0, eye.correct_up_mm))
    again = check_sight(WEARER, piece, moved)["left"]
    assert again.margin_mm == pytest.approx(12, abs=0.03)


def test_names_choose_the_openings_whatever_their_place():
    piece = piece_with(
        eye_right={"centre": ahead("left"), "radius_mm": 12},
        eye_left={"centre": ahead("right"), "radius_mm": 12},
    )
    assert eye_openings(piece)["left"].name == "eye_left"


def test_one_visor_serves_both_eyes():
    piece = piece_with(visor={"centre": (0, 115, 10), "radius_mm": 50, "squash": 0.3})
    assert {o.name for o in eye_openings(piece).values()} == {"visor"}


def test_of_two_unnamed_openings_each_eye_has_the_one_on_its_side():
    piece = piece_with(
        one={"centre": ahead("right"), "radius_mm": 12},
        other={"centre": ahead("left"), "radius_mm": 12},
    )
    assert {side: o.name for side, o in eye_openings(piece).items()} == {
        "left": "other",
        "right": "one",
    }


def test_wide_opening_is_asked_for_the_whole_margin():
    opening = round_opening("eye_left", centre=ahead("left"), radius_mm=12)
    assert sight_margin_mm(opening, Brief(eye_margin_mm=2)) == 2


def test_narrow_slit_is_asked_for_nearly_half_its_height():
    slit = [[-15, -0.8], [15, -0.8], [15, 0.8], [-15, 0.8]]
    opening = outline_opening("eye_left", centre=ahead("left"), outline=slit)
    asked = sight_margin_mm(opening, Brief(size_least=1.0, eye_margin_mm=2))
    assert asked == pytest.approx(0.9 * 0.8)
