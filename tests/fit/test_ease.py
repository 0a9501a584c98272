import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from stand_ins import ball, moved_wearer, opened, piece_of, wearer_of

from fitkit.fit.brief import Brief, Ease
from fitkit.fit.ease import ease
from fitkit.fit.placement import Placement
from fitkit.wearer.zones import NECK, ZONES

#: How far the faces of these balls lie inside the true sphere, at most. [mm]
FACET_MM = 0.03
WALL = ball(130, segments=256)


def test_ball_in_a_ball_has_the_difference_of_radii_everywhere():
    got = ease(wearer_of(ball(90, segments=48)), piece_of(WALL), Placement())
    assert got.ease_mm == pytest.approx(40, abs=FACET_MM)


def test_shifted_ball_has_as_much_less_on_the_near_side():
    # The head has a vertex straight ahead: there the gap is R - r - d.
    got = ease(
        wearer_of(ball(90, segments=48)), piece_of(WALL), Placement(shift_mm=(0, -7, 0))
    )
    assert np.nanmin(got.ease_mm) == pytest.approx(33, abs=FACET_MM)
    assert np.nanmax(got.ease_mm) == pytest.approx(47, abs=FACET_MM)


@pytest.mark.parametrize("size", [0.75, 1.2])
def test_size_scales_the_wall_and_not_the_head(size):
    got = ease(wearer_of(ball(90, segments=48)), piece_of(WALL), Placement(size=size))
    assert got.ease_mm == pytest.approx(130 * size - 90, abs=size * FACET_MM)


def test_lining_and_hair_come_off_the_gap_and_do_not_grow_with_size():
    wearer = wearer_of(ball(90, segments=48), hair_mm=5)
    got = ease(wearer, piece_of(WALL, lining_mm=3), Placement(size=1.1))
    assert got.ease_mm == pytest.approx(143 - 90 - 5 - 3, abs=FACET_MM)


def test_clash_is_negative_by_its_depth():
    got = ease(wearer_of(ball(140, segments=48)), piece_of(WALL), Placement())
    assert got.ease_mm == pytest.approx(-10, abs=FACET_MM)


def test_ellipsoid_in_an_ellipsoid_has_the_difference_along_each_axis():
    # Along an axis the nearest point is the pole while the gap is less than the radius
    # of curvature there, as it is here.
    got = ease(
        wearer_of(ball(75, 97, 115)),
        piece_of(ball(95, 120, 140, segments=256)),
        Placement(),
    )
    ends = [np.argmax(ball(75, 97, 115).vertices[:, k]) for k in range(3)]
    assert got.ease_mm[ends] == pytest.approx([20, 23, 25], abs=0.05)


def test_stretched_ball_is_an_ellipsoid():
    size = np.array([1.1, 1.0, 1.05])
    stretched = ease(wearer_of(ball(90)), piece_of(WALL), Placement(size=size))
    drawn = ease(wearer_of(ball(90)), piece_of(WALL.scaled(size)), Placement())
    assert stretched.ease_mm == pytest.approx(drawn.ease_mm, abs=1e-9)


def test_head_and_piece_moved_together_keep_their_ease():
    wearer, piece = wearer_of(ball(75, 97, 115)), piece_of(ball(95, 120, 140, segments=64))
    turn = Rotation.from_euler("ZXY", [20, -10, 5], degrees=True).as_matrix()
    shift = np.array([12.0, -7, 30])
    together = ease(
        moved_wearer(wearer, turn, shift),
        piece,
        Placement(pitch_deg=10, yaw_deg=20, roll_deg=5, shift_mm=shift),
    )
    assert together.ease_mm == pytest.approx(
        ease(wearer, piece, Placement()).ease_mm, abs=1e-9
    )


def test_head_poking_through_an_opening_is_not_a_clash():
    bowl = opened(WALL, below_up_mm=-60)
    got = ease(wearer_of(ball(60, 60, 118, segments=48)), piece_of(bowl), Placement())
    assert np.nanmin(got.ease_mm) > 0


def test_neck_has_no_ease():
    wearer = wearer_of(ball(90, segments=48))
    wearer.zone[wearer.head.vertices[:, 2] < -70] = NECK
    got = ease(wearer, piece_of(WALL), Placement())
    assert np.array_equal(np.isnan(got.ease_mm), wearer.zone == NECK)


def test_zones_tell_their_least_and_where_and_what_is_missing():
    wearer = wearer_of(ball(90, segments=48))
    brief = Brief(ease={"brow": Ease(least_mm=45), "back": Ease(least_mm=5, most_mm=38)})
    got = ease(wearer, piece_of(WALL), Placement(), brief=brief)
    assert list(got.by_zone) == [zone for zone in ZONES if zone in got.by_zone]
    brow, back = got.by_zone["brow"], got.by_zone["back"]
    assert brow.short_mm == pytest.approx(5, abs=FACET_MM)
    assert back.short_mm == 0
    assert back.loose_mm == pytest.approx(2, abs=FACET_MM)
    assert brow.loose_mm == 0
    assert brow.at.tolist() == wearer.head.vertices[brow.vertex].tolist()
    assert got.ease_mm[brow.vertex] == brow.least_mm
    assert got.tightest.zone == "brow"


def test_away_points_to_the_middle_of_a_ball():
    got = ease(wearer_of(ball(90, segments=48)), piece_of(WALL), Placement())
    inward = -ball(90, segments=48).vertices / 90
    assert np.einsum("ij,ij->i", got.away, inward).min() > 0.999
