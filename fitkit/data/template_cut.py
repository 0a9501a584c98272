"""
Cutting a closed head from a body mesh: lips and lids closed, long edges split, neck cut.

New vertices are always linear in the old ones (a sparse matrix), so that modes of
shape follow every cut.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fitkit.data.template_source import Source

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Ring of base vertices on the red of the lips, in front of where they touch.
LIP_RING = (509, 508)
#: A base vertex in the middle of the crown.
ON_CROWN = 1013
#: Lengths that differ by less are the same on left and right. [mm]
SAME_MM = 0.02
#: Edges longer than this are split once. [mm]
LONG_EDGE_MM = 7.0


def ring_through(quads: Ints, first: int, second: int) -> list[int]:
    """Follow the edge loop that passes straight through four-valent vertices."""
    neighbours: dict[int, set[int]] = {}
    faces: dict[int, set[int]] = {}
    for index, quad in enumerate(quads.tolist()):
        for a, b in zip(quad, quad[1:] + quad[:1], strict=True):
            neighbours.setdefault(a, set()).add(b)
            neighbours.setdefault(b, set()).add(a)
            faces.setdefault(a, set()).add(index)
    ring = [first, second]
    while True:
        shared = {int(v) for f in faces[ring[-2]] & faces[ring[-1]] for v in quads[f]}
        (ahead,) = neighbours[ring[-1]] - shared
        if ahead == first:
            return ring
        ring.append(ahead)


def eye_fan(ring: list[int], start: int, steps: int) -> Ints:
    """Faces from a lid ring over ``steps`` new rings of an eye to its middle."""
    size = len(ring)
    rings = [ring, *([start + k * size + i for i in range(size)] for k in range(steps))]
    faces = []
    for outer, inner in pairwise(rings):
        for i in range(size):
            j = (i + 1) % size
            faces += [[outer[i], outer[j], inner[i]], [outer[j], inner[j], inner[i]]]
    middle, last = start + steps * size, rings[-1]
    faces += [[a, b, middle] for a, b in zip(last, last[1:] + last[:1], strict=True)]
    return np.array(faces)


def flood(quads: Ints, start: int, wall: set[tuple[int, int]]) -> NDArray[np.bool_]:
    """Faces reached from a vertex without crossing the wall's edges."""
    edges: dict[tuple[int, int], list[int]] = {}
    for index, quad in enumerate(quads):
        for a, b in zip(quad, np.roll(quad, -1), strict=True):
            edges.setdefault((min(a, b), max(a, b)), []).append(index)
    links = [f for e, f in edges.items() if len(f) == 2 and e not in wall]
    i, j = np.array(links).T
    graph = sp.coo_matrix((np.ones(len(i)), (i, j)), shape=(len(quads),) * 2)
    label = sp.csgraph.connected_components(graph, directed=False)[1]
    return np.asarray(label == label[np.nonzero((quads == start).any(1))[0][0]])


def split_quads(verts: Floats, quads: Ints) -> Ints:
    """
    Two triangles a quad, along the shorter diagonal.

    Of equal diagonals the one to the highest corner is taken, so that left and right
    are split alike.
    """
    a, b, c, d = quads.T
    longer = np.linalg.norm(verts[a] - verts[c], axis=1) - np.linalg.norm(
        verts[b] - verts[d], axis=1
    )
    tied = np.abs(longer) < SAME_MM
    rank = verts @ [0.0, 0.1, 1.0]
    first_is_high = np.maximum(rank[a], rank[c]) > np.maximum(rank[b], rank[d])
    short = np.where(tied, first_is_high, longer < 0)
    first = np.where(short[:, None], np.c_[a, b, c], np.c_[a, b, d])
    second = np.where(short[:, None], np.c_[a, c, d], np.c_[b, c, d])
    return np.vstack([first, second])


