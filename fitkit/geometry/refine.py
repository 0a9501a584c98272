"""Split triangles: at long edges, or at any edges that are told."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.mesh import IntArray, Mesh

#: Rounds of halving; each shortens a long edge to a half.
MOST_ROUNDS = 12
#: Faces beyond which no more are made.
MOST_FACES = 2_000_000


def split_long_edges(mesh: Mesh, *, longest_mm: float) -> Mesh:
    """
    Halve edges until none is longer than wanted; the shape stays as it is.

    Parameters
    ----------
    mesh : Mesh
    longest_mm : float
        Above 0. [mm]

    Returns
    -------
    Mesh
        Neighbours keep sharing whole edges. Where it would take more than 2,000,000
        faces, longer edges are left.
    """
    for _ in range(MOST_ROUNDS):
        ends = mesh.vertices[mesh.edges]
        long = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1) > longest_mm
        if not long.any() or len(mesh.faces) > MOST_FACES / 4:
            break
        number = np.full(len(mesh.edges), -1)
        number[long] = len(mesh.vertices) + np.arange(long.sum())
        vertices = np.concatenate([mesh.vertices, ends[long].mean(axis=1)])
        mesh = Mesh(vertices, split_faces(mesh.faces, number[mesh.face_edges]))
    return mesh


def split_faces(faces: IntArray, middle: IntArray) -> IntArray:
    """
    Split triangles at new vertices on their edges.

    `middle` (m, 3) holds the new vertex on the edge from corner k to k + 1, or -1.
    """
    count = (middle >= 0).sum(axis=1)
    turn = np.where(count == 1, np.argmax(middle >= 0, axis=1), np.argmin(middle, axis=1))
    order = (turn[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces, order, axis=1).T
    ab, bc, ca = np.take_along_axis(middle, order, axis=1).T
    whole, one, two, three = (np.nonzero(count == k)[0] for k in range(4))
    pieces = [
        (whole, (a, b, c)),
        (one, (a, ab, c)), (one, (ab, b, c)),
        (two, (a, b, bc)), (two, (a, bc, ca)), (two, (ca, bc, c)),
        (three, (a, ab, ca)), (three, (ab, b, bc)),
        (three, (ca, bc, c)), (three, (ab, bc, ca)),
    ]  # fmt: skip
    return np.concatenate([np.column_stack(corners)[rows] for rows, corners in pieces])
