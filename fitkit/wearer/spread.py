"""How far the true head may lie from the one drawn, and in which ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fitkit.wearer.reading import Ruler
from fitkit.wearer.surface import HeadShape, measure_all
from fitkit.wearer.template import Template

Floats = NDArray[np.float64]

#: Ways of differing in shape, all measures held, that are kept.
SHAPE_WAYS = 24
#: Standard deviation below which a way of a measure is not worth keeping. [mm]
_NEGLIGIBLE_MM = 0.02


@dataclass(frozen=True, kw_only=True, eq=False)
class Ways:
    """Independent ways in which the targets may be wrong, one standard deviation each."""

    #: What each way comes from: a measure's key, or "tape_hair_mm".
    names: tuple[str, ...]
    #: Change of each target, shape (targets, ways). [mm]
    change_mm: Floats


def ways_of_measures(
    keys: Sequence[str], covariance_mm2: Floats, given: frozenset[str]
) -> Ways:
    """
    Split a covariance of measures into named independent ways.

    First the readings' own errors, each with what it drags along among the measures
    completed from it; then what remains of the completed measures, the largest
    first (a pivoted Cholesky factor: what one would learn by taking that measure).
    """
    left = covariance_mm2.copy()
    order = [i for i, key in enumerate(keys) if key in given]
    names: list[str] = []
    columns: list[Floats] = []
    for turn in range(len(keys)):
        variance = np.diag(left)
        i = order[turn] if turn < len(order) else int(variance.argmax())
        if variance[i] > _NEGLIGIBLE_MM**2:
            column = left[:, i] / np.sqrt(variance[i])
            left = left - np.outer(column, column)
            names.append(keys[i])
            columns.append(column)
    return Ways(names=tuple(names), change_mm=np.array(columns).reshape(-1, len(keys)).T)


def head_spread(template: Template, shape: HeadShape, ways: Ways) -> NDArray[np.float32]:
    """Displacement of every vertex by each way of the measures, shape (k, n, 3). [mm]."""
    weights = shape.per_measure @ ways.change_mm
    moved = template.modes_mm[: template.n_vertices] @ weights
    return np.ascontiguousarray(np.moveaxis(moved, 2, 0), dtype=np.float32)


@lru_cache(maxsize=16)
def shape_spread(
    template: Template, ruler: Ruler, keys: tuple[str, ...]
) -> NDArray[np.float32]:
    """
    Ways of differing with all of ``keys`` held, about the mean head, shape (k, n, 3).

    Principal components of the modes that are left once the measures are known;
    they are those of the mean head for every wearer, since they hardly change.
    """
    n = template.n_vertices
    _, slope = measure_all(template, ruler, template.mean_mm, keys)
    free = np.linalg.svd(slope)[2][len(keys) :]  # null space, orthonormal rows
    ways = np.moveaxis(template.modes_mm[:n] @ free.T, 2, 0).reshape(len(free), -1)
    value, vector = np.linalg.eigh(ways @ ways.T)
    top = np.argsort(value)[::-1][:SHAPE_WAYS]
    kept: NDArray[np.float32] = (vector[:, top].T @ ways).astype(np.float32)
    return kept.reshape(len(top), n, 3)
