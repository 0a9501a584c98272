"""Faces that share an edge: how sharp it is, and what lies within sharp edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, dijkstra

from fitkit.geometry.mesh import FloatArray, IntArray, Mesh

#: An edge sharper than this parts one patch of wall from the next. [deg]
SHARP_DEG = 30.0
#: How fast neighbours stop agreeing as the edge between them sharpens. [deg]
FADE_DEG = 25.0
#: A hollow edge counts as this much of a bulging one: creases cross an inner wall, but
#: every rim begins and ends with a bulge.
HOLLOW_EDGE = 0.6
#: A face less high than this over its longest edge is a needle without a sure normal.
#: [mm]
NEEDLE_MM = 0.02
#: How often that is averaged over neighbours: the outside may be rough.
BLURS = 10


@dataclass(frozen=True, kw_only=True, eq=False)
class Links:
    """Pairs of faces that share an edge."""

    #: The two faces, shape (k, 2).
    faces: IntArray
    #: Turn between their normals, halved where the solid is hollow, shape (k,). [deg]
    sharpness_deg: FloatArray
    #: Length of the edge, shape (k,). [mm]
    length_mm: FloatArray


def face_links(mesh: Mesh) -> Links:
    """Pair up the faces at every shared edge; at a worse edge, each with the next."""
    edge = mesh.face_edges.ravel()
    order = np.argsort(edge, kind="stable")
    edge, face = edge[order], order // 3
    same = edge[1:] == edge[:-1]
    pairs = np.column_stack([face[:-1][same], face[1:][same]])
    ends = mesh.vertices[mesh.edges[edge[1:][same]]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    normals = _trusted_normals(mesh, pairs, length)
    first, second = normals[pairs[:, 0]], normals[pairs[:, 1]]
    turn = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", first, second), -1, 1)))
    across = mesh.centroids[pairs[:, 1]] - mesh.centroids[pairs[:, 0]]
    convex = np.einsum("ij,ij->i", across, second - first) > 0
    return Links(
        faces=pairs,
        sharpness_deg=np.where(convex, turn, HOLLOW_EDGE * turn),
        length_mm=length,
    )


def _trusted_normals(mesh: Mesh, pairs: IntArray, length: FloatArray) -> FloatArray:
    """
    Let needles, too thin for a sure normal, borrow that of a sound face.

    The lender is the face reached with the least sum of 1 / length² over the edges
    that are crossed: a fan of needles borrows along its long edges, not over its rim.
    """
    longest = np.zeros(len(mesh.faces))
    for ends in pairs.T:
        np.maximum.at(longest, ends, length)
    needle = 2 * mesh.areas_mm2 < NEEDLE_MM * longest
    if not needle.any() or needle.all():
        return mesh.normals
    near = needle[pairs].any(axis=1)
    count = len(mesh.faces)
    cost = 1 / np.maximum(length[near], 1e-6) ** 2
    graph = coo_array((cost, tuple(pairs[near].T)), shape=(count, count)).tocsr()
    sound = np.nonzero(~needle)[0]
    _, _, lender = dijkstra(
        graph,
        directed=False,
        indices=sound,
        min_only=True,
        return_predecessors=True,
    )
    return np.asarray(mesh.normals[np.where(lender >= 0, lender, np.arange(count))])


def components(count: int, a: IntArray, b: IntArray) -> IntArray:
    """Give the number of the connected set that each of `count` nodes is in, (count,)."""
    graph = coo_array((np.ones(len(a), dtype=bool), (a, b)), shape=(count, count))
    labels: IntArray = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels


def smooth_patches(mesh: Mesh, links: Links) -> IntArray:
    """Give the patch, bounded by sharp edges, that each face is in, shape (m,)."""
    return components(len(mesh.faces), *links.faces[links.sharpness_deg < SHARP_DEG].T)


def pull(mesh: Mesh, links: Links) -> FloatArray:
    """Give how strongly linked faces agree: as heat flows, and not round a sharp edge."""
    a, b = links.faces.T
    apart = np.linalg.norm(mesh.centroids[a] - mesh.centroids[b], axis=1)
    stretch = np.clip(links.length_mm / np.maximum(apart, 1e-9), 0.01, 10)
    fade = np.exp(-((links.sharpness_deg / FADE_DEG) ** 2))
    return np.asarray(stretch * np.maximum(fade, 1e-4), dtype=float)


def blurred(mesh: Mesh, values: FloatArray, links: Links) -> FloatArray:
    """Average over neighbours, by area, without crossing sharp edges; any (m,)."""
    a, b = links.faces.T
    near = np.exp(-((links.sharpness_deg / FADE_DEG) ** 2))
    ends = (np.append(a, b), np.append(b, a))
    count, area = len(values), mesh.areas_mm2
    joint = coo_array((np.tile(near, 2), ends), shape=(count, count)).tocsr()
    weight = np.maximum(area + joint @ area, 1e-12)
    for _ in range(BLURS):
        values = (area * values + joint @ (area * values)) / weight
    return values
