import numpy as np
import pytest
from stand_ins import ball, piece_of, round_opening, wearer_of

from fitkit.fit.jaw import check_jaw, mouth_opening
from fitkit.fit.placement import Placement

WALL = ball(120, segments=64)
WEARER = wearer_of(ball(90, segments=64), chin_pole=(0, 10, -30))


def test_hinge_is_compared_with_the_chin_pole_in_side_view():
    jaw = check_jaw(WEARER, piece_of(WALL, hinge_mm=(14, -33)), Placement())
    assert (jaw.offset_front_mm, jaw.offset_up_mm) == pytest.approx((4, -3))
    assert jaw.distance_mm == pytest.approx(5)
    assert jaw.has_hinge


def test_hinge_moves_with_the_piece():
    piece = piece_of(WALL, hinge_mm=(10, -30))
    placement = Placement(size=1.1, shift_mm=(9, 2, -1))
    jaw = check_jaw(WEARER, piece, placement)
    assert jaw.hinge_at == pytest.approx([9, 13, -34])


def test_moving_sideways_costs_no_hinge_distance():
    piece = piece_of(WALL, hinge_mm=(10, -30))
    assert check_jaw(WEARER, piece, Placement(shift_mm=(15, 0, 0))).distance_mm == 0


def test_piece_without_a_hinge_says_so():
    jaw = check_jaw(WEARER, piece_of(WALL), Placement())
    assert not jaw.has_hinge
    assert np.isnan(jaw.distance_mm)


def test_mouth_opening_is_compared_with_the_stomion():
    stomion = WEARER.landmarks["stomion"]
    mouth = round_opening(
        "gape", centre=stomion + np.array([2, 20, -5]), radius_mm=10, kind="mouth"
    )
    jaw = check_jaw(WEARER, piece_of(WALL, openings=[mouth]), Placement())
    assert (jaw.mouth_opening, jaw.mouth_right_mm) == ("gape", pytest.approx(2))
    assert jaw.mouth_up_mm == pytest.approx(-5)


def test_piece_without_a_mouth_says_so():
    piece = piece_of(WALL, openings=[round_opening("a", centre=(0, 0, 0), radius_mm=5)])
    assert mouth_opening(piece) is None
    assert np.isnan(check_jaw(WEARER, piece, Placement()).mouth_up_mm)
