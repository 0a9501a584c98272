"""What each eye has before it: the outline of its opening about the straight-ahead line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.placement import Placement
from fitkit.fit.sight import SEEN, SIDES, EyeCheck, Side, eye_openings, seen_outline
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from fitkit.piece.buildup import Piece

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeView:
    """One eye's opening as seen by the eye, which looks straight ahead at (0, 0)."""

    #: The wearer's side.
    side: Side
    #: Name of the opening; None if there is none.
    opening: str | None
    #: Closed outline, shape (m, 2): right and up of the straight-ahead line; empty if
    #: there is no opening. [mm]
    outline: FloatArray
    #: From the line to the nearest edge; positive inside, nan without an opening. [mm]
    margin_mm: float


def eye_views(
    wearer: Wearer, piece: Piece, placement: Placement, sight: Mapping[Side, EyeCheck]
) -> tuple[EyeView, ...]:
    """Look through both openings, left eye first, as the wearer does."""
    eyes = {"left": wearer.eye_left, "right": wearer.eye_right}
    openings = eye_openings(piece)
    views = []
    for side in SIDES:
        opening, outline = openings[side], np.zeros((0, 2))
        if opening is not None:
            line = eyes[side].entrance_pupil[SEEN]
            outline = seen_outline(opening, placement) - line
            outline = np.vstack([outline, outline[:1]])
        views.append(
            EyeView(
                side=side,
                opening=None if opening is None else opening.name,
                outline=outline,
                margin_mm=sight[side].margin_mm,
            )
        )
    return tuple(views)
