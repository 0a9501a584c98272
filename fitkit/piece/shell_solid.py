"""The finished wall of a bare skin as one solid: to part, to print, to weigh."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import DesignError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh, join
from fitkit.geometry.solids import is_solid, simplify
from fitkit.piece.buildup import Piece
from fitkit.piece.route_walls import RESOLUTION_MM, route_inner, route_outer
from fitkit.piece.routes import Route

#: A pocket of air shut in by the wall is filled if smaller than this. [mm³]
LEAST_VOID_MM3 = 1000.0
#: No surface moves farther than this when vertices that can be spared are dropped. [mm]
TOLERANCE_MM = 0.05


def shell_solid(
    piece: Piece,
    *,
    route: Route,
    size: float | ArrayLike = 1.0,
    resolution_mm: float = RESOLUTION_MM,
) -> Mesh:
    """
    Make a solid of the wall that a route gives a bare skin.

    Parameters
    ----------
    piece : Piece
        Of a design drawn as a skin; a drawn wall is a solid already.
    route : Route
    size : float or array-like, shape (3,)
        Finished size over the drawn one.
    resolution_mm : float
        As for `route_walls`. [mm]

    Returns
    -------
    Mesh
        Closed, wound outward; at true distances from the skin to 0.1 mm, with flat rims
        across its openings. Pockets of air under 1 cm³ are filled.

    Raises
    ------
    DesignError
        If a wall is drawn, as `route_walls`, or if the growing wall closes or joins
        openings, so that the two sides no longer have the same rims.
    """
    if piece.design.surface == "solid":
        msg = f"{piece.name} is drawn with its wall: its parts are solids as they are."
        raise DesignError(msg)
    inner = route_inner(piece, route=route, size=size, resolution_mm=resolution_mm)
    outer = route_outer(piece, route=route, size=size, resolution_mm=resolution_mm)
    sides = _without_pockets(outer), _without_pockets(inner).flipped()
    rims = _rims(*sides, piece.name)
    whole = join(sides)
    solid = Mesh(whole.vertices, np.concatenate([whole.faces, rims]))
    if not is_solid(solid):
        msg = (
            f"{piece.name}: the finished wall does not close around its openings. Mend the "
            "rims of the drawn skin: they cross or touch themselves."
        )
        raise DesignError(msg)
    return simplify(solid, tolerance_mm=TOLERANCE_MM)


def _without_pockets(side: Mesh) -> Mesh:
    """Drop closed bits that shut in a little air."""
    parts = [
        part
        for part in side.parts()
        if len(part.boundary_loops) or abs(part.volume_mm3) >= LEAST_VOID_MM3
    ]
    return join(parts)


def _rims(outer: Mesh, inner: Mesh, name: str) -> IntArray:
    """Faces that join each rim of one side to the nearest of the other, (k, 3)."""
    outs, ins = outer.boundary_loops, inner.boundary_loops
    if len(outs) != len(ins):
        msg = (
            f"{name}: outside, the finished wall has {len(outs)} openings and inside "
            f"{len(ins)}: the wall closes or joins some. Widen them, or lay less."
        )
        raise DesignError(msg)
    middles = np.array([inner.vertices[loop].mean(axis=0) for loop in ins])
    faces, left = [np.empty((0, 3), dtype=np.int64)], set(range(len(ins)))
    for loop in outs:
        ring = outer.vertices[loop]
        off = np.linalg.norm(middles - ring.mean(axis=0), axis=1)
        nearest = min(left, key=lambda k: off[k])
        left.discard(nearest)
        other = ins[nearest][::-1]  # the flipped side runs the other way round
        strip = _zipped(ring, inner.vertices[other])
        index = np.concatenate([loop, other + len(outer.vertices)])
        faces.append(index[strip])
    return np.concatenate(faces)


def _zipped(one: FloatArray, other: FloatArray) -> IntArray:
    """
    Join two closed loops that run side by side by a strip of triangles.

    Parameters
    ----------
    one, other : ndarray, shape (n, 3) and (m, 3)
        Going the same way round; first points not repeated.

    Returns
    -------
    ndarray of int, shape (n + m, 3)
        Rows of the two put one after the other; each step takes the shorter diagonal.
    """
    n, m = len(one), len(other)
    start = int(np.linalg.norm(other - one[0], axis=1).argmin())
    faces = []
    i = j = 0
    while i < n or j < m:
        a, b = i % n, (start + j) % m
        onward, across = (i + 1) % n, (start + j + 1) % m
        step_one = i < n and (
            j == m
            or np.linalg.norm(one[onward] - other[b])
            <= np.linalg.norm(one[a] - other[across])
        )
        if step_one:
            faces.append((onward, a, n + b))
            i += 1
        else:
            faces.append((a, n + b, n + across))
            j += 1
    return np.array(faces, dtype=np.int64)
