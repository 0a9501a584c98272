import numpy as np
import pytest
from jaws import box, chin_about, jaw_piece

from fitkit.errors import BriefError
from fitkit.fit.jaw_hinge import HingeRegion, move_hinge, solve_hinge, try_hinge
from fitkit.fit.jaw_parts import hang
from fitkit.fit.jaw_travel import Contact
from fitkit.fit.placement import Placement

POLE = np.array([4.0, -36.0])
CHIN = chin_about(POLE, full_deg=25.0)
#: Under the chin, and in front of it.
CONTACTS = (
    Contact(name="under", at_mm=np.array([0.0, 80, -92]), outward=np.array([0.0, 0, -1])),
    Contact(name="front", at_mm=np.array([0.0, 95, -75]), outward=np.array([0.0, 1, 0])),
)
#: Side plates that carry the bolt, and a jaw far below them that nothing hits.
PLATES = box((-70, -60, -90), (-64, 60, 30)) + box((64, -60, -90), (70, 60, 30))
LOW_JAW = box((-40, 20, -140), (40, 110, -122))


def hung(hinge_at=(10.0, -22.0), shell=PLATES, jaw=LOW_JAW, stops=(0.0, 25.0)):
    return hang(
        jaw_piece(jaw=jaw, shell=shell, hinge_at=hinge_at, stops=stops), Placement()
    )


def test_best_hinge_of_a_chin_that_turns_about_a_point_is_that_point():
    answer = solve_hinge(CHIN, hung(), CONTACTS)
    assert answer.at_mm[1:] == pytest.approx(POLE, abs=0.3)
    assert answer.best.misfit_mm < 0.2
    assert answer.best_from_pole_mm < 0.4
    assert answer.drawn_from_pole_mm == pytest.approx(np.hypot(6, 14))
    assert answer.drawn.misfit_mm > 5 * answer.best.misfit_mm


def test_sensitivity_tells_what_five_millimetres_off_cost():
    answer = solve_hinge(CHIN, hung(), CONTACTS)
    assert len(answer.off) == 8
    assert all(one.misfit_mm > answer.best.misfit_mm for _, one in answer.off)
    name, worst = answer.worst_off
    again = try_hinge(CHIN, hung(), CONTACTS, front_mm=worst.front_mm, up_mm=worst.up_mm)
    assert worst.misfit_mm == pytest.approx(again.misfit_mm)
    assert np.hypot(
        worst.front_mm - answer.best.front_mm, worst.up_mm - answer.best.up_mm
    ) == (pytest.approx(5.0))
    assert any(
        name in word and "only known to about 5 mm" in word for word in answer.cautions
    )


def test_region_holds_the_hinge_and_says_so():
    region = HingeRegion(front_mm=(-2, 2), up_mm=(-25, 25))
    answer = solve_hinge(CHIN, hung(), CONTACTS, region=region)
    assert answer.best.front_mm == pytest.approx(-2.0, abs=0.2)
    assert any("farther back is better" in word for word in answer.cautions)


def test_places_where_a_bolt_misses_the_plates_are_left_out():
    # plates cut away below -30: the pole itself cannot carry a bolt
    short = box((-70, -60, -30), (-64, 60, 30)) + box((64, -60, -30), (70, 60, 30))
    answer = solve_hinge(CHIN, hung(shell=short), CONTACTS)
    assert answer.at_mm[2] >= -30.0 - 1e-6


def test_region_without_any_plate_is_refused():
    away = box((-70, 200, 0), (-64, 260, 30))
    with pytest.raises(BriefError, match="Nowhere in the region does a bolt"):
        solve_hinge(CHIN, hung(shell=away), CONTACTS)


def test_open_stop_is_what_the_wearer_needs_and_a_degree():
    answer = solve_hinge(CHIN, hung(stops=(0, 60)), CONTACTS)
    assert answer.open_stop_deg == pytest.approx(26.0, abs=0.2)


def test_clash_at_the_best_place_moves_the_hinge_away_from_it():
    # a bar under the jaw that it would swing into about the pole
    bar = PLATES + box((-40, 60, -170), (40, 110, -158))
    free, held = (solve_hinge(CHIN, hung(shell=s), CONTACTS) for s in (PLATES, bar))
    assert held.best_gap_mm < 1.0 or held.best.misfit_mm > free.best.misfit_mm
    assert any("comes within" in word for word in held.cautions) == (held.best_gap_mm < 1.0)
    assert held.open_stop_deg < free.open_stop_deg


@pytest.mark.parametrize(
    ("front", "said"),
    [
        ((5.0, -5.0), "from least to most"),
        ((-500.0, 5.0), "front_mm, least must be -100 to 100"),
    ],
)
def test_bad_regions_are_refused(front, said):
    with pytest.raises(BriefError, match=said):
        HingeRegion(front_mm=front)


def test_same_input_gives_the_same_hinge():
    one, two = (solve_hinge(CHIN, hung(), CONTACTS) for _ in range(2))
    assert np.array_equal(one.at_mm, two.at_mm)


def test_moved_hinge_leaves_the_drawn_jaw_where_it_is():
    moved = move_hinge(hung(), front_mm=5.0, up_mm=5.0)
    point = np.array([3.0, 90.0, -130.0])
    assert moved.swing.moved(point, 0.0) == pytest.approx(point)
