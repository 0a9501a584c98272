"""What a brief would rather have: one residual for each wish, with its slope."""

from __future__ import annotations

import numpy as np

from fitkit.fit._demands import EVEN_PAIRS, Demands, View
from fitkit.fit.brief import Weights
from fitkit.fit.placement import FloatArray
from fitkit.fit.sight import SEEN
from fitkit.wearer.zones import ZONES


class Wishes:
    """Residuals of the aim "drawn": each is (off / allowance), to be squared and summed."""

    def __init__(self, demands: Demands, weights: Weights) -> None:
        self._demands, self._weights = demands, weights
        self._steady, self._target = self._pose_wishes()

    def residuals(self, view: View, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give all residuals, shape (w,), and their slopes, shape (w, k)."""
        value = [self._steady @ x - self._target]
        slope = [self._steady]
        parts = [*self._eye_lines(view), *self._hinge(view), *self._balance(view)]
        for one, its_slope in parts:
            value.append(np.atleast_1d(one))
            slope.append(np.atleast_2d(its_slope))
        return np.concatenate(value), np.vstack(slope)

    def _pose_wishes(self) -> tuple[FloatArray, FloatArray]:
        spread, w = self._demands.moves.spread, self._weights
        mean = spread[:3].mean(axis=0)
        turn = spread[6:] / w.turn_deg
        allowance = np.array([w.midplane_mm, w.shift_mm, w.shift_mm])
        shift = spread[3:6] / allowance[:, None]
        size = mean[None, :] / w.size_percent
        axes = (spread[:3] - mean) / w.distortion_percent
        steady = np.vstack([size, axes, shift, turn])
        return steady, np.zeros(len(steady))

    def _eye_lines(self, view: View) -> list[tuple[FloatArray, FloatArray]]:
        found = []
        for eye in self._demands.eyes.values():
            off = view.placement.to_head(eye.centre) - eye.pupil
            slope = self._demands.moves.slopes(view.placement, eye.centre[None, :])[0]
            allowance = self._weights.eye_line_mm
            found.append((off[SEEN] / allowance, slope[SEEN] / allowance))
        return found

    def _hinge(self, view: View) -> list[tuple[FloatArray, FloatArray]]:
        if self._demands.hinge is None or self._demands.brief.hinge_tolerance_mm is None:
            return []
        off, slope = self._demands.hinge_offset(view.placement)
        return [(off / self._weights.hinge_mm, slope / self._weights.hinge_mm)]

    def _balance(self, view: View) -> list[tuple[FloatArray, FloatArray]]:
        found = []
        for pair in EVEN_PAIRS:
            first, second = (ZONES.index(zone) for zone in pair)
            one, other = (self._demands.median(view.x, k) for k in (first, second))
            if one is None or other is None:
                continue
            asked = self._demands.least_mm[first] - self._demands.least_mm[second]
            off, allowance = one[0] - other[0] - asked, self._weights.balance_mm
            found.append((np.array(off / allowance), (one[1] - other[1]) / allowance))
        return found


class SmallestSize:
    """Residuals of the aim "snug": size as small as can be, wishes only between equals."""

    #: Share of the wishes beside the pull to a smaller size.
    SHARE = 1e-2
    #: Size aimed at, below any that is allowed. [%]
    AIM_PERCENT = -100.0
    #: Allowance of the pull. [%]
    ALLOWANCE_PERCENT = 10.0

    def __init__(self, wishes: Wishes, demands: Demands) -> None:
        self._wishes, self._demands = wishes, demands

    def residuals(self, view: View, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give all residuals, shape (w,), and their slopes, shape (w, k)."""
        value, slope = self._wishes.residuals(view, x)
        size = self._demands.moves.spread[:3].mean(axis=0)
        pull = (size @ x - self.AIM_PERCENT) / self.ALLOWANCE_PERCENT
        return (
            np.append(self.SHARE * value, pull),
            np.vstack([self.SHARE * slope, size / self.ALLOWANCE_PERCENT]),
        )
