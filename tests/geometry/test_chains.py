from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fitkit.geometry.chains import chain


def walks(pairs: list[tuple[int, int]]) -> list[list[int]]:
    return [walk.tolist() for walk in chain(np.array(pairs).reshape(-1, 2))]


def test_ring_closes_on_its_first_node():
    assert walks([(2, 3), (1, 2), (3, 1)]) == [[2, 3, 1, 2]]


def test_open_line_runs_from_end_to_end_in_its_own_direction():
    assert walks([(5, 6), (4, 5), (6, 7)]) == [[4, 5, 6, 7]]


def test_line_whose_segments_disagree_is_still_one():
    (only,) = walks([(1, 2), (3, 2), (3, 4)])
    assert only in ([1, 2, 3, 4], [4, 3, 2, 1])


def test_two_rings_that_share_a_node_come_apart():
    got = walks([(0, 1), (1, 2), (2, 0), (0, 3), (3, 4), (4, 0)])
    assert sorted(map(sorted, got)) == [[0, 0, 1, 2], [0, 0, 3, 4]]


def test_nothing_gives_nothing():
    assert walks([]) == []


@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), max_size=30))
def test_every_segment_is_used_exactly_once(pairs):
    pairs = [(a, b) for a, b in pairs if a != b]
    steps = [step for walk in walks(pairs) for step in pairwise(walk)]
    assert sorted(map(sorted, steps)) == sorted(map(sorted, pairs))
