"""
Clay for the demo pieces: smooth shapes as distance functions.

A shape is a function from points, shape (n, 3), to a distance, shape (n,): negative
inside, positive outside, in mm. Distances are near enough true close to the surface,
and never used for a wall: walls are offset by exact distance to the finished mesh.
Axes are right, front, up, in mm, about the midpoint of the tragia.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation
from skimage.measure import points_in_poly

Points = NDArray[np.float64]
Distances = NDArray[np.float64]
Shape = Callable[[Points], Distances]
Triple = tuple[float, float, float]


def ball(centre: Triple, radii: Triple | float, *, turn_deg: Triple = (0, 0, 0)) -> Shape:
    """Make an ellipsoid; ``turn_deg`` turns it about right, then front, then up."""
    radius = np.broadcast_to(np.asarray(radii, dtype=float), 3)
    middle = np.asarray(centre, dtype=float)
    back = Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()

    def distance(points: Points) -> Distances:
        local = (points - middle) @ back
        near = np.linalg.norm(local / radius, axis=1)
        slope = np.linalg.norm(local / radius**2, axis=1)
        level = near * (near - 1.0) / np.maximum(slope, 1e-9)
        return np.maximum(level, -radius.min())

    return distance


def rod(path: Sequence[Triple], radii: Sequence[float], *, fine: int = 5) -> Shape:
    """Make a round bar along a smooth path, its radius running from point to point."""
    knots = np.asarray(path, dtype=float)
    steps = (len(knots) - 1) * fine + 1
    at = np.linspace(0, len(knots) - 1, steps)
    line = PchipInterpolator(np.arange(len(knots)), np.column_stack([knots, radii]))(at)

    def distance(points: Points) -> Distances:
        best = np.full(len(points), np.inf)
        for start, end in pairwise(line):
            along = end[:3] - start[:3]
            share = (points - start[:3]) @ along / max(float(along @ along), 1e-12)
            share = np.clip(share, 0.0, 1.0)
            gap = np.linalg.norm(points - start[:3] - share[:, None] * along, axis=1)
            np.minimum(best, gap - start[3] - share * (end[3] - start[3]), out=best)
        return best

    return distance


def flattened(shape: Shape, *, about: Triple, normal: Triple, share: float) -> Shape:
    """Squeeze a shape along ``normal`` through ``about`` to a share of its thickness."""
    across = np.asarray(normal, dtype=float) / np.linalg.norm(normal)
    middle = np.asarray(about, dtype=float)

    def distance(points: Points) -> Distances:
        depth = (points - middle) @ across
        return shape(points + np.outer(depth * (1 / share - 1), across)) * share**0.5

    return distance


def both_sides(shape: Shape, *, soft_mm: float = 1.0) -> Shape:
    """Mirror what stands on the right to the left, rounding the fold at the middle."""

    def distance(points: Points) -> Distances:
        folded = points.copy()
        folded[:, 0] = np.sqrt(points[:, 0] ** 2 + soft_mm**2) - soft_mm
        return shape(folded)

    return distance


def _blend(one: Distances, two: Distances, soft_mm: float) -> Distances:
    """Take the lesser of two distances, rounded over ``soft_mm``."""
    share = np.maximum(soft_mm - np.abs(one - two), 0.0) / soft_mm
    return np.minimum(one, two) - share**2 * soft_mm / 4


def join(*shapes: Shape, soft_mm: float = 0.1) -> Shape:
    """Melt shapes together, each into those before it, with fillets of ``soft_mm``."""

    def distance(points: Points) -> Distances:
        whole = shapes[0](points)
        for shape in shapes[1:]:
            whole = _blend(whole, shape(points), soft_mm)
        return whole

    return distance


def carve(shape: Shape, *tools: Shape, soft_mm: float = 0.1) -> Shape:
    """Take tools away from a shape, rounding the edges by ``soft_mm``."""

    def distance(points: Points) -> Distances:
        whole = shape(points)
        for tool in tools:
            whole = -_blend(-whole, tool(points), soft_mm)
        return whole

    return distance


def common(one: Shape, two: Shape, *, soft_mm: float = 0.1) -> Shape:
    """Keep what lies in both shapes, with edges rounded by ``soft_mm``."""

    def distance(points: Points) -> Distances:
        return -_blend(-one(points), -two(points), soft_mm)

    return distance


def grown(shape: Shape, *, by_mm: float) -> Shape:
    """Swell a shape outwards, or shrink it where ``by_mm`` is negative."""
    return lambda points: shape(points) - by_mm


def stepped(shape: Shape, edge: Shape, *, rise_mm: float, over_mm: float) -> Shape:
    """Raise a shape by ``rise_mm`` where it lies inside ``edge``: a plate upon a plate."""

    def distance(points: Points) -> Distances:
        share = np.clip(0.5 - edge(points) / over_mm, 0.0, 1.0)
        return shape(points) - rise_mm * share * share * (3 - 2 * share)

    return distance


def locks(
    shape: Shape,
    *,
    pole: Triple,
    across: int,
    row_mm: float,
    lift_mm: float,
    blunt: float,
    where: Shape,
    fade_mm: float = 18.0,
    strands: float = 0.0,
) -> Shape:
    """
    Lay fur or feathers over a shape: overlapping rows of locks that lift at their tips.

    Parameters
    ----------
    shape
        The shape to cover.
    pole
        Direction from the origin in which the locks begin; they run away from it.
    across
        Locks in one row, over half a turn about the pole.
    row_mm
        From one row to the next. [mm]
    lift_mm
        Height of a tip. [mm]
    blunt
        2 for pointed fur, 4 and over for round feathers.
    where
        The locks lie inside this shape, and die away over ``fade_mm`` at its edge.
    strands
        Share of the height by which strands are combed into each lock.
    """
    axis = np.asarray(pole, dtype=float) / np.linalg.norm(pole)
    over = np.array([0.0, -axis[2], axis[1]])

    def height(far: Distances, turn: Distances, row: Distances) -> Distances:
        cell = turn / np.pi * across + 0.5 * (row % 2)
        chance = np.sin(np.floor(cell) * 12.9898 + row * 78.233) * 43758.5453
        chance -= np.floor(chance)
        along = (far - row * row_mm) / (row_mm * (1.5 + 1.1 * chance))
        side = cell - np.floor(cell) - 0.5 + 0.16 * (chance - 0.5) * along
        half = 0.5 * np.sqrt(np.clip(1 - np.clip(along, 0, 1) ** blunt, 1e-6, 1))
        wide_mm = 100 * np.pi / across
        inside = np.clip((half - np.abs(side)) * wide_mm / 3.0, 0, 1) * (along < 1)
        strand = 1 - strands * (0.5 + 0.5 * np.cos(side * 2 * np.pi * 3.5))
        return inside * (0.25 + 0.75 * along) * strand * (1 - 0.5 * (side / half) ** 2)

    def distance(points: Points) -> Distances:
        ray = points / np.maximum(np.linalg.norm(points, axis=1, keepdims=True), 1e-9)
        far = 110 * np.arccos(np.clip(ray @ axis, -1, 1))
        turn = np.arctan2(np.abs(ray[:, 0]), ray @ over)
        row = np.floor(far / row_mm)
        top = np.max([height(far, turn, row - back) for back in range(3)], axis=0)
        share = np.clip(-where(points) / fade_mm, 0, 1)
        return shape(points) - lift_mm * share * top

    return distance


def seen_from_side(flat: m3.CrossSection) -> Shape:
    """Run an outline in (front, up) through from side to side, as a shape to blend."""
    return _through(flat, [1, 2])


def seen_from_front(flat: m3.CrossSection) -> Shape:
    """Run an outline in (right, up) through from back to front, as a shape to blend."""
    return _through(flat, [0, 2])


def _through(flat: m3.CrossSection, keep: list[int]) -> Shape:
    step = 1.0
    low, high = np.array([-260.0, -320.0]), np.array([300.0, 260.0])
    axes = [np.arange(a, b + step, step) for a, b in zip(low, high, strict=True)]
    spots = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    rings = [np.vstack([ring, ring[:1]]) for ring in flat.to_polygons()]
    edge = np.vstack([_dense(ring) for ring in rings])
    gap, _ = cKDTree(edge).query(spots.reshape(-1, 2))
    within = np.zeros(len(gap), dtype=bool)
    for ring in rings:
        within ^= points_in_poly(spots.reshape(-1, 2), ring)
    table = np.where(within, -gap, gap).reshape(spots.shape[:2])

    def distance(points: Points) -> Distances:
        at = ((points[:, keep] - low) / step).T
        return map_coordinates(table, at, order=1, mode="nearest")

    return distance


def _dense(ring: Points) -> Points:
    """Fill a closed polygon's sides with points a fifth of a millimetre apart."""
    return np.vstack(
        [np.linspace(a, b, int(np.hypot(*(b - a)) / 0.2) + 2) for a, b in pairwise(ring)]
    )


def reach(shape: Shape, start: Triple, toward: Triple) -> Triple:
    """Go from a point inside along a direction to the surface, by halving."""
    ray = np.asarray(toward, dtype=float) / np.linalg.norm(toward)
    near, far = 0.0, 400.0
    for _ in range(40):
        middle = (near + far) / 2
        inside = shape((np.asarray(start) + middle * ray)[None])[0] < 0
        near, far = (middle, far) if inside else (near, middle)
    right, front, up = (float(v) for v in np.asarray(start) + near * ray)
    return right, front, up


def half_space(at: Triple, away: Triple) -> Shape:
    """Fill everything behind the plane through ``at`` whose normal points ``away``."""
    normal = np.asarray(away, dtype=float) / np.linalg.norm(away)
    offset = float(np.asarray(at, dtype=float) @ normal)
    return lambda points: points @ normal - offset
