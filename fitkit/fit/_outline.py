"""Plane and space geometry of an opening's outline."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: A point nearer to an outline than this takes its direction from the side. [mm]
TOUCHING_MM = 1e-9


def hull_outline(outline: FloatArray) -> FloatArray:
    """Give the corners of the convex hull of plane points (m, 2), anticlockwise."""
    corners: FloatArray = outline[ConvexHull(outline).vertices]
    return corners


def in_space(outline: FloatArray, plane_point: FloatArray, axes: FloatArray) -> FloatArray:
    """Carry plane coordinates, shape (m, 2), into space, shape (m, 3). [mm]."""
    points: FloatArray = plane_point + outline @ axes
    return points


def edge_gaps(corners: FloatArray, point: FloatArray) -> tuple[FloatArray, FloatArray]:
    """
    Measure from a point to the line along each side of a plane polygon.

    Parameters
    ----------
    corners : ndarray, shape (m, 2)
    point : ndarray, shape (2,)

    Returns
    -------
    gap : ndarray, shape (m,)
        Positive on the polygon's side of the line, for a convex polygon.
    inward : ndarray, shape (m, 2)
        Unit normals that point into the polygon.
    """
    along = np.roll(corners, -1, axis=0) - corners
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    if signed_area(corners) < 0:
        inward = -inward
    inward /= np.linalg.norm(inward, axis=1)[:, None]
    return np.einsum("ij,ij->i", inward, point - corners), inward


def share_along(corners: FloatArray, point: FloatArray) -> FloatArray:
    """Where along each side of a polygon (m, 2) the foot of a point lies, 0 to 1 on it."""
    along = np.roll(corners, -1, axis=0) - corners
    length2 = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share: FloatArray = np.einsum("ij,ij->i", point - corners, along) / length2
    return share


def nearest_side(
    corners: FloatArray, point: FloatArray
) -> tuple[float, FloatArray, IntArray, FloatArray]:
    """
    Find the place on a polygon's outline, shape (m, 2), that is nearest to a point.

    Returns
    -------
    margin : float
        Distance to it, positive inside. [mm]
    inward : ndarray, shape (1, 2)
        Unit direction along which the margin grows.
    side : ndarray of int, shape (1,)
        The side it lies on.
    share : ndarray, shape (1,)
        How far along that side.
    """
    along = np.roll(corners, -1, axis=0) - corners
    share = np.clip(share_along(corners, point), 0.0, 1.0)
    offset = point - corners - share[:, None] * along
    side = np.array([np.argmin(np.linalg.norm(offset, axis=1))], dtype=np.int64)
    gap = float(np.linalg.norm(offset[side]))
    margin = gap if is_inside(corners, point) else -gap
    if gap < TOUCHING_MM:
        _, inward = edge_gaps(corners, point)
        return margin, inward[side], side, share[side]
    return margin, offset[side] / margin, side, share[side]


def signed_area(corners: FloatArray) -> float:
    """Area of a plane polygon (m, 2), positive when it runs anticlockwise."""
    nxt = np.roll(corners, -1, axis=0)
    return float(np.sum(corners[:, 0] * nxt[:, 1] - corners[:, 1] * nxt[:, 0]) / 2)


def centroid(corners: FloatArray) -> FloatArray:
    """Centre of area of a plane polygon, shape (m, 2)."""
    start = corners - corners[0]
    nxt = np.roll(start, -1, axis=0)
    cross = start[:, 0] * nxt[:, 1] - start[:, 1] * nxt[:, 0]
    weight = ((start + nxt) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum())
    centre: FloatArray = corners[0] + weight
    return centre


def inner_radius(corners: FloatArray) -> float:
    """Radius of the largest circle inside a convex polygon, shape (m, 2). [mm]."""
    origin = corners.mean(axis=0)
    gap, inward = edge_gaps(corners, origin)
    sides = np.column_stack([-inward, np.ones(len(gap))])
    bounds = [(None, None), (None, None), (0.0, None)]
    found = linprog([0.0, 0.0, -1.0], A_ub=sides, b_ub=gap, bounds=bounds)
    return float(np.asarray(found.x)[2])


def open_ring(points: FloatArray) -> FloatArray:
    """Drop the last point of a ring if it repeats the first."""
    return points[:-1] if np.array_equal(points[0], points[-1]) else points


def ring_distance(ring: FloatArray, point: FloatArray) -> float:
    """Distance from a point to the nearest place on a closed ring of segments."""
    start = open_ring(ring)
    along = np.roll(start, -1, axis=0) - start
    share = np.clip(share_along(start, point), 0.0, 1.0)
    return float(np.linalg.norm(point - start - share[:, None] * along, axis=1).min())


def is_inside(corners: FloatArray, point: FloatArray) -> bool:
    """Whether a plane point lies in a polygon, shape (m, 2), by counting crossings."""
    nxt = np.roll(corners, -1, axis=0)
    spans = (corners[:, 1] > point[1]) != (nxt[:, 1] > point[1])
    a, b = corners[spans], nxt[spans]
    at = a[:, 0] + (point[1] - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
    return bool(np.sum(at > point[0]) % 2)


def signed_margin(corners: FloatArray, point: FloatArray) -> float:
    """Distance from a plane point to a polygon's outline, positive inside. [mm]."""
    return nearest_side(corners, point)[0]


def reach(corners: FloatArray, point: FloatArray, direction: FloatArray) -> float:
    """Distance from a point to the last side of a polygon met along a direction. [mm]."""
    side = np.array([-direction[1], direction[0]])
    rest = corners - point
    along, across = rest @ direction, rest @ side
    a, b = across, np.roll(across, -1)
    spans = (a > 0) != (b > 0)
    share = a[spans] / (a[spans] - b[spans])
    met = along[spans] + share * (np.roll(along, -1)[spans] - along[spans])
    return float(met.max()) if len(met) else float("nan")
