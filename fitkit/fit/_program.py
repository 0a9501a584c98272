"""Small convex quadratic programs, solved exactly and the same way every time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

FloatArray = NDArray[np.float64]

#: Rows violated by less than this, over the length of the row, count as met.
MET = 1e-9
#: Rows taken into the working program at once.
BATCH = 24


@dataclass(frozen=True, kw_only=True, eq=False)
class Solution:
    """Minimiser of one program and the price of each of its rows."""

    #: The minimiser, shape (n,).
    x: FloatArray
    #: What one unit more asked of each row would cost, shape (m,); never negative.
    price: FloatArray


def least_square_program(
    hessian: FloatArray, gradient: FloatArray, rows: FloatArray, least: FloatArray
) -> Solution:
    """
    Minimise ``x.H.x / 2 + g.x`` subject to ``rows @ x >= least``.

    Parameters
    ----------
    hessian : ndarray, shape (n, n)
        Symmetric positive definite.
    gradient : ndarray, shape (n,)
    rows : ndarray, shape (m, n)
    least : ndarray, shape (m,)
        The rows must be able to be met together.

    Notes
    -----
    Turned into a least-distance program and solved by non-negative least squares:
    C. L. Lawson and R. J. Hanson, *Solving Least Squares Problems* (1974), chapter 23.
    Rows are taken in as they are found violated, worst first, so that m may be in the
    thousands; no random choice is made anywhere.
    """
    unfold = np.linalg.inv(np.linalg.cholesky(hessian))
    centre = -unfold @ gradient
    turned = rows @ unfold.T
    length = np.linalg.norm(turned, axis=1)
    length[length == 0.0] = 1.0
    turned /= length[:, None]
    wanted = least / length - turned @ centre
    step, price = _lazy_least_distance(turned, wanted)
    x = unfold.T @ (step + centre)
    return Solution(x=x, price=price / length)


def _lazy_least_distance(
    rows: FloatArray, least: FloatArray
) -> tuple[FloatArray, FloatArray]:
    step, price = np.zeros(rows.shape[1]), np.zeros(len(rows))
    taken = np.zeros(len(rows), dtype=bool)
    scale = 1.0 + np.abs(least).max(initial=0.0)
    while True:
        missing = np.where(taken, 0.0, least - rows @ step)
        worst = np.argsort(-missing, kind="stable")[:BATCH]
        worst = worst[missing[worst] > MET * scale]
        if not len(worst):
            return step, price
        taken[worst] = True
        chosen = np.nonzero(taken)[0]
        step, price[chosen] = _least_distance(rows[chosen], least[chosen])


def _least_distance(rows: FloatArray, least: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Find the shortest y with ``rows @ y >= least``, and the price of each row."""
    scale = max(float(np.abs(least).max()), 1e-12)
    stacked = np.vstack([rows.T, least / scale])
    target = np.zeros(len(stacked))
    target[-1] = 1.0
    share, _ = nnls(stacked, target, maxiter=30 * stacked.shape[1])
    rest = target - stacked @ share
    return -scale * rest[:-1] / rest[-1], scale * share / rest[-1]
