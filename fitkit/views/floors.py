"""The floor ahead from the side: head, sight lines and stretches of floor, in metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.floor import FloorView
from fitkit.geometry.sections import section
from fitkit.wearer.wearer import Wearer

FloatArray = NDArray[np.float64]

#: Floor is drawn up to here. [m]
SHOWN_M = 7.0


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorStrip:
    """Floor straight ahead at one bow of the head."""

    bow_deg: float
    #: Stretches seen that begin within 7 m, each (from, to). [m]
    seen_m: tuple[tuple[float, float], ...]
    #: Where a stretch begins that lies beyond 7 m; nan if none does. [m]
    beyond_m: float
    #: Nearest floor seen bare-headed. [m]
    bare_nearest_m: float


@dataclass(frozen=True, kw_only=True, eq=False)
class FloorSide:
    """A wearer standing on level floor, from the side; distances from below the eyes."""

    #: Outline of the head along the midplane, (k, 2): ahead and up from the floor. [m]
    head_m: FloatArray
    eye_height_m: float
    #: Head level first, then each bow.
    strips: tuple[FloorStrip, ...]
    #: One and two steps ahead. [m]
    steps_m: tuple[float, float]


def floor_side(wearer: Wearer, view: FloorView) -> FloorSide:
    """Set out what a wearer sees of the floor, as seen from the side."""
    eyes = (wearer.eye_left.entrance_pupil + wearer.eye_right.entrance_pupil) / 2
    loops = section(wearer.head, point_mm=eyes, normal=(1.0, 0.0, 0.0))
    outline = (loops[0][:, 1:] - eyes[1:]) / 1000 + (0.0, view.eye_height_mm / 1000)
    strips = tuple(
        FloorStrip(
            bow_deg=bow.bow_deg,
            seen_m=tuple(
                (near / 1000, far / 1000)
                for near, far in bow.ahead_mm
                if near / 1000 < SHOWN_M
            ),
            beyond_m=min(
                (near / 1000 for near, _ in bow.ahead_mm if near / 1000 >= SHOWN_M),
                default=float("nan"),
            ),
            bare_nearest_m=bow.bare_nearest_mm / 1000,
        )
        for bow in view.bows
    )
    return FloorSide(
        head_m=outline,
        eye_height_m=view.eye_height_mm / 1000,
        strips=strips,
        steps_m=(view.step_mm / 1000, 2 * view.step_mm / 1000),
    )
