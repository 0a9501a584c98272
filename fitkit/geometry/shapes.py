"""Flat shapes: grown, joined, cut and clipped; the only door to flat booleans."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from manifold3d import CrossSection, FillRule, JoinType
from scipy.spatial import cKDTree

from fitkit.errors import MeshError
from fitkit.geometry.mesh import BoolArray, FloatArray

#: Straight pieces of a full circle at a grown corner: 0.02 mm off a circle of 60 mm.
CIRCLE_PIECES = 128
#: Most steps across a shape in which the roomiest place is looked for.
MOST_STEPS = 120

#: Closed outlines, each of shape (k, 2), first point not repeated: bodies run
#: counter-clockwise, holes clockwise.
Shape = tuple[FloatArray, ...]


def shape(outlines: Sequence[FloatArray]) -> Shape:
    """
    Take closed outlines for one shape: what lies within an odd number of them.

    Parameters
    ----------
    outlines : sequence of ndarray, shape (k, 2)
        First point repeated at the end or not. [mm]

    Raises
    ------
    MeshError
        If nothing lies within.
    """
    found = _unwrapped(_wrapped(outlines, FillRule.EvenOdd))
    if not found:
        msg = "An outline must enclose an area; got a line that goes back on itself."
        raise MeshError(msg)
    return found


def box(*, low: tuple[float, float], high: tuple[float, float]) -> Shape:
    """Give an upright rectangle from its lower left and upper right corner. [mm]."""
    (left, bottom), (right, top) = low, high
    return (np.array([[left, bottom], [right, bottom], [right, top], [left, top]]),)


def grown(one: Shape, *, by_mm: float) -> Shape:
    """
    Grow a shape all round, corners rounded; shrink it by a negative amount.

    Examples
    --------
    >>> square = box(low=(0, 0), high=(10, 10))
    >>> round(area_mm2(grown(square, by_mm=1)), 2)  # 100 + 40 + pi, less the chords
    143.14
    """
    whole = _wrapped(one).offset(by_mm, JoinType.Round, 2.0, CIRCLE_PIECES)
    return _unwrapped(whole)


def joined(first: Shape, second: Shape) -> Shape:
    """Give what lies in either shape."""
    return _unwrapped(_wrapped(first) + _wrapped(second))


def without(first: Shape, second: Shape) -> Shape:
    """Give what lies in the first shape but not in the second; may be empty."""
    return _unwrapped(_wrapped(first) - _wrapped(second))


def common(first: Shape, second: Shape) -> Shape:
    """Give what lies in both shapes; may be empty."""
    return _unwrapped(_wrapped(first) ^ _wrapped(second))


def bodies(one: Shape) -> tuple[Shape, ...]:
    """Part a shape into pieces that hang together, largest first."""
    found = [_unwrapped(each) for each in _wrapped(one).decompose()]
    return tuple(sorted(found, key=area_mm2, reverse=True))


def area_mm2(one: Shape) -> float:
    """Area of a shape in mm²; holes count against it."""
    return sum(_signed(outline) for outline in one)


def lies_in(points: FloatArray, outlines: Sequence[FloatArray]) -> BoolArray:
    """
    Say which points lie within an odd number of closed outlines.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
    outlines : sequence of ndarray, shape (k, 2)
        First point repeated at the end or not.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    inside = np.zeros(len(points), dtype=bool)
    for outline in outlines:
        for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            spans = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
            if spans.any():
                rise = (points[spans, 1] - a[1]) / (b[1] - a[1])
                inside[spans] ^= a[0] + rise * (b[0] - a[0]) > points[spans, 0]
    return inside


def roomiest(one: Shape, *, step_mm: float = 1.5) -> tuple[FloatArray, float]:
    """
    Find the place of a shape that is farthest from its outlines, to about a step.

    Returns
    -------
    place : ndarray, shape (2,)
    clear_mm : float
        Distance from there to the nearest outline. [mm]

    Examples
    --------
    >>> place, clear = roomiest(box(low=(0, 0), high=(30, 12)), step_mm=1.0)
    >>> bool(abs(place[1] - 6) <= 1), round(clear)
    (True, 6)
    """
    low, high = one[0].min(axis=0), one[0].max(axis=0)
    step = max(step_mm, float((high - low).max()) / MOST_STEPS)
    across, up = (np.arange(low[axis] + step / 2, high[axis], step) for axis in (0, 1))
    nodes = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    nodes = nodes[lies_in(nodes, one)]
    if not len(nodes):
        return (low + high) / 2, 0.0
    dots = np.concatenate([_dotted(ring, step / 2) for ring in one])
    gaps = np.asarray(cKDTree(dots).query(nodes)[0])
    best = int(gaps.argmax())
    return nodes[best], float(gaps[best])


def _dotted(outline: FloatArray, step: float) -> FloatArray:
    """Points along a closed outline, no farther apart than a step, (n, 2)."""
    ring = np.vstack([outline, outline[:1]])
    along = np.append(0.0, np.linalg.norm(np.diff(ring, axis=0), axis=1).cumsum())
    at = np.linspace(0.0, along[-1], max(8, int(along[-1] / step) + 1), endpoint=False)
    return np.column_stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)])


def _signed(outline: FloatArray) -> float:
    right, up = outline.T
    return float(np.sum(right * np.roll(up, -1) - up * np.roll(right, -1)) / 2)


def _wrapped(
    outlines: Sequence[FloatArray], rule: FillRule = FillRule.Positive
) -> CrossSection:
    return CrossSection([np.array(each, dtype=float) for each in outlines], rule)


def _unwrapped(found: CrossSection) -> Shape:
    return tuple(np.array(each, dtype=float) for each in found.to_polygons())
