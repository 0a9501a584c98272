"""Exact distance between two triangles, many pairs at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NEXT = [1, 2, 0]
#: Every edge of one triangle against every edge of the other.
_EDGE_A, _EDGE_B = np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3)
#: Below this share of the product of squared lengths, edges count as parallel.
_PARALLEL = 1e-14


def triangle_gaps(a: Floats, b: Floats) -> tuple[Floats, Floats, Floats]:
    """
    Give the distance of k pairs of triangles, and where it is.

    Parameters
    ----------
    a, b : ndarray, shape (k, 3, 3)
        Corners of the triangles of each pair. [mm]

    Returns
    -------
    gap_mm : ndarray, shape (k,)
        0 where the two meet. [mm]
    on_a, on_b : ndarray, shape (k, 3)
        The points of each that are nearest; where they meet, a point of both. [mm]

    Notes
    -----
    Two triangles that do not meet are nearest at an edge of each, or at a corner of one
    and the inside of the other; two that meet have an edge of one that runs through
    the other. All 9 pairs of edges, 6 corners and 6 edges are looked at: C. Ericson,
    *Real-Time Collision Detection* (2005), sections 5.1.9 and 5.1.5.
    """
    found = [_edges(a, b), _corners(a, b), _flip(_corners(b, a))]
    found += [_crossings(a, b), _flip(_crossings(b, a))]
    gap = np.stack([one[0] for one in found])
    best, rows = gap.argmin(axis=0), np.arange(len(a))
    on_a = np.stack([one[1] for one in found])[best, rows]
    on_b = np.stack([one[2] for one in found])[best, rows]
    return gap[best, rows], on_a, on_b


Nearest = tuple[Floats, Floats, Floats]


def _flip(found: Nearest) -> Nearest:
    return found[0], found[2], found[1]


def _edges(a: Floats, b: Floats) -> Nearest:
    """Nearest pair of edges."""
    way_a, way_b = a[:, _NEXT] - a, b[:, _NEXT] - b
    p, u = a[:, _EDGE_A], way_a[:, _EDGE_A]
    q, v = b[:, _EDGE_B], way_b[:, _EDGE_B]
    r = p - q
    uu, vv, uv = _dot(u, u), _dot(v, v), _dot(u, v)
    ur, vr = _dot(u, r), _dot(v, r)
    square = uu * vv - uv * uv
    skew = square > _PARALLEL * uu * vv
    s = _ratio(uv * vr - ur * vv, np.where(skew, square, 0.0))
    t = _ratio(uv * s + vr, vv)
    s = _ratio(uv * t - ur, uu)
    on_a, on_b = p + s[..., None] * u, q + t[..., None] * v
    apart = on_a - on_b
    square = _dot(apart, apart)
    best, rows = square.argmin(axis=1), np.arange(len(a))
    return np.sqrt(square[rows, best]), on_a[rows, best], on_b[rows, best]


def _corners(a: Floats, b: Floats) -> Nearest:
    """Corner of `a` nearest to the inside of `b`; inf if none lies over it."""
    normal = cross(b[:, 1] - b[:, 0], b[:, 2] - b[:, 0])
    length = np.sqrt(_dot(normal, normal))
    unit = normal / np.where(length > 0, length, 1.0)[:, None]
    height = np.einsum("kij,kj->ki", a - b[:, :1], unit)
    foot = a - height[..., None] * unit[:, None]
    over = _inside(foot, b, unit) & (length > 0)[:, None]
    gap = np.where(over, np.abs(height), np.inf)
    best, rows = gap.argmin(axis=1), np.arange(len(a))
    return gap[rows, best], a[rows, best], foot[rows, best]


def _crossings(a: Floats, b: Floats) -> Nearest:
    """Gap 0 where an edge of `a` runs through `b`, else inf."""
    normal = cross(b[:, 1] - b[:, 0], b[:, 2] - b[:, 0])
    height = np.einsum("kij,kj->ki", a - b[:, :1], normal)
    ahead = height[:, _NEXT]
    across = (height <= 0) & (ahead >= 0) | (height >= 0) & (ahead <= 0)
    across &= height != ahead
    share = _ratio(height, np.where(across, height - ahead, 0.0))
    at = a + share[..., None] * (a[:, _NEXT] - a)
    meets = across & _inside(at, b, normal)
    gap = np.where(meets, 0.0, np.inf)
    best, rows = gap.argmin(axis=1), np.arange(len(a))
    where = at[rows, best]
    return gap[rows, best], where, where


def _inside(points: Floats, b: Floats, normal: Floats) -> NDArray[np.bool_]:
    """Whether points (k, 3, 3) in the planes of triangles b lie within them."""
    inside = np.ones(points.shape[:2], dtype=bool)
    for corner, following in enumerate(_NEXT):
        side = cross(normal, b[:, following] - b[:, corner])
        inside &= np.einsum("kij,kj->ki", points - b[:, None, corner], side) >= 0
    return inside


def cross(a: Floats, b: Floats) -> Floats:
    """Cross product along the last axis, without the checks of numpy's own, (..., 3)."""
    product = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for k, (m, n) in enumerate(((1, 2), (2, 0), (0, 1))):
        product[..., k] = a[..., m] * b[..., n] - a[..., n] * b[..., m]
    return product


def _dot(a: Floats, b: Floats) -> Floats:
    product: Floats = np.einsum("...i,...i->...", a, b)
    return product


def _ratio(above: Floats, below: Floats) -> Floats:
    """Quotient held to 0 to 1; 0 where there is nothing to divide by."""
    whole = np.divide(above, below, out=np.zeros_like(above), where=below != 0)
    share: Floats = np.clip(whole, 0.0, 1.0)
    return share
