"""Planes that turn as points move: a ball of a wall, whose distances are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from stand_ins import ball, opened, piece_of, wearer_of

from fitkit.fit._bent_walls import bent_walls
from fitkit.fit.pads import gaps_mm, head_in_piece
from fitkit.fit.placement import Placement


@pytest.fixture(scope="module")
def bent():
    wall = opened(ball(100, segments=512), below_up_mm=-40)
    wearer = wearer_of(ball(85, segments=48))
    head, _ = head_in_piece(wearer, piece_of(wall), Placement())
    points = head.wearer.head.vertices[head.rows]
    upper = points[:, 2] > 0  # the wall is open below
    head = replace(head, rows=head.rows[upper], area=head.area[upper])
    return bent_walls(head, head.walls(head.start))


def test_gaps_follow_a_ball_of_a_wall_as_the_head_moves(bent):
    # wall of 100 mm about the middle: gap 100 − |x|, at 15 mm from a head of 85 mm
    moved = bent.local + np.array([4.0, -6.0, 5.0])
    true = 100.0 - np.linalg.norm(moved, axis=1)
    got = gaps_mm(moved, bent.at(moved))
    assert np.abs(got - true).max() < 0.15
    flat = gaps_mm(moved, bent.walls)
    assert np.abs(flat - true).max() > 0.3
    away = bent.at(moved).away
    cosine = -np.einsum("ni,ni->n", away, moved) / np.linalg.norm(moved, axis=1)
    assert np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() < 1.5


def test_points_that_stay_keep_their_planes(bent):
    still = bent.at(bent.local)
    assert still.away == pytest.approx(bent.walls.away)
    assert gaps_mm(bent.local, still) == pytest.approx(gaps_mm(bent.local, bent.walls))