def join_lips(verts: Floats, ring: list[int]) -> Ints:
    """Strip of triangles between the lips, from the middle out to either corner."""
    half = len(ring) // 2
    if abs(verts[ring[0], 0]) > SAME_MM or abs(verts[ring[half], 0]) > SAME_MM:
        msg = "The lip ring must begin in the middle of the upper lip."
        raise ValueError(msg)
    faces = []
    for turned in (ring, [ring[0], *ring[:0:-1]]):
        corner = int(np.abs(verts[turned[: half + 1], 0]).argmax())
        faces += _strip(verts, turned[: corner + 1], turned[half : corner - 1 : -1])
    return np.array(faces)


def _strip(verts: Floats, upper: list[int], lower: list[int]) -> list[list[int]]:
    """Triangles between two chains that end in the same vertex, all wound alike."""
    mirror = 1 if verts[upper[-1], 0] > 0 else -1
    faces, i, j = [], 0, 0
    while i < len(upper) - 1 or j < len(lower) - 1:
        over = j == len(lower) - 1 or (
            i < len(upper) - 1
            and np.linalg.norm(verts[upper[i + 1]] - verts[lower[j]])
            <= np.linalg.norm(verts[lower[j + 1]] - verts[upper[i]])
        )
        faces.append([upper[i], upper[i + 1] if over else lower[j + 1], lower[j]])
        i, j = i + over, j + (not over)
    return [f[::mirror] for f in faces if len(set(f)) == 3]


def head_triangles(source: Source, mean: Floats) -> Ints:
    """Triangles of head, neck and upper shoulders; mouth and lids closed."""
    quads = source.quads
    high = mean[quads, 2] > mean[ON_CROWN, 2] - 320
    quads = quads[(high & (np.abs(mean[quads, 0]) < 125)).all(1)]
    lips = ring_through(quads, *LIP_RING)
    wall = set()
    for ring in (lips, *source.lid_rings):
        wall |= {(min(e), max(e)) for e in zip(ring, ring[1:] + ring[:1], strict=True)}
    faces = split_quads(mean, quads[flood(quads, ON_CROWN, wall)])
    for patch in (join_lips(mean, lips), *source.eye_patches):
        faces = np.vstack([faces, agreeing(patch, faces)])
    return faces


def agreeing(patch: Ints, faces: Ints) -> Ints:
    """A patch turned so that its rim runs against the faces around it."""
    clash = set(_directed_edges(patch)) & set(_directed_edges(faces))
    return patch[:, ::-1] if clash else patch


def _directed_edges(faces: Ints) -> list[tuple[int, int]]:
    edges = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return [(a, b) for a, b in edges.tolist()]


def split_long_edges(verts: Floats, faces: Ints) -> tuple[sp.csr_matrix, Ints]:
    """
    One step of Loop subdivision in which only long edges are split.

    Returns the matrix that makes the new vertices from the old (so that modes
    follow), and the new faces; triangles are cut in two, three or four.
    """
    edges = np.sort(np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), 1)
    unique, inverse, count = np.unique(edges, axis=0, return_inverse=True,
                                       return_counts=True)  # fmt: skip
    inverse = inverse.reshape(3, -1).T
    long = np.linalg.norm(verts[unique[:, 0]] - verts[unique[:, 1]], axis=1) > LONG_EDGE_MM
    new_id = np.full(len(unique), -1)
    new_id[long] = len(verts) + np.arange(long.sum())
    rows, cols, vals = [], [], []
    ends_weight = np.where(count == 2, 3 / 8, 1 / 2)
    for k in range(2):
        rows.append(new_id[long])
        cols.append(unique[long, k])
        vals.append(ends_weight[long])
    for k in range(3):  # vertex opposite to edge k of each face
        e = inverse[:, k]
        use = long[e] & (count[e] == 2)
        rows.append(new_id[e[use]])
        cols.append(faces[use, (k + 2) % 3])
        vals.append(np.full(use.sum(), 1 / 8))
    odd = (np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols)))
    total = len(verts) + int(long.sum())
    matrix = sp.coo_matrix(odd, shape=(total, len(verts))).tocsr()
    even = _even_rows(unique, count, len(verts), total)
    return sp.csr_matrix(matrix + even), _cut_faces(faces, new_id[inverse])


