"""The solid that a wanted field sweeps out of the pupil: what must not be there."""

from __future__ import annotations

from functools import lru_cache, reduce

import numpy as np
from scipy.spatial import ConvexHull

from fitkit.fit._cut_regions import hull_mesh
from fitkit.fit.wanted import WantedField
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.geometry.solids import union

#: Sides of the pupil's rim, drawn around it so that all of the pupil is within.
RIM_SIDES = 24
#: A pupil taken as a point is a speck of this radius. [mm]
SPECK_MM = 1e-3
#: A run of the edge that turns farther than this about the middle is split. [deg]
MOST_TURN_DEG = 170.0
#: Inner rings of directions that round off the far end.
INNER_SHARES = (0.35, 0.7)


def swept_cone(
    field: WantedField,
    *,
    pupil: FloatArray,
    radius_mm: float,
    coat_mm: float,
    reach_mm: float,
) -> Mesh:
    """
    Give all points that lie on a ray from the pupil into the wanted field.

    Parameters
    ----------
    field : WantedField
    pupil : ndarray, shape (3,)
        Centre of the pupil's disc, which lies across the straight-ahead line. [mm]
    radius_mm : float
        Its radius. [mm]
    coat_mm : float
        Grown by this in every direction: what a coat of paint takes back. [mm]
    reach_mm : float
        Rays end this far from the pupil. [mm]

    Returns
    -------
    Mesh
        A solid: the Minkowski sum of the disc, a ball of `coat_mm`, and the cone of
        wanted directions. Its sides are straight lines from the rim of the pupil along
        the edge of the field: the envelope of all the cones that stand on points of
        the disc.

    Notes
    -----
    A Minkowski sum with a union is the union of the sums, and the sum of convex sets is
    the hull of their corners' sums: the field is split into runs that are convex, and
    the hulls of the runs are united.
    """
    start = pupil + _pupil_corners(max(radius_mm, SPECK_MM), coat_mm)
    hulls = [_hull(start, _ways(field, run), reach_mm) for run in convex_runs(field)]
    return _united(hulls)


def convex_runs(field: WantedField) -> list[FloatArray]:
    """
    Split the edge into runs, shape (k, 3), each convex with the middle.

    A field that is convex as a whole is one closed run.
    """
    edge = field.edge
    bends = _bend(np.roll(edge, 1, axis=0), edge, np.roll(edge, -1, axis=0))
    heart = edge.mean(axis=0)
    if bends.min() > -1e-9 and (edge @ (heart / np.linalg.norm(heart))).min() > 0.05:
        return [edge]
    runs, count, at = [], len(edge), _first_start(bends)
    turns = np.append(field.turns_deg, field.turns_deg[0] + 360)
    steps = np.diff(turns)
    used = 0
    while used < count:
        length, turned = 1, steps[(at + used) % count]
        while used + length < count:
            here = (at + used + length) % count
            if bends[here] < -1e-9 or turned + steps[here] > MOST_TURN_DEG:
                break
            turned += steps[here]
            length += 1
        runs.append(edge[(at + used + np.arange(length + 1)) % count])
        used += length
    return runs


def _first_start(bends: FloatArray) -> int:
    """Start at the most hollow point of the edge: every run must end there anyway."""
    return int(np.argmin(bends))


def _ways(field: WantedField, run: FloatArray) -> FloatArray:
    """Directions whose hull is the run with the middle, rounded at the far end."""
    inner = [field.middle + share * (run - field.middle) for share in INNER_SHARES]
    ways = np.concatenate([run, *inner, field.middle[None]])
    unit: FloatArray = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    return unit


def _hull(start: FloatArray, ways: FloatArray, reach_mm: float) -> Mesh:
    far = (start[None] + reach_mm * ways[:, None]).reshape(-1, 3)
    return hull_mesh(np.concatenate([start, far]))


def _united(solids: list[Mesh]) -> Mesh:
    """Unite neighbours first, so that the pieces stay small."""
    while len(solids) > 1:
        pairs = [solids[k : k + 2] for k in range(0, len(solids), 2)]
        solids = [reduce(union, pair) for pair in pairs]
    return solids[0]


def _pupil_corners(radius_mm: float, coat_mm: float) -> FloatArray:
    turn = 2 * np.pi * np.arange(RIM_SIDES) / RIM_SIDES
    rim = np.column_stack([np.cos(turn), np.zeros(RIM_SIDES), np.sin(turn)])
    rim *= radius_mm / np.cos(np.pi / RIM_SIDES)
    if coat_mm == 0:
        return rim
    grown = (rim[:, None] + coat_mm * _ball()[None]).reshape(-1, 3)
    corners: FloatArray = grown[ConvexHull(grown).vertices]
    return corners


@lru_cache(maxsize=1)
def _ball() -> FloatArray:
    """Corners around a unit ball: 5 rings of 12 and two poles, drawn around it."""
    rise = np.radians(np.linspace(-90, 90, 7)[1:-1, None])
    turn = 2 * np.pi * np.arange(12) / 12
    ring = [
        np.cos(rise) * np.cos(turn),
        np.cos(rise) * np.sin(turn),
        np.sin(rise) + 0 * turn,
    ]
    corners = np.stack(ring, axis=-1).reshape(-1, 3)
    poles = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0]])
    around = 1 / (np.cos(np.pi / 12) * np.cos(np.pi / 12))
    grown: FloatArray = around * np.concatenate([corners, poles])
    return grown


def _bend(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """How the edge bends at b: positive where it is convex, zero on a great circle."""
    bend: FloatArray = -np.einsum("ij,ij->i", np.cross(a, b), c)
    return bend
