import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jaw_figures import within

from fitkit.wearer.jaw import hinge_turn_deg
from fitkit.wearer.swing import Swing, hinge

RADIUS = 100 * np.sqrt(3) / 2
DOWN_40 = np.array([0.0, np.cos(np.radians(40)), -np.sin(np.radians(40))])


def sliding(slide_mm, full_deg=25.0, bow_mm=(0, 0, 0), centre=(0, 0, 0)) -> Swing:
    return Swing(
        centre_mm=np.array(centre, float), axis=np.array([1.0, 0, 0]), full_deg=full_deg,
        slide_mm=np.asarray(slide_mm, float), bow_mm=np.asarray(bow_mm, float),
    )  # fmt: skip


def test_radius_of_the_textbook_triangle():
    assert within("triangle_radius_100", RADIUS)
    assert within("triangle_radius_105", 105 * np.sqrt(3) / 2)


@pytest.mark.parametrize("opening", [10, 20, 25, 40, 45])
def test_plain_hinge_turns_by_the_closed_form(opening):
    turn = hinge_turn_deg(opening_mm=opening, radius_mm=RADIUS)
    assert within(f"hinge_{opening}", turn)
    teeth = np.array([0.0, RADIUS, 0.0])
    moved = hinge(at_mm=(0, 0, 0)).moved(teeth, turn)
    assert np.linalg.norm(moved - teeth) == pytest.approx(opening, abs=1e-9)
    assert moved[2] < 0


def test_slide_at_forty_degrees():
    front, up = sliding(12 * DOWN_40).slid_mm(25.0)[1:]
    assert within("slide_forward", front)
    assert within("slide_down", -up)


def test_turn_and_slide_together_take_the_chin_back():
    teeth = RADIUS * np.array([0.0, np.cos(np.radians(22)), -np.sin(np.radians(22))])
    moved = sliding(12 * DOWN_40).moved(teeth, 25.0) - teeth
    assert within("combined_front", moved[1])
    assert within("combined_up", moved[2])
    assert within("combined_length", np.linalg.norm(moved))


@pytest.mark.parametrize(("turn", "name"), [(30.0, "chord_30"), (36.3, "chord_36_3")])
def test_condyle_chord_about_a_pole_below_it(turn, name):
    condyle = np.array([0.0, 0.0, 0.0])
    chord = hinge(at_mm=(0, 0, -32.4)).moved(condyle, turn) - condyle
    assert within(name, np.linalg.norm(chord))


turns = st.floats(0.5, 60)
moves = st.tuples(st.just(0.0), st.floats(-30, 30), st.floats(-30, 30))


@given(turns, moves, moves, moves)
def test_finite_pole_stays_where_it_is(turn, slide, bow, centre):
    swing = sliding(slide, full_deg=60.0, bow_mm=bow, centre=centre)
    pole = swing.pole_mm(turn)
    assert swing.moved(pole, turn) == pytest.approx(pole, abs=1e-8)


def test_plain_hinge_is_its_own_pole_at_every_turn():
    swing = hinge(at_mm=(0, 12, -30))
    assert swing.pole_mm(np.linspace(0, 45, 7)) == pytest.approx(
        np.tile([0, 12, -30], (7, 1))
    )


def test_pole_at_no_turn_is_the_limit_of_small_turns():
    swing = sliding((0, 18, -6), full_deg=32.0, bow_mm=(0, -1, -3))
    assert swing.pole_mm(0.0) == pytest.approx(swing.pole_mm(1e-3), abs=1e-3)


@given(turns, moves, moves)
def test_matrix_and_moved_agree_and_keep_lengths(turn, slide, centre):
    swing = sliding(slide, full_deg=40.0, centre=centre)
    points = np.array([[3.0, 80.0, -50.0], [-40.0, 20.0, 10.0]])
    by_matrix = points @ swing.matrix(turn)[:3, :3].T + swing.matrix(turn)[:3, 3]
    moved = swing.moved(points, turn)
    assert moved == pytest.approx(by_matrix, abs=1e-9)
    assert np.linalg.norm(np.diff(moved, axis=0)) == pytest.approx(
        np.linalg.norm(np.diff(points, axis=0))
    )