def _even_rows(edges: Ints, count: Ints, n: int, total: int) -> sp.csr_matrix:
    ones = np.ones(len(edges))
    link = sp.coo_matrix((ones, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    link = link + link.T
    valence = np.asarray(link.sum(1)).ravel()
    with np.errstate(divide="ignore"):
        beta = 5 / 8 - (3 / 8 + np.cos(2 * np.pi / np.maximum(valence, 1)) / 4) ** 2
    beta = np.where(valence > 0, beta / np.maximum(valence, 1), 0)
    beta[np.unique(edges[count != 2])] = 0  # open rim stays; it is cut away later
    even = sp.diags(beta) @ link + sp.diags(1 - beta * valence)
    return sp.csr_matrix(sp.vstack([even, sp.csr_matrix((total - n, n))]))


def _cut_faces(faces: Ints, mid: Ints) -> Ints:
    """Replace each face by one to four, by which of its edges were split."""
    out = []
    for (a, b, c), (ab, bc, ca) in zip(faces.tolist(), mid.tolist(), strict=True):
        pattern = (ab >= 0, bc >= 0, ca >= 0)
        while pattern in ((False, True, False), (False, False, True),
                          (False, True, True), (True, False, True)):  # fmt: skip
            a, b, c, ab, bc, ca = b, c, a, bc, ca, ab
            pattern = (ab >= 0, bc >= 0, ca >= 0)
        if pattern == (False, False, False):
            out.append((a, b, c))
        elif pattern == (True, False, False):
            out += [(a, ab, c), (ab, b, c)]
        elif pattern == (True, True, False):
            out += [(ab, b, bc), (a, ab, bc), (a, bc, c)]
        else:
            out += [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return np.array(out)


def clip_and_cap(
    verts: Floats, faces: Ints, *, point: Floats, normal: Floats
) -> tuple[sp.csr_matrix, Ints]:
    """
    Keep what lies above a plane, cut edges exactly, close the cut with a fan.

    Returns the matrix that makes the new vertices from ``verts`` (unused ones
    dropped, the cap's centre last) and the new faces.
    """
    height = (verts - point) @ (normal / np.linalg.norm(normal))
    above = height > 0
    cut: dict[tuple[int, int], int] = {}
    out: list[tuple[int, int, int]] = []
    rim: dict[int, int] = {}

    def crossing(a: int, b: int) -> int:
        return cut.setdefault((min(a, b), max(a, b)), len(verts) + len(cut))

    for face in faces:
        ring = [int(v) for v in face]
        up = above[face]
        if up.all():
            out.append((ring[0], ring[1], ring[2]))
        if up.all() or not up.any():
            continue
        k = int(np.nonzero(up)[0][0] if up.sum() == 1 else np.nonzero(~up)[0][0])
        a, b, c = ring[k:] + ring[:k]  # a is alone on its side
        ab, ca = crossing(a, b), crossing(c, a)
        if up.sum() == 1:
            out.append((a, ab, ca))
            rim[ca] = ab
        else:
            out += [(ab, b, c), (ab, c, ca)]
            rim[ab] = ca
    centre = len(verts) + len(cut)
    out += [(a, b, centre) for a, b in rim.items()]
    matrix = _crossing_matrix(height, cut, sorted(rim))
    used, compact = np.unique(np.array(out), return_inverse=True)
    return matrix[used], compact.reshape(-1, 3)


def _crossing_matrix(
    height: Floats, cut: dict[tuple[int, int], int], rim: list[int]
) -> sp.csr_matrix:
    n = len(height)
    a, b = np.array(list(cut)).T
    share = height[a] / (height[a] - height[b])
    row = np.arange(len(cut))
    shape = (len(cut), n)
    on_edges = sp.coo_matrix(
        (np.r_[1 - share, share], (np.r_[row, row], np.r_[a, b])), shape=shape
    ).tocsr()
    centre = sp.csr_matrix(on_edges[np.array(rim) - n].mean(0))
    return sp.csr_matrix(sp.vstack([sp.identity(n), on_edges, centre]))


def mirror_of(verts: Floats, index: int) -> int:
    """Base vertex that mirrors another across the midplane."""
    return int(np.argmin(((verts - verts[index] * [-1, 1, 1]) ** 2).sum(1)))
