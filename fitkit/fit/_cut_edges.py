"""What a cut takes out: its outlines, bevels, and a template, from the removed plugs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.fit._flat import FlatPatch, lay_flat
from fitkit.fit._wall_solids import INNER, OUTER, WallSolid
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh

#: A face of a plug whose corners all lie this near the tool came from the tool. [mm]
ON_TOOL_MM = 2e-4
#: Patches smaller than this are crumbs of the boolean. [mm²]
CRUMB_MM2 = 0.5
TOOL = 3
#: A patch with this share of its area looking away from the eye is laid flat.
SEEN_WHOLE = 0.9
#: A template that stretches any length by more than this is none. [%]
MOST_STRETCH_PERCENT = 25.0


@dataclass(frozen=True, kw_only=True, eq=False)
class CutSide:
    """One side of what is taken away: outer surface, or inner."""

    #: Closed outlines, each (k, 3), first point repeated; the longest runs around the
    #: patch, others around openings that are there already. [mm]
    outlines: tuple[FloatArray, ...]
    #: The outlines laid flat, each (k, 2): across and up, as seen by who marks them out
    #: (the outer side from outside, the inner from inside); empty where the patch folds
    #: behind itself, seen from the eye, or is too curved to be laid flat. [mm]
    template: tuple[FloatArray, ...]
    #: Largest change of a length in laying it flat; nan without a template. [%]
    stretch_percent: float
    area_mm2: float


@dataclass(frozen=True, kw_only=True, eq=False)
class CutPatch:
    """
    One patch of the outer surface to take away, with the wall behind it.

    Everything is in the piece's own axes at the placed size, in millimetres.
    """

    #: Part of the piece.
    part: str
    outer: CutSide
    #: The patches of the inner surface behind it; empty where only a skin of the wall
    #: goes.
    inner: tuple[CutSide, ...]
    #: For each outline of the outer side, by point, (k,): how far the saw leans off
    #: square to the surface; positive where the hole is wider outside than inside, nan
    #: where the outline runs along an opening that is there already. [deg]
    bevel_deg: tuple[FloatArray, ...]
    #: Volume of the wall taken away with it. [mm³]
    volume_mm3: float
    #: From the pupil to the nearest point of the outer side. [mm]
    from_pupil_mm: float


def cut_patches(
    part: str, wall: WallSolid, removed: Mesh, tool: Mesh, pupil: FloatArray
) -> list[CutPatch]:
    """Describe what was removed from one part, plug by plug, nearest to the eye first."""
    found = []
    for plug in removed.parts():
        kind = _kinds(plug, wall, SurfaceTree(tool))
        outer = np.nonzero(kind == OUTER)[0]
        if not len(outer):
            continue
        for patch in plug.submesh(outer).parts():
            if patch.area_mm2 > CRUMB_MM2:
                found.append(_patch(part, plug, kind, patch, pupil))
    return sorted(found, key=lambda each: each.from_pupil_mm)


def _kinds(plug: Mesh, wall: WallSolid, tool: SurfaceTree) -> IntArray:
    """What each face of a plug is, (m,)."""
    near = tool.nearest(plug.centroids)
    corners = tool.nearest(plug.vertices).distance_mm[plug.faces].max(axis=1)
    along = np.einsum("ij,ij->i", plug.normals, tool.mesh.normals[near.face])
    on_tool = (near.distance_mm < ON_TOOL_MM) & (corners < ON_TOOL_MM) & (along > 0.99)
    kind = wall.kind[SurfaceTree(wall.mesh).nearest(plug.centroids).face]
    return np.where(on_tool, TOOL, kind)


def _patch(
    part: str, plug: Mesh, kind: IntArray, patch: Mesh, pupil: FloatArray
) -> CutPatch:
    lean = _lean_at_edges(plug, kind)
    outer = _side(patch, pupil, from_outside=True)
    inner = np.nonzero(kind == INNER)[0]
    behind = plug.submesh(inner).parts() if len(inner) else ()
    return CutPatch(
        part=part,
        outer=outer,
        inner=tuple(
            _side(each.flipped(), pupil, from_outside=False)
            for each in behind
            if each.area_mm2 > CRUMB_MM2
        ),
        bevel_deg=tuple(_bevels(lean, outline) for outline in outer.outlines),
        volume_mm3=plug.volume_mm3,
        from_pupil_mm=float(SurfaceTree(patch).nearest(pupil[None]).distance_mm[0]),
    )


def _side(patch: Mesh, pupil: FloatArray, *, from_outside: bool) -> CutSide:
    loops = [np.append(loop, loop[0]) for loop in patch.boundary_loops]
    outlines = tuple(patch.vertices[loop] for loop in loops)
    flat = FlatPatch((), float("nan"))
    if _seen_whole(patch, pupil):
        laid = lay_flat(patch, outlines, seen_from=pupil, up=np.array([0.0, 0.0, 1.0]))
        flat = laid if laid.stretch_percent <= MOST_STRETCH_PERCENT else flat
    mirror = [-1.0, 1.0] if from_outside else [1.0, 1.0]
    return CutSide(
        outlines=outlines,
        template=tuple(ring * mirror for ring in flat.outlines),
        stretch_percent=flat.stretch_percent,
        area_mm2=patch.area_mm2,
    )


def _seen_whole(patch: Mesh, pupil: FloatArray) -> bool:
    """Whether nearly all of an outer patch looks away from the pupil: no ray meets two."""
    away = np.einsum("ij,ij->i", patch.normals, patch.centroids - pupil) > 0
    return float(patch.areas_mm2[away].sum()) > SEEN_WHOLE * patch.area_mm2


def _lean_at_edges(plug: Mesh, kind: IntArray) -> dict[tuple[bytes, bytes], float]:
    """Lean of the saw at every edge where outer surface meets the tool, by its ends."""
    face, corner = np.nonzero(np.isin(kind, (OUTER, TOOL))[:, None].repeat(3, axis=1))
    edge = plug.face_edges[face, corner]
    order = np.argsort(edge, kind="stable")
    face, edge = face[order], edge[order]
    pair = np.nonzero(edge[1:] == edge[:-1])[0]
    first, second = face[pair], face[pair + 1]
    mixed = kind[first] != kind[second]
    first, second, edge = first[mixed], second[mixed], edge[pair][mixed]
    lean = np.einsum("ij,ij->i", plug.normals[first], plug.normals[second])
    ends = plug.vertices[plug.edges[edge]]
    return {
        _key(a, b): float(np.degrees(np.arcsin(np.clip(-value, -1, 1))))
        for (a, b), value in zip(ends, lean, strict=True)
    }


def _bevels(lean: dict[tuple[bytes, bytes], float], outline: FloatArray) -> FloatArray:
    values = [lean.get(_key(a, b), float("nan")) for a, b in pairwise(outline)]
    return np.array([*values, values[0]])


def _key(a: FloatArray, b: FloatArray) -> tuple[bytes, bytes]:
    first, second = sorted((a.tobytes(), b.tobytes()))
    return first, second
