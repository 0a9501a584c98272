"""Helper: shells whose every face is known to be outer skin, inner wall or rim.

The boolean kernel remembers which tool each face came from, so the truth that the
tests compare with is made before fitkit sees the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from manifold3d import Manifold

from fitkit.geometry.mesh import Mesh, join

OUTER, INNER, RIM = 0, 1, 2


@dataclass(frozen=True, eq=False)
class Shell:
    """A solid with a wall, and what each of its faces is."""

    mesh: Mesh
    kind: np.ndarray


def ball(*semi_axes_mm, at=(0, 0, 0), segments=96) -> Manifold:
    axes = semi_axes_mm * 3 if len(semi_axes_mm) == 1 else semi_axes_mm
    return Manifold.sphere(1.0, segments).scale(list(axes)).translate(list(at))


def box(*size_mm, at=(0, 0, 0)) -> Manifold:
    return Manifold.cube(list(size_mm), True).translate(list(at))


def rod(radius_mm, length_mm, at=(0, 0, 0), along="front", segments=48) -> Manifold:
    body = Manifold.cylinder(length_mm, radius_mm, radius_mm, segments, True)
    turn = {"front": [90, 0, 0], "up": [0, 0, 0], "right": [0, 90, 0]}[along]
    return body.rotate(turn).translate(list(at))


def ruffled(solid: Manifold, *, depth_mm, waves=9) -> Manifold:
    """Push deep folds into a round solid."""

    def fold(points):
        p = np.asarray(points, dtype=float)
        length = np.linalg.norm(p, axis=1, keepdims=True)
        way = p / np.maximum(length, 1e-9)
        turn = np.arctan2(way[:, 1], way[:, 0])
        wave = np.cos(waves * turn) * np.cos(waves * np.arcsin(way[:, 2]) * 0.8)
        return p + way * (0.5 * depth_mm * (wave[:, None] - 1) + depth_mm)

    return solid.warp_batch(fold)


def shell(outer, inner, *cuts) -> Shell:
    """Hollow `outer` with `inner`, then take every cut away; keep what came from where."""
    sources = [(outer, OUTER), (inner, INNER), *((cut, RIM) for cut in cuts)]
    labels, solids = {}, []
    for solid, label in sources:
        marked = solid.as_original()
        labels[marked.original_id()] = label
        solids.append(marked)
    body = solids[0]
    for tool in solids[1:]:
        body = body - tool
    raw = body.to_mesh()
    kind = np.empty(len(raw.tri_verts), dtype=int)
    ends = np.asarray(raw.run_index) // 3
    for source, start, end in zip(raw.run_original_id, ends[:-1], ends[1:], strict=True):
        kind[start:end] = labels[source]
    points = np.asarray(raw.vert_properties, dtype=float)[:, :3]
    return Shell(Mesh(points, np.asarray(raw.tri_verts, dtype=np.int64)), kind)


NECK_CUT = box(400, 400, 100, at=(0, 0, -160))  # all below up = -110
EYES = (rod(16, 120, at=(-32, 120, 0)), rod(16, 120, at=(32, 120, 0)))
MOUTH = box(60, 120, 14, at=(0, 120, -65))


def plain_shell(*, wall_mm=4.0, segments=96) -> Shell:
    """A ball of 140 mm radius with a neck cut, two eyes and a mouth slot."""
    outer = ball(140, segments=segments)
    inner = ball(140 - wall_mm, segments=segments)
    return shell(outer, inner, NECK_CUT, *EYES, MOUTH)


def ruffled_shell(*, segments=160) -> Shell:
    """A smooth cavity under an outside folded 30 mm deep, with cupped ears and a maw."""
    outer = ruffled(ball(125, 140, 150, segments=segments), depth_mm=30)
    for side in (-1, 1):
        ear = ball(40, 18, 60, at=(side * 105, 0, 150))
        cup = ball(30, 25, 52, at=(side * 105, 22, 155))
        outer = outer + (ear - cup)
    maw = ball(45, 60, 22, at=(0, 175, -65))  # a closed mouth bag, 40 mm deep
    outer = (outer + ball(60, 75, 45, at=(0, 125, -65))) - maw
    inner = ball(110, 125, 135, segments=96)
    return shell(outer, inner, NECK_CUT, *EYES)


def beaked_shell(*, segments=96) -> Shell:
    """A hollow beak 250 mm long, two hollow horns, and eyes on a bulging brow."""
    outer = ball(115, 130, 140, segments=segments)
    inner = ball(110, 125, 135, segments=segments)
    outer += ball(48, 250, 40, at=(0, 130, -50))
    inner += ball(43, 245, 35, at=(0, 130, -50))
    for side in (-1, 1):
        horn = Manifold.cylinder(220, 30, 8, 48).rotate([0, side * 25, 0])
        bore = Manifold.cylinder(214, 26, 4, 48).rotate([0, side * 25, 0])
        outer += horn.translate([side * 45, 0, 105])
        inner += bore.translate([side * 45, 0, 105])
    mouth = box(50, 100, 12, at=(0, 330, -50))
    return shell(outer, inner, NECK_CUT, *EYES, mouth)


def jawed_shell(*, gap_mm=1.0, segments=96) -> tuple[Shell, Shell]:
    """A muzzled shell and its jaw, parted by a gap, with an open mouth between them."""
    outer = ball(115, 130, 140, segments=segments) + ball(60, 110, 55, at=(0, 90, -60))
    inner = ball(110, 125, 135, segments=segments) + ball(55, 105, 50, at=(0, 90, -60))
    region = box(300, 240, 90, at=(0, 130, -113))  # front, below up = -68
    slack = box(300 + gap_mm, 240 + 2 * gap_mm, 90 + 2 * gap_mm, at=(0, 130, -113))
    mouth = box(80, 120, 16, at=(0, 180, -68))
    head = shell(outer, inner, NECK_CUT, *EYES, slack, mouth)
    jaw = shell(outer, inner, NECK_CUT, mouth, Manifold.cube([600] * 3, True) - region)
    return head, jaw


def layered_shell(*, segments=96) -> Shell:
    """A shell with a saddle plate close above its crown, bolted through it."""
    outer = ball(120, 135, 145, segments=segments)
    inner = ball(115, 130, 140, segments=segments)
    bolts = [rod(4, 60, at=(s * 30, f, 140), along="up") for s in (-1, 1) for f in (0, 40)]
    body = shell(outer, inner, NECK_CUT, *EYES, *bolts)
    saddle = ball(126, 141, 151, segments=segments) - ball(120.8, 135.8, 145.8)
    plate = shell(saddle ^ box(120, 120, 100, at=(0, 20, 160)), rod(1, 1, at=(0, 0, -999)))
    return Shell(
        join([body.mesh, plate.mesh]), np.concatenate([body.kind, 0 * plate.kind + OUTER])
    )


def collared_shell(*, segments=96) -> Shell:
    """A shell whose neck flares out again, so that its lowest wall looks down."""
    outer = ball(115, 130, 140, segments=segments)
    inner = ball(110, 125, 135, segments=segments)
    outer += Manifold.cylinder(90, 130, 70, segments).translate([0, 0, -150])
    inner += Manifold.cylinder(90, 125, 65, segments).translate([0, 0, -151])
    return shell(outer, inner, box(400, 400, 60, at=(0, 0, -175)), *EYES)


def half_mask(*, segments=96) -> Shell:
    """The front of a head only, open at the back, top and bottom."""
    outer = ball(95, 115, 120, segments=segments) + ball(27, 60, 27, at=(0, 110, -20))
    inner = ball(91, 111, 116, segments=segments) + ball(23, 56, 23, at=(0, 110, -20))
    behind = box(400, 400, 400, at=(0, -165, 0))
    return shell(
        outer, inner, behind, box(400, 400, 100, at=(0, 0, -110)),
        box(400, 400, 100, at=(0, 0, 130)), *(e.translate([0, 0, 25]) for e in EYES),
    )  # fmt: skip


def needled_shell() -> Shell:
    """A plain shell whose eyes are cut by cylinders of 2400 sides."""
    eyes = [rod(16, 120, at=(s * 32, 120, 0), segments=2400) for s in (-1, 1)]
    cut = shell(ball(140, segments=64), ball(136, segments=64), NECK_CUT, *eyes, MOUTH)
    rounded = Mesh(np.round(cut.mesh.vertices, 3), cut.mesh.faces)  # as files do
    return Shell(rounded, cut.kind)


def as_mesh(solid: Manifold) -> Mesh:
    """Give the plain mesh of a solid."""
    raw = solid.to_mesh()
    points = np.asarray(raw.vert_properties, dtype=float)[:, :3]
    return Mesh(points, np.asarray(raw.tri_verts, dtype=np.int64))
