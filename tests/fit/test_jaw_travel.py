from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jaws import chin_about, fittings, jaw_piece

from fitkit.errors import BriefError
from fitkit.fit.jaw_hinge import move_hinge, try_hinge
from fitkit.fit.jaw_parts import hang
from fitkit.fit.jaw_travel import Contact, follow_chin, turned_by_chin
from fitkit.fit.placement import Placement

POLE = np.array([0.0, -20.0])
CHIN = chin_about(POLE)
#: A point of the chin, and the pad's plane through the hinge: it slides along the radius.
POINT = np.array([0.0, 80.0, -60.0])


def radial(hinge, name="pad") -> Contact:
    """Pad whose plane holds the hinge, so that it turns as the chin does about it."""
    arm = POINT[1:] - hinge
    return Contact(
        name=name, at_mm=POINT, outward=np.array([0, arm[1], -arm[0]]) / np.hypot(*arm)
    )


def hung_at(hinge, **kwargs):
    piece = jaw_piece(hinge_at=tuple(hinge), stops=(0.0, 60.0), **kwargs)
    return hang(piece, Placement())


def test_hinge_at_the_wearers_own_pole_has_no_slip():
    contacts = [radial(POLE), Contact(name="front", at_mm=np.array([0.0, 95, -45]),
                                      outward=np.array([0.0, 1, 0]))]  # fmt: skip
    travel = follow_chin(CHIN, hung_at(POLE), contacts, step_deg=1.0)
    assert travel.slip_mm < 1e-6
    assert travel.squeeze_mm < 1e-6
    assert travel.lift_mm < 1e-6
    assert travel.jaw_deg == pytest.approx(travel.chin_deg, abs=1e-7)


@pytest.mark.parametrize("move", [(10.0, 0.0), (0.0, 10.0), (-6.0, 8.0), (0.0, -10.0)])
def test_hinge_ten_millimetres_off_slips_as_two_circles_part(move):
    # The chin runs on a circle about its pole; a plane through the hinge turns with the
    # point's bearing, so what slips is the change of the distance to the hinge:
    # sqrt(r^2 + e^2 + 2 r e cos(a)), a the angle between the arm and the offset.
    hinge = POLE + move
    assert np.hypot(*move) == pytest.approx(10.0)
    travel = follow_chin(CHIN, hung_at(hinge), [radial(hinge)], step_deg=1.0)
    arm = POINT[1:] - POLE
    reach, offset = np.hypot(*arm), np.hypot(*move)
    start = np.arctan2(arm[1], arm[0]) - np.arctan2(-move[1], -move[0])
    angle = start - np.radians(travel.chin_deg)
    distance = np.sqrt(reach**2 + offset**2 + 2 * reach * offset * np.cos(angle))
    slip = np.abs(distance - distance[0])
    assert np.abs(travel.pads[0].slip_mm) == pytest.approx(slip, abs=1e-6)
    assert travel.pads[0].squeeze_mm == pytest.approx(0, abs=1e-6)
    # and the jaw turns by the change of the point's bearing from the hinge
    at = POLE + reach * np.column_stack(
        [np.cos(np.arctan2(arm[1], arm[0]) - np.radians(travel.chin_deg)),
         np.sin(np.arctan2(arm[1], arm[0]) - np.radians(travel.chin_deg))]
    ) - hinge  # fmt: skip
    bearing = np.degrees(np.arctan2(at[:, 1], at[:, 0]))
    assert travel.jaw_deg == pytest.approx(bearing[0] - bearing, abs=1e-6)


def test_slip_grows_with_the_offset():
    far = [
        try_hinge(CHIN, hung_at(POLE), [radial(POLE)], front_mm=d).misfit_mm
        for d in (0, 5, 10)
    ]
    assert far[0] < 1e-6 < far[1] < far[2]


def test_moving_the_piece_and_the_hinge_together_is_moving_the_hinge():
    moved = move_hinge(hung_at(POLE), front_mm=4.0, up_mm=-3.0)
    other = hung_at(POLE + np.array([4.0, -3.0]))
    assert moved.swing.centre_mm == pytest.approx(other.swing.centre_mm)
    assert moved.swing_sized.centre_mm == pytest.approx(other.swing_sized.centre_mm)


def test_steps_are_one_degree_or_finer_and_end_at_the_full_opening():
    travel = follow_chin(CHIN, hung_at(POLE), [radial(POLE)], step_deg=0.5)
    assert np.diff(travel.chin_deg).max() <= 0.5 + 1e-12
    assert travel.opening_mm[-1] == pytest.approx(CHIN.opening_mm)


