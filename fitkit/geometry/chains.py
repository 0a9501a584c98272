"""Join loose segments, given as pairs of node numbers, into polylines."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


def chain(pairs: IntArray) -> list[IntArray]:
    """
    Walk segments end to end; every segment is used exactly once.

    Parameters
    ----------
    pairs : ndarray of int, shape (k, 2)
        Start and end node of each segment.

    Returns
    -------
    list of ndarray of int
        Node numbers along each polyline; a closed one repeats its first node. Runs
        in the direction of its segments; where they disagree, of its first segment.
        Open polylines come first.
    """
    touching = _segments_by_node(pairs)
    odd = np.array([len(touching[node]) % 2 for node in pairs.ravel().tolist()])
    tail, tip = odd.reshape(-1, 2).astype(bool).T
    free, walks = set(range(len(pairs))), []
    for first in np.concatenate([np.nonzero(tail)[0], np.nonzero(tip & ~tail)[0]]).tolist():
        if first in free:
            way = pairs if tail[first] else pairs[:, ::-1]
            walk = _walk(way, touching, free, first)
            walks.append(walk if tail[first] else walk[::-1])
    for first in range(len(pairs)):
        if first in free:
            walks.append(_walk(pairs, touching, free, first))
    return walks


def _segments_by_node(pairs: IntArray) -> dict[int, list[int]]:
    touching: dict[int, list[int]] = defaultdict(list)
    for k, (a, b) in enumerate(pairs.tolist()):
        touching[a].append(k)
        touching[b].append(k)
    return touching


def _walk(
    pairs: IntArray, touching: dict[int, list[int]], free: set[int], first: int
) -> IntArray:
    start, node = pairs[first].tolist()
    free.discard(first)
    path = [start, node]
    while node != start:
        onward = [k for k in touching[node] if k in free]
        if not onward:
            break
        k = next((k for k in onward if pairs[k, 0] == node), onward[0])
        free.discard(k)
        node = int(pairs[k].sum() - node)
        path.append(node)
    return np.array(path, dtype=np.int64)
