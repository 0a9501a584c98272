import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.fit import _outline

SQUARE = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])
#: A square with a notch cut from its right side to its middle.
NOTCHED = np.array([[0.0, 0], [4, 0], [2, 2], [4, 4], [0, 4]])


def test_centroid_of_a_triangle_is_the_mean_of_its_corners():
    corners = np.array([[0.0, 0], [6, 0], [0, 3]])
    assert _outline.centroid(corners) == pytest.approx([2, 1])


def test_area_counts_the_way_round():
    assert _outline.signed_area(SQUARE) == 16
    assert _outline.signed_area(SQUARE[::-1]) == -16


@pytest.mark.parametrize("corners", [SQUARE, SQUARE[::-1]])
def test_edge_gaps_are_positive_inside_whichever_way_round(corners):
    gap, inward = _outline.edge_gaps(corners, np.array([1.0, 1.5]))
    assert sorted(gap.tolist()) == [1, 1.5, 2.5, 3]
    assert (inward @ (np.array([2.0, 2]) - corners.mean(axis=0)) == 0).all()


def test_inner_radius_of_a_three_four_five_triangle_is_one():
    corners = np.array([[0.0, 0], [4, 0], [0, 3]])
    assert _outline.inner_radius(corners) == pytest.approx(1)


def test_margin_is_negative_in_a_notch_though_the_hull_holds_it():
    point = np.array([3.5, 2.0])
    assert _outline.edge_gaps(_outline.hull_outline(NOTCHED), point)[0].min() > 0
    assert _outline.signed_margin(NOTCHED, point) == pytest.approx(-1.5 / np.sqrt(2))


@given(st.tuples(st.floats(0.1, 3.9), st.floats(0.1, 3.9)))
def test_margin_in_a_square_is_the_least_gap_to_its_sides(at):
    point = np.array(at)
    expected = _outline.edge_gaps(SQUARE, point)[0].min()
    assert _outline.signed_margin(SQUARE, point) == pytest.approx(expected)


def test_reach_is_the_way_to_the_side_in_that_direction():
    point = np.array([1.0, 1.5])
    assert _outline.reach(SQUARE, point, np.array([1.0, 0])) == pytest.approx(3)
    assert _outline.reach(SQUARE, point, np.array([0.0, -1])) == pytest.approx(1.5)


def test_reach_is_negative_past_the_side_and_nan_past_the_polygon():
    assert _outline.reach(SQUARE, np.array([1.0, 5]), np.array([0.0, 1])) == pytest.approx(
        -1
    )
    assert np.isnan(_outline.reach(SQUARE, np.array([9.0, 5]), np.array([0.0, 1])))


def test_ring_distance_is_to_segments_and_not_to_corners():
    ring = np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0], [0, 0, 0]])
    assert _outline.ring_distance(ring, np.array([5.0, 0, 3])) == pytest.approx(3)
