import numpy as np
import pytest
from scipy.optimize import minimize

from fitkit.fit._program import least_square_program


def random_program(seed):
    rng = np.random.default_rng(seed)
    n, m = rng.integers(2, 10), rng.integers(1, 600)
    root = rng.normal(size=(n, n))
    hessian = root @ root.T + 0.01 * np.eye(n)
    rows = rng.normal(size=(m, n))
    slack = rng.exponential(size=m) * (rng.random(m) > 0.3)
    least = rows @ rng.normal(size=n) * 5 - slack
    x0 = np.linalg.lstsq(rows, least, rcond=None)[0]
    least = least - max(0.0, (least - rows @ x0).max())
    return hessian, 10 * rng.normal(size=n), rows, least


@pytest.mark.parametrize("seed", range(20))
def test_solution_meets_the_conditions_of_a_minimum(seed):
    hessian, gradient, rows, least = random_program(seed)
    found = least_square_program(hessian, gradient, rows, least)
    assert found.price.min() >= 0
    assert (rows @ found.x - least).min() >= -1e-7
    pull = hessian @ found.x + gradient - rows.T @ found.price
    assert np.abs(pull).max() < 1e-6
    assert np.abs(found.price * (rows @ found.x - least)).max() < 1e-6


def test_solution_agrees_with_a_general_solver():
    hessian, gradient, rows, least = random_program(3)
    found = least_square_program(hessian, gradient, rows, least)
    other = minimize(
        lambda x: x @ hessian @ x / 2 + gradient @ x,
        found.x + 0.1,
        jac=lambda x: hessian @ x + gradient,
        constraints={
            "type": "ineq",
            "fun": lambda x: rows @ x - least,
            "jac": lambda _: rows,
        },
        method="SLSQP",
        options={"maxiter": 500, "ftol": 1e-12},
    )
    assert found.x == pytest.approx(other.x, abs=1e-4)


def test_free_minimum_is_left_alone():
    found = least_square_program(
        np.eye(2), np.array([-1.0, 2.0]), np.eye(2), np.full(2, -9.0)
    )
    assert found.x == pytest.approx([1.0, -2.0])
    assert found.price.tolist() == [0.0, 0.0]


def test_price_is_what_one_unit_more_costs():
    hessian, gradient = np.diag([2.0, 4.0]), np.array([1.0, -3.0])
    rows = np.array([[1.0, 1.0], [1.0, -2.0]])

    def cost(least):
        x = least_square_program(hessian, gradient, rows, least).x
        return x @ hessian @ x / 2 + gradient @ x

    least, step = np.array([3.0, 1.0]), 1e-5
    price = least_square_program(hessian, gradient, rows, least).price
    for k in range(2):
        more = least + step * np.eye(2)[k]
        assert (cost(more) - cost(least)) / step == pytest.approx(price[k], abs=1e-3)


def test_same_input_gives_the_same_bits():
    first, second = (least_square_program(*random_program(7)) for _ in range(2))
    assert first.x.tobytes() == second.x.tobytes()
