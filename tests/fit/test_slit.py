"""Sight slits: closed forms on a plate, and the slit cut out and looked through."""

import numpy as np
import pytest
from plates import ball_piece, faceless, piece_of_solid, plate_piece

from fitkit.errors import BriefError
from fitkit.fit.field import field_of_view
from fitkit.fit.placement import Placement
from fitkit.fit.slit import EVEN, Weighting, best_slits
from fitkit.fit.visual_fields import ReferenceField
from fitkit.geometry.solids import difference, is_solid

ALL = ReferenceField(
    name="all", up_deg=85, down_deg=85, nasal_deg=85, temporal_deg=85, source="none"
)
PAIR = faceless()
#: Both pupils as good as in one place, so that either eye sees what one does.
ONE = faceless(left=(-0.001, 0, 0), right=(0.001, 0, 0))
PLATE = plate_piece([], distance_mm=25, wall_mm=0.001, half_mm=400)


def search(piece=PLATE, wearer=ONE, **how):
    settings = {"weighting": EVEN, "reference": ALL, "eye_height_mm": 1600}
    return best_slits(wearer, piece, Placement(), **{**settings, **how})


def rectangle_sr(half_width, half_height, distance):
    root = np.sqrt(half_width**2 + half_height**2 + distance**2)
    return 4 * np.arctan(half_width * half_height / (distance * root))


def test_slit_in_a_thin_plate_lies_before_the_pupils_and_shows_its_rectangle():
    for slit in search(heights_mm=(6, 12), width_mm=100).best:
        assert slit.above_pupils_mm == pytest.approx(0, abs=0.8)  # 1 degree is 0.4 mm
        assert slit.front_mm == pytest.approx(25, abs=0.01)
        wanted = rectangle_sr(50, slit.height_mm / 2, 25)
        assert slit.either_sr == pytest.approx(wanted, rel=0.03)


def test_higher_slit_sees_more_and_the_price_list_rises_all_the_way():
    best = search(PLATE, PAIR, heights_mm=(2, 4, 8, 12, 20)).best
    seen = [slit.seen_percent for slit in best]
    assert [slit.height_mm for slit in best] == [2, 4, 8, 12, 20]
    assert all(np.diff(seen) > 0)
    assert all(np.diff([slit.light_percent for slit in best]) > 0)


def test_eye_close_to_the_wall_needs_only_a_small_slit():
    near, far = (
        search(
            plate_piece([], distance_mm=d, wall_mm=0.001, half_mm=400), heights_mm=(4, 8)
        )
        for d in (15, 30)
    )
    assert near.eye_to_wall_mm == pytest.approx(15, abs=1e-3)
    assert near.best[0].either_sr == pytest.approx(far.best[1].either_sr, rel=0.1)


def test_slit_narrower_than_the_pupil_gives_less_light_than_sight():
    slit = search(heights_mm=(1.0,), pupil_mm=6).best[0]
    assert slit.light_percent > 0
    whole = search(heights_mm=(20.0,), pupil_mm=6).best[0]
    assert (
        slit.light_percent / slit.seen_percent
        < whole.light_percent / whole.seen_percent + 0.2
    )


def test_weight_on_the_floor_draws_the_slit_down():
    floor = Weighting(name="floor alone", floor_factor=1000)
    low = search(heights_mm=(4,), weighting=floor).best[0]
    even = search(heights_mm=(4,)).best[0]
    assert low.up_mm < even.up_mm - 2
    # floor 1 to 4 m off, seen from 1.6 m up: 22 to 58 degrees, 10 to 40 mm down
    assert -40 < low.up_mm < -10


def test_weighting_counts_the_floor_between_its_two_distances():
    weighting = Weighting(floor_from_mm=1000, floor_to_mm=4000, floor_factor=2)
    down = np.radians([10, 21, 23, 45, 57, 59])
    ways = np.column_stack([np.zeros(6), np.cos(down), -np.sin(down)])
    # 1600 / tan: 9074, 4168, 3769, 1600, 1039, 961 mm away
    assert weighting.of(ways, eye_height_mm=1600).tolist() == [1, 1, 2, 2, 2, 1]


def test_open_area_instead_of_a_width_trades_one_for_the_other():
    slits = search(heights_mm=(4, 8), area_mm2=640).best
    assert [slit.width_mm for slit in slits] == [160, 80]


def test_bridge_in_the_middle_takes_its_width_from_the_view():
    whole = search(heights_mm=(8,), width_mm=100).best[0]
    bridged = search(heights_mm=(8,), width_mm=100, bridge_mm=20).best[0]
    lost = rectangle_sr(10, 4, 25)
    assert whole.either_sr - bridged.either_sr == pytest.approx(lost, rel=0.1)


def test_slit_that_is_cut_shows_what_was_foretold():
    ball = ball_piece(radius_mm=70, wall_mm=4)
    eyes = faceless(left=(-22, 25, 4), right=(22, 25, 4))
    found = search(ball, eyes, heights_mm=(8,), width_mm=110)
    slit = found.best[0]
    solid = difference(ball.design.parts["shell"], slit.tool)
    assert is_solid(solid)
    inward = np.einsum("ij,ij->i", solid.normals, solid.centroids) < 0
    cut = piece_of_solid(solid, back=inward)
    field = field_of_view(eyes, cut, Placement(), reference=ALL, samples=1)
    assert field.worn.either_sr == pytest.approx(slit.either_sr, rel=0.03)
    tilt = np.radians(slit.tilt_deg)
    planes = slit.tool.vertices @ [0, np.sin(tilt), np.cos(tilt)]  # off the ball's middle
    arc = 70 * (np.arcsin(planes.max() / 70) - np.arcsin(planes.min() / 70))
    assert arc == pytest.approx(8, abs=0.1)  # along the outer surface


def test_existing_eye_openings_are_taken_as_filled():
    holes = [((-22, 4), 12.0, "eye_left"), ((22, 4), 12.0, "eye_right")]
    eyes = faceless(left=(-22, 25, 4), right=(22, 25, 4))
    plain, bored = (
        search(
            ball_piece(radius_mm=70, wall_mm=1, holes=h),
            eyes,
            heights_mm=(8,),
            width_mm=110,
        )
        for h in ((), holes)
    )
    assert bored.best[0].either_sr == pytest.approx(plain.best[0].either_sr, rel=0.03)


def test_best_within_a_height_is_found_and_too_little_is_refused():
    found = search(heights_mm=(4, 8))
    assert found.at(6).height_mm == 4
    with pytest.raises(BriefError, match="at least 4 mm"):
        found.at(2)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"heights_mm": ()}, "at least one height"),
        ({"heights_mm": (0,)}, "heights_mm must be 0.2 to 80 mm"),
        ({"width_mm": 0}, "width_mm must be 5 to 400 mm"),
        ({"area_mm2": -5}, "area_mm2 must be 5"),
    ],
)
def test_slits_that_mean_nothing_are_refused(how, words):
    with pytest.raises(BriefError, match=words):
        search(**how)


def test_swapped_floor_distances_are_caught():
    with pytest.raises(BriefError, match="Were the two swapped"):
        Weighting(floor_from_mm=4000, floor_to_mm=1000)
