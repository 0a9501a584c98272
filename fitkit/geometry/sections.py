"""Plane cuts of a mesh as polylines, and the tape girth around them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull, QhullError

from fitkit.errors import MeshError
from fitkit.geometry.chains import chain
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: A vertex this near the plane, over the mesh's diagonal, lies on it.
ON_PLANE = 1e-9


def section(
    mesh: Mesh,
    *,
    point_mm: ArrayLike,
    normal: ArrayLike,
    faces: BoolArray | IntArray | None = None,
) -> list[FloatArray]:
    """
    Cut a mesh with a plane.

    Parameters
    ----------
    mesh : Mesh
        Closed or open.
    point_mm : array-like, shape (3,)
        Any point of the plane. [mm]
    normal : array-like, shape (3,)
        Its normal, any length but zero.
    faces : ndarray of bool, shape (m,), or of int, shape (k,), optional
        Cut only these faces.

    Returns
    -------
    list of ndarray, shape (k, 3)
        Polylines, longest first; a closed one repeats its first point. [mm] On a mesh
        wound outward they run counter-clockwise around the solid, seen from the tip
        of the normal.

    Raises
    ------
    MeshError
        If the normal has no direction.

    Notes
    -----
    A vertex on the plane counts as lying on the side the normal points to, for every
    face alike. So the cut is the limit of planes that come up from behind: nothing is
    dropped or drawn twice, whichever vertices lie on the plane, and a face lying flat
    in it is outlined where the mesh goes on behind it, left out where it does not.
    """
    heights = _heights(mesh, np.asarray(point_mm, dtype=float), normal)
    segments = _cut_edges(mesh, heights >= 0, faces)
    if not len(segments):
        return []
    used, ends = np.unique(segments, return_inverse=True)
    points = _crossings(mesh, heights, used)
    lines = [_thinned(points[walk], mesh.scale_mm) for walk in chain(ends.reshape(-1, 2))]
    return sorted((p for p in lines if len(p) > 1), key=length_mm, reverse=True)


def length_mm(polyline: FloatArray) -> float:
    """Length along a polyline, shape (k, 3), in mm."""
    return float(np.linalg.norm(np.diff(polyline, axis=0), axis=1).sum())


def hull_loop(points: FloatArray, *, normal: ArrayLike) -> FloatArray:
    """
    Stretch a tape around points of one plane.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        Points of the plane, in any order. [mm]
    normal : array-like, shape (3,)
        Normal of the plane.

    Returns
    -------
    ndarray, shape (h + 1, 3)
        Corners of the convex hull, counter-clockwise seen from the tip of the normal;
        the first is repeated. [mm]

    Raises
    ------
    MeshError
        If the points lie on one line, or are fewer than three.
    """
    flat = points @ _in_plane_axes(normal).T
    try:
        hull = ConvexHull(flat)
    except (QhullError, ValueError) as err:
        msg = (
            f"hull_loop needs three points that are not in line; got {len(points)}. "
            "Does the plane only graze the mesh?"
        )
        raise MeshError(msg) from err
    loop: FloatArray = points[np.append(hull.vertices, hull.vertices[0])]
    return loop


def hull_girth_mm(
    mesh: Mesh,
    *,
    point_mm: ArrayLike,
    normal: ArrayLike,
    faces: BoolArray | IntArray | None = None,
    near_mm: ArrayLike | None = None,
) -> float:
    """
    Measure a girth as a tape does: it spans the hollows of a plane section.

    Parameters
    ----------
    mesh, point_mm, normal, faces
        As for `section`. Use `faces` to leave out what the tape does not go round,
        ears or arms for instance.
    near_mm : array-like, shape (3,), optional
        Put the tape around the one polyline that passes nearest to this point; without
        it, around all of them together. [mm]

    Returns
    -------
    float
        Perimeter of the convex hull. [mm]

    Raises
    ------
    MeshError
        If the plane misses the mesh.
    """
    lines = section(mesh, point_mm=point_mm, normal=normal, faces=faces)
    if not lines:
        msg = f"The plane at {np.asarray(point_mm).tolist()} mm misses the mesh."
        raise MeshError(msg)
    if near_mm is not None:
        target = np.asarray(near_mm, dtype=float)
        lines = [min(lines, key=lambda line: _least_distance(line, target))]
    return length_mm(hull_loop(np.concatenate(lines), normal=normal))


def _heights(mesh: Mesh, point: FloatArray, normal: ArrayLike) -> FloatArray:
    heights = (mesh.vertices - point) @ _unit_normal(normal)
    heights[np.abs(heights) <= ON_PLANE * mesh.scale_mm] = 0.0
    return heights


def _unit_normal(normal: ArrayLike) -> FloatArray:
    direction = np.asarray(normal, dtype=float)
    length = np.linalg.norm(direction)
    if not (np.isfinite(length) and length > 0):
        msg = f"normal must be a direction of length above 0; got {direction.tolist()}."
        raise MeshError(msg)
    unit: FloatArray = direction / length
    return unit


def _in_plane_axes(normal: ArrayLike) -> FloatArray:
    """Give two unit axes, shape (2, 3), that turn counter-clockwise about the normal."""
    direction = _unit_normal(normal)
    helper = np.eye(3)[np.argmin(np.abs(direction))]
    first = np.cross(helper, direction)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(direction, first)])


def _cut_edges(
    mesh: Mesh, ahead: BoolArray, faces: BoolArray | IntArray | None
) -> IntArray:
    """Give the two edges at which each straddling face is cut, shape (k, 2)."""
    chosen = np.arange(len(mesh.faces))
    chosen = chosen if faces is None else chosen[faces]
    side = ahead[mesh.faces[chosen]]
    count = side.sum(axis=1)
    cut = (count == 1) | (count == 2)
    side, chosen = side[cut], chosen[cut]
    lone_is_ahead = count[cut] == 1
    lone = np.argmax(side == lone_is_ahead[:, None], axis=1)
    leaving = mesh.face_edges[chosen, lone]
    arriving = mesh.face_edges[chosen, (lone + 2) % 3]
    pairs = np.column_stack([leaving, arriving])
    return np.where(lone_is_ahead[:, None], pairs, pairs[:, ::-1])


def _crossings(mesh: Mesh, heights: FloatArray, edges: IntArray) -> FloatArray:
    a, b = mesh.edges[edges].T
    share = (heights[a] / (heights[a] - heights[b]))[:, None]
    at: FloatArray = (1 - share) * mesh.vertices[a] + share * mesh.vertices[b]
    return at


def _thinned(line: FloatArray, scale: float) -> FloatArray:
    """Drop points that repeat the one before; a closed line stays exactly closed."""
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    kept: FloatArray = line[np.append(True, steps > ON_PLANE * scale)]
    if len(kept) > 1 and np.array_equal(line[0], line[-1]):
        kept[-1] = line[0]
    return kept


def _least_distance(line: FloatArray, target: FloatArray) -> float:
    start, along = line[:-1], np.diff(line, axis=0)
    length2 = np.einsum("ij,ij->i", along, along)
    share = np.clip(np.einsum("ij,ij->i", target - start, along) / length2, 0, 1)
    return float(np.linalg.norm(start + share[:, None] * along - target, axis=1).min())
