"""Helper: a search that shares nothing with the solver, over all head vertices.

Ease is measured afresh: distance from the piece's tree, side from its winding number,
and the rule that what is nearest to a rim passes through an opening. The search is a
plain grid and then a pattern search about its best points (R. Hooke and T. A. Jeeves,
J. ACM 8, 212-229 (1961)): slow, blind to slopes, and hard to fool.
"""

from __future__ import annotations

from itertools import product

import numpy as np

#: Poses on the grid: right, front, up in mm, pitch in degrees.
GRID = tuple(
    np.array(pose, float) for pose in product((0,), (-6, 0, 6), (-8, 0, 8), (-6, 0, 6))
)
#: Poses of the grid that the pattern search goes on from, and its steps.
KEPT, STEPS = 3, (4.0, 2.0, 1.0, 0.5, 0.25, 0.1)


#: Farthest that the search goes: the brief's limits in the same order.
LIMIT = np.array([40.0, 40, 40, 12])


def spare_mm(wearer, piece, brief, pose, size, rows) -> float:
    """Least over head vertices of ease minus what is asked, the long way round."""
    if (np.abs(pose) > LIMIT).any():
        return -np.inf
    right, front, up, pitch = pose
    turn = np.radians(-pitch)
    about_right = np.array(
        [[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]]
    )
    drawn = ((wearer.head.vertices[rows] - [right, front, up]) @ about_right) / size
    near = piece.tree.nearest(drawn)
    inside = (piece.tree.winding(drawn) > 0.5) | near.on_boundary
    gap = np.where(inside, 1, -1) * near.distance_mm * size
    asked = np.array([ease.least_mm for ease in brief.ease.values()])[wearer.zone[rows]]
    return float((gap - piece.lining_mm - wearer.hair_mm[rows] - asked).min())


def best_spare_mm(wearer, piece, brief, *, size, around) -> tuple[float, np.ndarray]:
    """Search for the pose with the most spare ease at one size."""
    rows = np.nonzero(wearer.zone >= 0)[0]
    few = rows[:: max(1, len(rows) // 1500)]
    coarse = [(spare_mm(wearer, piece, brief, around + p, size, few), p) for p in GRID]
    coarse.sort(key=lambda one: -one[0])
    tried = [
        _pattern(wearer, piece, brief, size, around + pose, rows)
        for _, pose in coarse[:KEPT]
    ]
    return max(tried, key=lambda one: one[0])


def _pattern(wearer, piece, brief, size, pose, rows) -> tuple[float, np.ndarray]:
    best = spare_mm(wearer, piece, brief, pose, size, rows)
    for step in STEPS:
        gained = True
        while gained:
            gained = False
            for move in _moves(step):
                spare = spare_mm(wearer, piece, brief, pose + move, size, rows)
                if spare > best + 1e-6:
                    best, pose, gained = spare, pose + move, True
    return best, pose


def _moves(step):
    for axes in ((1,), (2,), (3,), (1, 2), (1, 3), (2, 3), (0,)):
        for signs in product((-step, step), repeat=len(axes)):
            move = np.zeros(4)
            move[list(axes)] = signs
            yield move


def smallest_size(wearer, piece, brief, *, below, around) -> float:
    """Go down from a size that is met by halves, as long as the search finds a pose."""
    met, missed = below, 0.9 * below
    pose = np.asarray(around, float)
    rows = np.nonzero(wearer.zone >= 0)[0]
    while met - missed > 2e-4 * met:
        size = (met + missed) / 2
        spare, found = _pattern(wearer, piece, brief, size, pose, rows)
        if spare >= 0:
            met, pose = size, found
        else:
            missed = size
    return met
