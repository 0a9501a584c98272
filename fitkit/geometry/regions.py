"""Parts of a surface with clean edges: fields evened out over it, and cuts at a level."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import coo_array, csr_array, diags_array
from scipy.sparse.linalg import splu

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: Steps of the evening out.
STEPS = 3
#: A cut keeps at least this share of an edge away from its ends, so that no sliver is
#: left.
LEAST_SHARE = 0.05
#: Cotangents beyond this belong to triangles too thin to be trusted.
MOST_COTANGENT = 20.0


def evener(mesh: Mesh, *, spread_mm: float) -> Callable[[FloatArray], FloatArray]:
    """
    Give a function that evens a field out over a surface, as heat would spread.

    Parameters
    ----------
    mesh : Mesh
        With n vertices.
    spread_mm : float
        Standard deviation of the bell that a point spreads to on a plane. [mm]

    Returns
    -------
    callable
        Takes and gives one value a vertex, shape (n,); the mean over the area is kept.

    Notes
    -----
    Backward steps of the heat equation with the cotangent Laplacian: U. Pinkall and
    K. Polthier, Experimental Mathematics 2(1), 15-36 (1993).
    """
    count = len(mesh.vertices)
    thirds = np.repeat(mesh.areas_mm2 / 3.0, 3)
    area = np.maximum(np.bincount(mesh.faces.ravel(), thirds, minlength=count), 1e-9)
    laplace = _cotangents(mesh)
    step = spread_mm**2 / 2.0 / STEPS
    solve = splu((diags_array(area) + step * laplace).tocsc()).solve

    def even(values: FloatArray) -> FloatArray:
        for _ in range(STEPS):
            values = solve(area * values)
        return values

    return even


def clipped(mesh: Mesh, values: FloatArray, *, level: float) -> Mesh:
    """
    Keep the part of a surface where a field is above a level, cut through triangles.

    Parameters
    ----------
    mesh : Mesh
        With n vertices.
    values : ndarray, shape (n,)
        Linear over every triangle.
    level : float

    Returns
    -------
    Mesh
        Without faces if the field is nowhere above the level. Old vertices come first.
    """
    above = values > level
    crossed = above[mesh.edges[:, 0]] != above[mesh.edges[:, 1]]
    ends = mesh.edges[crossed]
    low, high = values[ends[:, 0]], values[ends[:, 1]]
    share = np.clip((level - low) / (high - low), LEAST_SHARE, 1 - LEAST_SHARE)
    first, second = mesh.vertices[ends[:, 0]], mesh.vertices[ends[:, 1]]
    points = first + share[:, None] * (second - first)
    pairs = [(int(a), int(b)) for a, b in np.sort(ends, axis=1)]
    at = {pair: len(mesh.vertices) + k for k, pair in enumerate(pairs)}
    inside = above[mesh.faces]
    whole = mesh.faces[inside.all(axis=1)]
    partly = mesh.faces[inside.any(axis=1) & ~inside.all(axis=1)]
    cut = [part for face in partly for part in _cut_face(face, above, at)]
    faces = np.vstack([whole, np.array(cut, dtype=np.int64).reshape(-1, 3)])
    return Mesh(np.vstack([mesh.vertices, points]), faces)


def _cut_face(
    face: IntArray, above: BoolArray, at: dict[tuple[int, int], int]
) -> list[tuple[int, int, int]]:
    """Give the one or two triangles of a cut triangle that lie above the level."""
    kept = [bool(above[vertex]) for vertex in face]
    alone = kept.index(sum(kept) == 1)  # the corner that stands against the other two
    a, b, c = (int(face[(alone + turn) % 3]) for turn in range(3))
    to_b, to_c = at[min(a, b), max(a, b)], at[min(a, c), max(a, c)]
    if kept[alone]:
        return [(a, to_b, to_c)]
    return [(to_b, b, c), (to_b, c, to_c)]


def _cotangents(mesh: Mesh) -> csr_array:
    """Cotangent Laplacian, positive on the diagonal, shape (n, n)."""
    count = len(mesh.vertices)
    cotangent = 1.0 / np.tan(np.radians(np.clip(mesh.corner_angles_deg, 1e-3, 179.999)))
    weight = np.clip(cotangent, -MOST_COTANGENT, MOST_COTANGENT).ravel() / 2.0
    left = mesh.faces[:, [1, 2, 0]].ravel()
    right = mesh.faces[:, [2, 0, 1]].ravel()
    rows, columns = np.concatenate([left, right]), np.concatenate([right, left])
    both = np.concatenate([weight, weight])
    links = coo_array((both, (rows, columns)), shape=(count, count)).tocsr()
    laplace: csr_array = (diags_array(links.sum(axis=1)) - links).tocsr()
    return laplace
