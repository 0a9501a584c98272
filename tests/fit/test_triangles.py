import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from fitkit.fit._triangles import triangle_gaps

number = st.floats(-50, 50).map(lambda v: round(v, 3))
corner = st.tuples(number, number, number)
triangle = st.tuples(corner, corner, corner).map(np.array)


def by_programming(a, b) -> float:
    """Distance of two convex hulls by a general solver, from every pair of corners."""

    def apart(w):
        return float(np.linalg.norm(w[:3] @ a - w[3:] @ b))

    one = {"type": "eq", "fun": lambda w: np.array([w[:3].sum() - 1, w[3:].sum() - 1])}
    best = np.inf
    for i in range(3):
        for j in range(3):
            start = np.r_[np.eye(3)[i], np.eye(3)[j]] * 0.8 + 0.2 / 3
            got = minimize(
                lambda w: apart(w) ** 2, start, bounds=[(0, 1)] * 6, constraints=one,
                method="SLSQP", options={"ftol": 1e-14, "maxiter": 300},
            )  # fmt: skip
            best = min(best, apart(np.clip(got.x, 0, 1)))
    return best


@given(triangle, triangle)
@settings(max_examples=15, deadline=None)
def test_gap_is_that_of_a_general_solver(a, b):
    gap, on_a, on_b = triangle_gaps(a[None], b[None])
    assert gap[0] == pytest.approx(by_programming(a, b), abs=2e-3)
    assert np.linalg.norm(on_a[0] - on_b[0]) == pytest.approx(gap[0], abs=1e-9)


@given(triangle, triangle, st.integers(0, 1000))
@settings(deadline=None)
def test_gap_does_not_depend_on_order_or_place(a, b, seed):
    turn = Rotation.random(rng=seed).as_matrix()
    moved = [t @ turn.T + [300, -20, 7] for t in (np.roll(a, 1, axis=0), b)]
    gap = triangle_gaps(a[None], b[None])[0]
    assert triangle_gaps(b[None], a[None])[0] == pytest.approx(gap, abs=1e-9)
    again = triangle_gaps(moved[0][None], moved[1][None])[0]
    assert again == pytest.approx(gap, abs=1e-7)


FLAT = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0]], float)


@pytest.mark.parametrize(
    ("other", "gap"),
    [
        (FLAT + np.array([0, 0, 3]), 3.0),  # face over face
        (np.array([[2, 2, 5], [2, 2, 9], [3, 2, 9]]), 5.0),  # corner over face
        (np.array([[2, 2, -1], [2, 2, 4], [30, 30, 4]]), 0.0),  # edge through face
        (np.array([[20, 0, 0], [30, 0, 0], [20, 5, 0]]), 10.0),  # in one plane
        (np.array([[5, -2, -1], [5, -2, 1], [5, -9, 0]]), 2.0),  # edge beside edge
        (FLAT, 0.0),  # the same
    ],
)
def test_gap_of_plain_pairs(other, gap):
    got = triangle_gaps(FLAT[None], np.asarray(other, float)[None])[0]
    assert got == pytest.approx(gap, abs=1e-12)


def test_triangle_without_area_is_a_segment():
    line = np.array([[0, 0, 4], [10, 0, 4], [5, 0, 4]], float)
    assert triangle_gaps(line[None], FLAT[None])[0] == pytest.approx(4.0)
