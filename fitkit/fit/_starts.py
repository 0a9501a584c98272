"""Where the search for a size and a pose starts from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from fitkit.fit._demands import Demands
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SEEN
from fitkit.wearer.zones import ZONES

#: Starts nearer than this in every unknown are one. [percent, mm, degrees]
SAME_START = 0.5
#: Room between the boxes of head and wall is shared without these zones' points.
FACE_ZONES = ("nose",)


def starting_unknowns(demands: Demands) -> list[FloatArray]:
    """Give unknowns to start from: as drawn, room shared, by the eyes, and far too big."""
    least, most = demands.brief.size_least, demands.brief.size_most
    drawn = Placement(size=np.clip(1.0, least, most))
    big = Placement(size=most)
    centred = _shared_room(demands, drawn)
    placements = [
        drawn,
        replace(drawn, shift_mm=centred),
        replace(drawn, shift_mm=_by_the_eyes(demands, drawn, centred)),
        replace(big, shift_mm=_shared_room(demands, big)),
    ]
    unknowns: list[FloatArray] = []
    for placement in placements:
        x = allowed(demands, demands.moves.unknowns(placement))
        if not any(np.allclose(x, other, atol=SAME_START) for other in unknowns):
            unknowns.append(x)
    return unknowns


def allowed(demands: Demands, x: FloatArray) -> FloatArray:
    """Bring the pose of some unknowns within the brief's limits."""
    most = np.repeat([demands.brief.shift_most_mm, demands.brief.turn_most_deg], 3)
    pose = demands.moves.spread[3:] @ x
    allowed: FloatArray = x + demands.moves.spread[3:].T @ (
        np.clip(pose, -most, most) - pose
    )
    return allowed


def _shared_room(demands: Demands, drawn: Placement) -> FloatArray:
    wearer = demands.wearer
    face = [ZONES.index(zone) for zone in FACE_ZONES]
    head = wearer.head.vertices[(wearer.zone >= 0) & ~np.isin(wearer.zone, face)]
    wall = drawn.to_head(demands.piece.facing.vertices)
    shift: FloatArray = _middle(head) - _middle(wall)
    return shift


def _middle(points: FloatArray) -> FloatArray:
    middle: FloatArray = (points.min(axis=0) + points.max(axis=0)) / 2
    return middle


def _by_the_eyes(demands: Demands, drawn: Placement, centred: FloatArray) -> FloatArray:
    shift = centred.copy()
    if demands.eyes:
        eyes = demands.eyes.values()
        off = [eye.pupil - drawn.to_head(eye.centre) for eye in eyes]
        shift[SEEN] = np.mean(off, axis=0)[SEEN]
    return shift


def kicked(
    demands: Demands, x: FloatArray, moves: Iterable[int], by: float
) -> list[FloatArray]:
    """Give unknowns a kick away from x, each way, in those of some moves that are free."""
    kicks = demands.moves.spread[list(moves)]
    return [
        allowed(demands, x + sign * kick)
        for kick in kicks[kicks.any(axis=1)]
        for sign in (-by, by)
    ]
