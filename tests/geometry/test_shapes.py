import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.errors import MeshError
from fitkit.geometry.shapes import (
    CIRCLE_PIECES,
    area_mm2,
    bodies,
    box,
    common,
    grown,
    joined,
    lies_in,
    roomiest,
    shape,
    without,
)

SQUARE = box(low=(0, 0), high=(40, 30))


def circle(radius, count=720, at=(0.0, 0.0)):
    turn = 2 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(turn), np.sin(turn)]) + at


@given(st.floats(0.5, 60.0))
def test_a_grown_rectangle_has_the_area_of_steiners_formula(by_mm):
    # J. Steiner: A + P r + pi r², in the plane; corners are drawn with chords.
    exact = 1200.0 + 140.0 * by_mm + np.pi * by_mm**2
    chord = 2 * np.pi / CIRCLE_PIECES
    short = by_mm**2 * (np.pi - CIRCLE_PIECES / 2 * np.sin(chord))
    assert area_mm2(grown(SQUARE, by_mm=by_mm)) == pytest.approx(exact, abs=short + 0.01)


def test_growing_a_circle_moves_its_edge_by_just_that_much():
    ring = grown(shape([circle(50.0)]), by_mm=20.0)[0]
    assert np.hypot(*ring.T) == pytest.approx(70.0, abs=0.02)


def test_shrinking_undoes_growing_of_a_convex_shape():
    back = grown(grown(SQUARE, by_mm=5.0), by_mm=-5.0)
    assert area_mm2(back) == pytest.approx(1200.0, abs=0.5)


def test_areas_add_up_whichever_way_two_shapes_lie():
    other = shape([circle(25.0, at=(38.0, 12.0))])
    both, either = common(SQUARE, other), joined(SQUARE, other)
    total = area_mm2(SQUARE) + area_mm2(other)
    assert area_mm2(both) + area_mm2(either) == pytest.approx(total, abs=1e-3)
    assert area_mm2(without(SQUARE, other)) + area_mm2(both) == pytest.approx(
        1200, abs=1e-3
    )


def test_a_ring_keeps_its_hole_and_parts_come_largest_first():
    ring = without(shape([circle(30.0)]), shape([circle(10.0)]))
    assert len(ring) == 2
    apart = joined(ring, box(low=(100, 0), high=(105, 5)))
    assert [round(area_mm2(one)) for one in bodies(apart)] == [2513, 25]


def test_outlines_may_run_either_way_and_repeat_their_first_point():
    ring = circle(10.0)[::-1]
    closed = np.vstack([ring, ring[:1]])
    assert area_mm2(shape([closed])) == pytest.approx(np.pi * 100, rel=1e-4)


def test_a_line_that_goes_back_on_itself_is_refused():
    with pytest.raises(MeshError, match="must enclose an area"):
        shape([np.array([[0.0, 0.0], [5.0, 0.0], [0.0, 0.0]])])


def test_points_of_a_ring_lie_in_it_and_not_in_its_hole():
    ring = [circle(30.0), circle(10.0)]
    points = np.array([[20.0, 0.0], [0.0, 0.0], [0.0, -29.0], [31.0, 0.0]])
    assert lies_in(points, ring).tolist() == [True, False, True, False]


def test_the_roomiest_place_of_a_ring_is_half_way_between_its_edges():
    place, clear = roomiest(shape([circle(30.0), circle(10.0)]), step_mm=0.5)
    assert np.hypot(*place) == pytest.approx(20.0, abs=0.6)
    assert clear == pytest.approx(10.0, abs=0.6)
