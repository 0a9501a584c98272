"""
The head that reads as recorded and is otherwise as likely as can be.

Heads are ``mean + modes @ z`` with z standard normal. Among all heads whose
measures equal the targets, the likeliest is the one of least ``|z|^2``: that is
the energy. The modes join morphs of real anatomy with smooth bending fields whose
variance falls with the squared eigenvalue of the Laplacian, so the part of a
target that anatomy does not explain is met by the least bending.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import MeasureError
from fitkit.wearer.reading import Ruler
from fitkit.wearer.template import Template

Floats = NDArray[np.float64]

#: A measure is met when it is this close. [mm]
MET_MM = 0.02
#: What the solver promises; beyond it, it refuses. [mm]
PROMISED_MM = 0.5
#: Longest weights of a head that is believed.
FARTHEST = 15.0
#: Most steps; the longest step in any mode; the step at which the head has settled.
_STEPS, _LONGEST, _SETTLED = 60, 1.5, 0.02


@dataclass(frozen=True, kw_only=True, eq=False)
class HeadShape:
    """A head that meets its targets, and how it moves when they do."""

    #: Points of the head (mesh vertices, then marks), shape (p, 3). [mm]
    points: Floats
    #: Weight of each mode; its length is how unusual the head is.
    weights: Floats
    #: Targets, in the order of ``per_measure``.
    keys: tuple[str, ...]
    #: Mode weights per mm of each target, shape (k modes, m targets). [1/mm]
    per_measure: Floats
    #: Largest difference between a target and the mesh. [mm]
    worst_mm: float


def shape_head(
    template: Template,
    ruler: Ruler,
    targets_mm: Mapping[str, float],
    *,
    slack_mm: Mapping[str, float] | None = None,
) -> HeadShape:
    """
    Find the likeliest head with given bare-head measures.

    Gauss-Newton on the measures with the exact derivative of each; every step
    solves for the least-norm weights, so the answer does not depend on the path.

    Parameters
    ----------
    template : Template
        Mean and modes.
    ruler : Ruler
        Reads the measures off that template's mesh.
    targets_mm : mapping of str to float
        Bare-head measures to meet. [mm]
    slack_mm : mapping of str to float, optional
        Standard deviation of targets that need not be met exactly. [mm]

    Returns
    -------
    HeadShape

    Raises
    ------
    MeasureError
        If the targets contradict each other: one stays off by more than 0.5 mm, or only
        a head beyond all likeness has them (its weights longer than 15; of 250 people
        of the survey the farthest had 10).
    """
    keys = tuple(targets_mm)
    target = np.array([targets_mm[k] for k in keys])
    slack = np.array([(slack_mm or {}).get(k, 0.0) for k in keys])
    firm = slack == 0
    z = np.zeros(template.modes_mm.shape[2])
    worst, reached, damping = np.inf, z, 1.0
    for _ in range(_STEPS):
        points = template.mean_mm + template.modes_mm @ z
        value, slope = measure_all(template, ruler, points, keys)
        miss = target - value
        gain = _least_norm(slope, slack)
        step = gain @ (miss + slope @ z) - z
        off = float(np.abs(miss[firm] if firm.any() else step).max())
        if off < worst:
            worst, reached, left, tie = off, z, miss, slope
        else:  # a caliper arm rocks between two points: go slower
            damping = max(0.6 * damping, 0.15)
        if off < MET_MM and np.abs(step).max() < _SETTLED:
            break
        z = z + damping * step * min(1.0, _LONGEST / np.abs(step).max())
    if worst > PROMISED_MM:
        odd = _oddest(tie, left + tie @ reached)
        raise MeasureError(_contradiction(keys[odd], target[odd], target[odd] - left[odd]))
    if np.linalg.norm(reached) > FARTHEST:
        odd = _oddest(tie, tie @ reached)
        raise MeasureError(_unlikely(keys[odd], target[odd]))
    points = template.mean_mm + template.modes_mm @ reached
    return HeadShape(
        points=points, weights=reached, keys=keys, per_measure=gain, worst_mm=worst
    )


def measure_all(
    template: Template, ruler: Ruler, points: Floats, keys: tuple[str, ...]
) -> tuple[Floats, Floats]:
    """Measures (m,) and their derivative by mode weight (m, k)."""
    value = np.empty(len(keys))
    slope = np.empty((len(keys), template.modes_mm.shape[2]))
    for row, key in enumerate(keys):
        reading = ruler.read(points, key)
        value[row] = reading.value_mm
        slope[row] = np.tensordot(reading.slope, template.modes_mm[reading.points], 2)
    return value, slope


def _least_norm(slope: Floats, slack: Floats) -> Floats:
    """Matrix from measure changes to the likeliest mode weights, shape (k, m)."""
    gram = slope @ slope.T + np.diag(slack**2)
    scale = np.sqrt(np.diag(gram))
    tidy = gram / np.outer(scale, scale) + 1e-9 * np.eye(len(gram))
    return np.asarray((np.linalg.solve(tidy, slope / scale[:, None]) / scale[:, None]).T)


def _oddest(slope: Floats, wanted: Floats) -> int:
    """Target without which the head would be likeliest: it pulls against the rest."""
    inverse = np.linalg.pinv(slope @ slope.T, rcond=1e-9)
    relief = (inverse @ wanted) ** 2 / np.diag(inverse)
    return int(relief.argmax())


def _contradiction(key: str, target: float, reached: float) -> str:
    return (
        f"{key} = {target:.1f} mm (bare head) cannot be met together with the other "
        f"measures; the nearest head has {reached:.1f} mm. One reading is likely of "
        f"another point or in another unit: take {key} again, then the measures that "
        "share its landmarks."
    )


def _unlikely(key: str, target: float) -> str:
    return (
        f"{key} = {target:.1f} mm (bare head) goes with the other measures on no likely "
        "head. It is likely of another point or in another unit: take it again, then the "
        "measures that share its landmarks."
    )
