"""Rims: the open edges of a surface, with narrow seams left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: A gap narrower than this is a seam, not an opening. [mm]
SEAM_MM = 3.0
#: So is an edge this near to another part: how far rims lean and parts overlap adds to
#: the gap itself. [mm]
PARTING_MM = 10.0
#: Rims are looked at every so far. [mm]
_STEP_MM = 1.0
#: Two places of one rim closer than this along it are not its two sides. [mm]
_APART_MM = 12.0
#: A shorter run of seam is not believed: where an almond of an eye tapers, its lids
#: come close. [mm]
_LEAST_SEAM_MM = 30.0
#: A shorter run of rim between seams is not believed; between two parts, whose gap
#: varies, it must be longer. [mm]
_LEAST_RIM_MM, _LEAST_PARTED_RIM_MM = 5.0, 2 * PARTING_MM


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trail:
    """Points along every boundary loop of a surface, close together."""

    #: Points, shape (n, 3), loop after loop. [mm]
    point: FloatArray
    #: Loop of each point, and part of the piece it belongs to, shape (n,).
    loop: IntArray
    part: IntArray
    #: Distance along its loop, shape (n,), and length of the loop, shape (n,). [mm]
    along: FloatArray
    length: FloatArray
    #: Unit direction, in the surface, in which the surface ends, shape (n, 3).
    out: FloatArray


@dataclass(frozen=True, eq=False)
class _Run:
    """A stretch of rim between two seams."""

    #: Points in order, shape (n, 3). [mm]
    point: FloatArray
    #: Part of the piece that it belongs to.
    part: int


def rims(surface: Mesh, part: IntArray) -> list[FloatArray]:
    """
    Give the closed rims of the openings of a surface.

    Parameters
    ----------
    surface : Mesh
        Open; its parts may lie side by side with gaps between them.
    part : ndarray of int, shape (m,)
        Part that each face belongs to.

    Returns
    -------
    list of ndarray, shape (k, 3)
        Closed polylines, first point repeated, the surface to their left seen from
        the tip of its normals. [mm] Where two edges face each other across less than
        3 mm, or two parts come within 10 mm, they form a seam, which is left out; what
        is left is joined end to end across the gap, so that a mouth between a shell
        and its jaw is one rim.
    """
    loops = surface.boundary_loops
    if not loops:
        return []
    trail = _trail(surface, part)
    seam = _seams(surface, part, trail)
    whole: list[FloatArray] = []
    runs: list[_Run] = []
    for number, loop in enumerate(loops):
        rows = np.nonzero(trail.loop == number)[0]
        if not seam[rows].any():
            whole.append(surface.vertices[np.append(loop, loop[0])])
        else:
            runs += _runs(trail, rows, seam[rows])
    cycles = _cycles(runs)
    return [
        *(rim for rim in whole if _slimness_mm(rim) > SEAM_MM / 2),
        *(_joined(cycle) for cycle in cycles if not _is_seam(cycle)),
    ]


def rim_points(surface: Mesh) -> FloatArray:
    """Give points along every open edge, no more than 1 mm apart, (n, 3)."""
    if not surface.boundary_loops:
        return np.empty((0, 3))
    return _trail(surface, np.zeros(len(surface.faces), dtype=np.int64)).point


def _trail(surface: Mesh, part: IntArray) -> _Trail:
    columns: list[list[FloatArray]] = [[], [], [], []]
    loops, parts = [], []
    outs, part_at = _outward_by_edge(surface, part)
    for number, loop in enumerate(surface.boundary_loops):
        ring = surface.vertices[np.append(loop, loop[0])]
        step = np.linalg.norm(np.diff(ring, axis=0), axis=1)
        count = np.maximum(np.ceil(step / _STEP_MM).astype(int), 1)
        edge = np.repeat(np.arange(len(step)), count)
        within = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
        share = within / count[edge]
        start = np.cumsum(step) - step
        columns[0].append(ring[edge] + share[:, None] * (ring[edge + 1] - ring[edge]))
        columns[1].append(start[edge] + share * step[edge])
        columns[2].append(np.full(len(edge), step.sum()))
        columns[3].append(outs[loop[edge]])
        loops.append(np.full(len(edge), number))
        parts.append(part_at[loop[edge]])
    point, along, length, out = (np.concatenate(column) for column in columns)
    return _Trail(
        point=point,
        loop=np.concatenate(loops),
        part=np.concatenate(parts),
        along=along,
        length=length,
        out=out,
    )


def _outward_by_edge(surface: Mesh, part: IntArray) -> tuple[FloatArray, IntArray]:
    """Give, at the start of each open edge, where the surface ends (n, 3), its part."""
    face, corner = np.nonzero(surface.open_edges[surface.face_edges])
    start = surface.faces[face, corner]
    end = surface.faces[face, (corner + 1) % 3]
    along = surface.vertices[end] - surface.vertices[start]
    out = np.cross(along, surface.normals[face])
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)
    at, part_at = np.zeros_like(surface.vertices), np.zeros(len(surface.vertices), int)
    at[start], part_at[start] = out, part[face]
    return at, part_at


def _seams(surface: Mesh, part: IntArray, trail: _Trail) -> BoolArray:
    """Say which points have another edge, or another part, across a narrow gap."""
    near = min(48, len(trail.point))
    gap, other = cKDTree(trail.point).query(
        trail.point, k=near, distance_upper_bound=SEAM_MM
    )
    met = np.isfinite(gap)
    across = _across(trail, np.asarray(gap), np.where(met, other, 0))
    parting = _partings(surface, part, trail)
    seam = parting | (met & across).any(axis=1)
    return _without_short_runs(trail, seam, parting)


def _partings(surface: Mesh, part: IntArray, trail: _Trail) -> BoolArray:
    """Say which points come close to another part of the surface."""
    close = np.zeros(len(trail.point), dtype=bool)
    for number in np.unique(part):
        rows = np.nonzero(trail.part == number)[0]
        others = part != number
        if len(rows) and others.any():
            tree = SurfaceTree(surface.submesh(others))
            close[rows] = tree.nearest(trail.point[rows]).distance_mm < PARTING_MM
    return close


def _across(trail: _Trail, gap: FloatArray, other: IntArray) -> BoolArray:
    """Say which near points lie on the other side of a narrow gap in one part."""
    along = np.abs(trail.along[:, None] - trail.along[other])
    round_the_loop = np.minimum(along, trail.length[:, None] - along)
    far = (trail.loop[:, None] != trail.loop[other]) | (round_the_loop > _APART_MM)
    way = trail.point[other] - trail.point[:, None]
    ahead = np.einsum("nkj,nj->nk", way, trail.out) >= -0.5 * gap
    opposed = np.einsum("nkj,nj->nk", trail.out[other], trail.out) < 0.3
    across: BoolArray = far & ahead & opposed
    return across


def _without_short_runs(trail: _Trail, seam: BoolArray, parting: BoolArray) -> BoolArray:
    """Drop short runs of seam first, then short runs of rim between seams."""
    seam = seam.copy()
    for wanted in (True, False):
        for number in range(int(trail.loop.max()) + 1):
            rows = np.nonzero(trail.loop == number)[0]
            for run in _circular_runs(seam[rows] == wanted):
                least = _least_run_mm(wanted, parted=bool(parting[rows].any()))
                if len(run) < len(rows) and len(run) * _STEP_MM < least:
                    seam[rows[run]] = not wanted
    return seam


def _least_run_mm(of_seam: bool, *, parted: bool) -> float:
    if of_seam:
        return _LEAST_RIM_MM if parted else _LEAST_SEAM_MM
    return _LEAST_PARTED_RIM_MM if parted else _LEAST_RIM_MM


def _circular_runs(flags: BoolArray) -> list[IntArray]:
    """Give the index runs where flags hold, on a ring."""
    count = len(flags)
    if flags.all():
        return [np.arange(count)]
    first = int(np.argmin(flags))  # start the ring where no run is cut in two
    order = (np.arange(count) + first) % count
    change = np.diff(flags[order].astype(np.int8), prepend=0, append=0)
    starts, ends = np.nonzero(change == 1)[0], np.nonzero(change == -1)[0]
    return [order[a:b] for a, b in zip(starts, ends, strict=True)]


def _runs(trail: _Trail, rows: IntArray, seam: BoolArray) -> list[_Run]:
    found = [rows[run] for run in _circular_runs(~seam) if len(run) > 1]
    return [_Run(trail.point[run], int(trail.part[run[0]])) for run in found]


def _cycles(runs: list[_Run]) -> list[list[_Run]]:
    """Chain runs end to start with the least total jump, until each chain closes."""
    if not runs:
        return []
    ends = np.array([run.point[-1] for run in runs])
    starts = np.array([run.point[0] for run in runs])
    jump = np.linalg.norm(ends[:, None] - starts[None], axis=2)
    onward = linear_sum_assignment(jump)[1]
    left = set(range(len(runs)))
    cycles = []
    while left:
        step = min(left)
        cycle = []
        while step in left:
            left.discard(step)
            cycle.append(runs[step])
            step = int(onward[step])
        cycles.append(cycle)
    return cycles


def _joined(cycle: list[_Run]) -> FloatArray:
    return np.concatenate([*(run.point for run in cycle), cycle[0].point[:1]])


def _is_seam(cycle: list[_Run]) -> bool:
    """Say whether what is left open between seams is itself too slim for an opening."""
    parted = len({run.part for run in cycle}) > 1
    return _slimness_mm(_joined(cycle)) < (PARTING_MM if parted else SEAM_MM)


def _slimness_mm(rim: FloatArray) -> float:
    """Give twice area over length: the width of a slit, half that of a round hole."""
    centred = rim - rim[:-1].mean(axis=0)
    doubled = np.linalg.norm(np.cross(centred[:-1], centred[1:]).sum(axis=0))
    around = np.linalg.norm(np.diff(rim, axis=0), axis=1).sum()
    return float(doubled / max(around, 1e-12))