def test_beyond_the_open_stop_the_jaw_stays_and_squeezes_the_chin():
    piece = jaw_piece(hinge_at=tuple(POLE), stops=(0.0, 20.0))
    travel = follow_chin(CHIN, hang(piece, Placement()), [radial(POLE)])
    assert travel.jaw_deg.max() == pytest.approx(20.0)
    assert travel.stopped_deg == pytest.approx(20.0, abs=1e-6)
    # ten degrees past the stop on an arm of 89.4 mm: r sin 10 deg across the pad
    reach = np.hypot(*(POINT[1:] - POLE))
    assert travel.squeeze_mm == pytest.approx(reach * np.sin(np.radians(10)), abs=1e-6)
    assert travel.kept_opening_mm < CHIN.opening_mm
    assert "open stop at 20 deg" in travel.cautions[0]


def test_travel_larger_than_the_wearers_is_said():
    travel = follow_chin(CHIN, hung_at(POLE), [radial(POLE)])
    assert "more than this wearer's chin opens it, 30 deg" in travel.cautions[0]


def test_play_takes_its_width_from_squeeze():
    piece = jaw_piece(hinge_at=tuple(POLE), stops=(0.0, 20.0), fittings=None)
    tight = follow_chin(CHIN, hang(piece, Placement()), [radial(POLE)])
    loose_hung = hang(piece, Placement(), fittings=fittings(play_mm=1.5))
    loose = follow_chin(CHIN, loose_hung, [radial(POLE)])
    assert loose.squeeze_mm == pytest.approx(tight.squeeze_mm - 1.5, abs=1e-9)


def test_slots_that_follow_the_condyle_take_the_slip_away():
    # A chin that turns and slides, and a jaw whose slots slide alike, agree.
    slide = np.array([0.0, 9.0, -6.0])
    chin = replace(CHIN, swing=replace(CHIN.swing, slide_mm=slide))
    plain = hung_at(POLE)
    slotted = hang(
        jaw_piece(hinge_at=tuple(POLE), stops=(0.0, 30.0)), Placement(),
        fittings=fittings(slot_mm=(9.0, -6.0)),
    )  # fmt: skip
    contacts = [radial(POLE)]
    assert follow_chin(chin, plain, contacts).slip_mm > 1.0
    assert follow_chin(chin, slotted, contacts).slip_mm < 1e-6


def test_push_through_the_hinge_cannot_open_the_jaw():
    arm = POINT[1:] - POLE
    inward = Contact(name="pad", at_mm=POINT, outward=np.array([0, *arm]) / np.hypot(*arm))
    turns = turned_by_chin(CHIN.swing, hung_at(POLE).swing, inward, np.array([20.0]))
    assert np.isnan(turns).all()
    travel = follow_chin(CHIN, hung_at(POLE), [inward])
    assert any("runs through the hinge" in word for word in travel.cautions)


def test_opening_seen_from_outside_is_the_chord_of_the_lips():
    lips = np.array([[0.0, 140.0, -50.0], [0.0, 140.0, -50.0]])
    travel = follow_chin(CHIN, hung_at(POLE), [radial(POLE)], mouth_mm=lips)
    reach = np.hypot(140.0, -50.0 + 20.0)
    assert travel.seen_mm[-1] == pytest.approx(2 * reach * np.sin(np.radians(15)), abs=1e-6)
    assert travel.kept_seen_mm == pytest.approx(travel.seen_mm[-1])


def test_no_contact_and_a_wild_step_are_refused():
    with pytest.raises(BriefError, match="at least one contact"):
        follow_chin(CHIN, hung_at(POLE), [])
    with pytest.raises(BriefError, match=r"step_deg must be 0.05 to 5 deg"):
        follow_chin(CHIN, hung_at(POLE), [radial(POLE)], step_deg=30)


angles = st.floats(-1.2, 1.2)


@given(angles, st.floats(-25, 25), st.floats(-25, 25))
def test_pad_holds_its_point_of_the_chin_at_every_turn(lean, front, up):
    hinge = POLE + np.array([front, up])
    swing = hung_at(hinge).swing
    arm = POINT[1:] - hinge
    bearing = np.arctan2(arm[1], arm[0]) - np.pi / 2 + lean  # within 70 deg of square
    contact = Contact(
        name="pad", at_mm=POINT, outward=np.array([0, np.cos(bearing), np.sin(bearing)])
    )
    chin_deg = np.linspace(0, 12, 13)
    turns = turned_by_chin(CHIN.swing, swing, contact, chin_deg)
    assert turns[0] == pytest.approx(0, abs=1e-9)
    for chin, turn in zip(chin_deg, turns, strict=True):
        if np.isnan(turn):
            continue
        at = CHIN.swing.moved(POINT, chin) - swing.moved(POINT, turn)
        assert at @ (swing.rotation(turn) @ contact.outward) == pytest.approx(0, abs=1e-9)


def test_pad_whose_push_would_close_the_jaw_opens_nothing():
    arm = POINT[1:] - POLE
    above = Contact(
        name="pad", at_mm=POINT, outward=np.array([0, -arm[1], arm[0]]) / np.hypot(*arm)
    )
    turns = turned_by_chin(CHIN.swing, hung_at(POLE).swing, above, np.linspace(0, 30, 4))
    assert np.isnan(turns).all()
