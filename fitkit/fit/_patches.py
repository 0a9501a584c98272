"""Which opening a ray leaves through, and how much of it passes what fills the opening."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.fit._cast import CellField, Look
from fitkit.fit._directions import DirectionGrid
from fitkit.fit._shell import Shell
from fitkit.fit.lens import Filter, stack_passes
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from fitkit.geometry.rays import RayScene

#: Patches reach this far into the wall around their opening, so that no ray slips
#: between the two. [mm]
OVERLAP_MM = 0.5


@dataclass(frozen=True, eq=False)
class Patches:
    """Openings spanned by fans of triangles about their centres, in a shell's scene."""

    scene: RayScene
    #: Name of the opening that each face of the scene spans, shape (f,).
    names: tuple[str, ...]
    which: IntArray


def opening_patches(shell: Shell, names: Sequence[str]) -> Patches | None:
    """Span the named openings of a shell; None if there are none of these names."""
    placement = shell.placement
    ratio = placement.size / placement.mean_size
    chosen = [o for o in shell.piece.openings if o.name in names]
    if not chosen:
        return None
    points, faces, which, count = [], [], [], 0
    for number, opening in enumerate(chosen):
        ring = np.asarray(opening.rim[:-1]) * ratio
        middle = ring.mean(axis=0, keepdims=True)
        outward = ring - middle
        length = np.linalg.norm(outward, axis=1, keepdims=True)
        points += [ring + OVERLAP_MM * outward / np.maximum(length, 1e-9), middle]
        index = count + np.arange(len(ring))
        hub = np.full(len(ring), count + len(ring))
        faces.append(np.column_stack([index, np.roll(index, -1), hub]))
        which.append(np.full(len(ring), number))
        count += len(ring) + 1
    mesh = Mesh(np.concatenate(points), np.concatenate(faces))
    return Patches(RayScene(mesh), tuple(o.name for o in chosen), np.concatenate(which))


def filtered_light(
    look: Look,
    shell: Shell,
    grid: DirectionGrid,
    cells: CellField,
    filled: Mapping[str, tuple[Filter, ...]],
) -> FloatArray:
    """
    Give the light from each cell after what fills the openings, shape (n, m).

    A cell seen only at its edge takes the share of those rays of the whole pupil that
    meet something to pass.
    """
    patches = opening_patches(shell, list(filled))
    if patches is None:
        return cells.lit
    rows = np.nonzero(cells.lit.ravel() > 0)[0]
    bits, ways = cells.bits.ravel()[rows], grid.directions[rows]
    only_edge = bits == 0
    bits = np.where(only_edge, (1 << len(look.pupil.weights)) - 1, bits)
    total, passed = np.zeros(len(rows)), np.zeros(len(rows))
    for j, (point, weight) in enumerate(
        zip(look.pupil.points, look.pupil.weights, strict=True)
    ):
        lit = np.nonzero(bits >> np.uint32(j) & np.uint32(1))[0]
        share, met = _passed(patches, shell, point, ways[lit], filled)
        counts = weight * (met | ~only_edge[lit])
        passed[lit] += counts * share
        total[lit] += counts
    light = cells.lit.copy().ravel()
    light[rows] *= np.where(total > 0, passed / np.maximum(total, 1e-12), 1.0)
    return light.reshape(grid.shape)


def _passed(
    patches: Patches,
    shell: Shell,
    origin: FloatArray,
    directions: FloatArray,
    filled: Mapping[str, tuple[Filter, ...]],
) -> tuple[FloatArray, BoolArray]:
    """Share of each ray's light that passes, and whether it met anything to pass."""
    hits = shell.hit(patches.scene, origin, directions)
    share = np.ones(len(directions))
    turned = shell.turned(directions)
    for number, name in enumerate(patches.names):
        through = np.nonzero((hits.face >= 0) & (patches.which[hits.face] == number))[0]
        normal = patches.scene.mesh.normals[hits.face[through]]
        cosine = np.einsum("ij,ij->i", normal, turned[through])
        share[through] = stack_passes(filled[name], cosine)
    return share, hits.face >= 0
