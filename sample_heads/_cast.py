"""
Cast shapes into solid meshes, and cut those to parts, walls and openings.

Axes are right, front, up, in mm, about the midpoint of the tragia.
"""

from __future__ import annotations

from collections.abc import Sequence

import igl
import manifold3d as m3
import numpy as np
from _sculpt import Distances, Points, Shape, Triple
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree
from skimage.measure import marching_cubes

Faces = NDArray[np.int64]

#: A block of the sampler's grid is filled as one where the distance at its middle is
#: over this share of its side: half a space diagonal, and half as much again because
#: a sculpted distance is not quite a true one.
REACH = 1.3
#: Blur of the sampled distances before marching, in cells: it rounds the steps between
#: locks and plates, and leaves no pinholes where a step overhangs.
BLUR = 0.5
#: Edges that can go without moving a surface farther than this are dropped. [mm]
SLIVER_MM = 0.05
#: A triangle lower than this over its longest side counts as flat. [mm]
FLAT_MM = 0.001


def deeper(solid: m3.Manifold, sculpted: Shape, *, wall_mm: float) -> Shape:
    """Shrink a finished solid by exactly ``wall_mm``: exact distance, sculpted sign."""
    vertices, faces = arrays(solid)
    tree = igl.AABB()
    tree.init(vertices, faces)

    def distance(points: Points) -> Distances:
        squared, _, _ = tree.squared_distance(vertices, faces, np.asfortranarray(points))
        return np.sign(sculpted(points)) * np.sqrt(squared) + wall_mm

    return distance


def cast(
    shape: Shape, *, low: Triple, high: Triple, step_mm: float, faces: int
) -> m3.Manifold:
    """
    Turn a shape into a solid: sample, march, thin out to about ``faces`` triangles.

    Parameters
    ----------
    shape
        What to cast; it must lie wholly between ``low`` and ``high``. [mm]
    low, high
        Corners of the sampled box. [mm]
    step_mm
        Side of a grid cell. [mm]
    faces
        Triangles wanted; the largest single lump is kept.

    Returns
    -------
    manifold3d.Manifold
        One closed solid.
    """
    axes = [np.arange(a, b + step_mm, step_mm) for a, b in zip(low, high, strict=True)]
    grid = gaussian_filter(_sampled(shape, axes), BLUR)
    grid[[0, -1]] = grid[:, [0, -1]] = grid[:, :, [0, -1]] = step_mm
    vertices, triangles, _, _ = marching_cubes(
        grid, 0.0, spacing=(step_mm,) * 3, allow_degenerate=False
    )
    solid = largest(from_arrays(vertices + np.array(low), triangles))
    return thinned(solid, faces=faces)


def _sampled(shape: Shape, axes: list[NDArray[np.float64]]) -> NDArray[np.float32]:
    """Sample a shape on a grid, in full only where its surface can be."""
    grid = np.empty([len(axis) for axis in axes], dtype=np.float32)
    corner = np.array([axis[0] for axis in axes])
    step = float(axes[0][1] - axes[0][0])
    spots = np.stack(np.meshgrid(*[np.arange(0, n, 16) for n in grid.shape], indexing="ij"))
    spots = spots.reshape(3, -1).T
    for side in (16, 4):
        level = _in_turn(shape, corner + (spots + (side - 1) / 2) * step)
        far = np.abs(level) > REACH * side * step
        for start, value in zip(spots[far], level[far], strict=True):
            grid[tuple(slice(i, i + side) for i in start)] = value
        finer = np.stack(np.meshgrid(*[np.arange(0, side, max(side // 4, 1))] * 3))
        spots = (spots[~far, None] + finer.reshape(3, -1).T).reshape(-1, 3)
        spots = spots[np.all(spots < grid.shape, axis=1)]
    grid[tuple(spots.T)] = _in_turn(shape, corner + spots * step)
    return grid


def _in_turn(shape: Shape, points: Points) -> Distances:
    """Measure many points a hundred thousand at a time, to spare memory."""
    parts = np.array_split(points, len(points) // 100_000 + 1)
    return np.concatenate([shape(part) for part in parts])


def thinned(solid: m3.Manifold, *, faces: int) -> m3.Manifold:
    """Collapse edges where the surface is flattest until ``faces`` triangles are left."""
    vertices, triangles = arrays(solid)
    if len(triangles) <= faces:
        return solid
    done = igl.qslim(
        np.asfortranarray(vertices), np.asfortranarray(triangles.astype(np.int32)), faces
    )
    return largest(from_arrays(_unfolded(done[0], done[1]), done[1]))


def _unfolded(vertices: Points, faces: Faces) -> Points:
    """Pull apart the few triangles that thinning has folded back upon a neighbour."""
    sides = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    pairs = np.lexsort(sides.T).reshape(-1, 2) // 3
    ends = np.unique(sides, axis=0)
    count = np.bincount(ends.ravel(), minlength=len(vertices))[:, None]
    moved = vertices.copy()
    for _ in range(12):
        corners = moved[faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-15
        folded = np.einsum("ij,ij->i", normal[pairs[:, 0]], normal[pairs[:, 1]]) < -0.3
        if not folded.any():
            break
        at = np.unique(faces[pairs[folded].ravel()])
        middle = np.zeros_like(moved)
        np.add.at(middle, ends[:, 0], moved[ends[:, 1]])
        np.add.at(middle, ends[:, 1], moved[ends[:, 0]])
        step = middle[at] / count[at] - moved[at]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        moved[at] += step * np.minimum(1, 1.5 / np.maximum(length, 1e-9))
    return moved


def from_arrays(vertices: Points, faces: Faces) -> m3.Manifold:
    """Make a solid from vertices and outward triangles, or fail if it is not one."""
    solid = m3.Manifold(
        m3.Mesh64(
            np.array(vertices, dtype=np.float64, order="C"),
            np.array(faces, dtype=np.uint64, order="C"),
        )
    )
    if solid.status() != m3.Error.NoError or solid.volume() <= 0:
        raise ValueError(f"not a solid: {solid.status()}, volume {solid.volume():.1f} mm3")
    return solid


def arrays(solid: m3.Manifold) -> tuple[Points, Faces]:
    """Give the vertices, shape (n, 3), and triangles, shape (m, 3), of a solid."""
    mesh = solid.to_mesh64()
    return (
        np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3],
        np.asarray(mesh.tri_verts, dtype=np.int64),
    )


def largest(solid: m3.Manifold) -> m3.Manifold:
    """Keep the lump of greatest volume."""
    return max(solid.decompose(), key=lambda lump: abs(lump.volume()))


def tidy(solid: m3.Manifold) -> m3.Manifold:
    """Keep the one lump, without the slivers that cutting leaves along its edges."""
    vertices, faces = arrays(largest(solid.as_original().simplify(SLIVER_MM)))
    return from_arrays(vertices, _without_flat_faces(vertices, faces))


def _without_flat_faces(vertices: Points, faces: Faces) -> Faces:
    """Turn the long edge of each triangle without height to the corner across it."""
    faces = faces.copy()
    for _ in range(20):
        corners = vertices[faces]
        side = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        area = np.linalg.norm(
            np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
        )
        flat = np.nonzero(area < FLAT_MM * side.max(axis=1))[0]
        if not len(flat):
            break
        for face in flat:
            start = int(side[face].argmax())
            a, b, apex = np.roll(faces[face], -start)
            back = (faces == b) & (np.roll(faces, -1, axis=1) == a)
            twin = int(back.any(axis=1).argmax())
            across = int(faces[twin][(faces[twin] != a) & (faces[twin] != b)][0])
            faces[face], faces[twin] = (a, across, apex), (across, b, apex)
    return faces


def trimmed_skin(solid: m3.Manifold, *tools: m3.Manifold) -> tuple[Points, Faces]:
    """Cut openings into the surface of a solid and leave it open there: a skin."""
    drawn = solid.as_original()
    cut = m3.Manifold.batch_boolean([drawn, *tools], m3.OpType.Subtract)
    mesh = cut.to_mesh64()
    keep = np.zeros(len(mesh.tri_verts), dtype=bool)
    for run, owner in enumerate(mesh.run_original_id):
        first, last = (int(i) // 3 for i in mesh.run_index[run : run + 2])
        keep[first:last] = owner == drawn.original_id()
    faces = np.asarray(mesh.tri_verts, dtype=np.int64)[keep]
    used, renamed = np.unique(faces, return_inverse=True)
    vertices = np.asarray(mesh.vert_properties, dtype=np.float64)[used, :3]
    return vertices, renamed.reshape(-1, 3)


def across(flat: m3.CrossSection, *, left_mm: float, right_mm: float) -> m3.Manifold:
    """Extrude a flat shape in (front, up) from ``left_mm`` to ``right_mm`` along right."""
    bar = flat.extrude(right_mm - left_mm).translate((0, 0, left_mm))
    return bar.transform(np.array([[0, 0, 1, 0], [1, 0, 0, 0], [0, 1, 0, 0]], dtype=float))


def ahead(flat: m3.CrossSection, *, back_mm: float, front_mm: float) -> m3.Manifold:
    """Extrude a flat shape in (right, up) from ``back_mm`` to ``front_mm`` along front."""
    bar = flat.extrude(front_mm - back_mm).translate((0, 0, -front_mm))
    return bar.transform(np.array([[1, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0]], dtype=float))


def pair(solid: m3.Manifold) -> m3.Manifold:
    """Put the mirror image beside a solid that stands on one side."""
    return solid + solid.mirror((1, 0, 0))


def outline(knots: Sequence[tuple[float, float]]) -> m3.CrossSection:
    """Fill a polygon, in either direction of its points."""
    return m3.CrossSection([np.asarray(knots, dtype=float)], m3.FillRule.NonZero)


def smooth_outline(
    knots: Sequence[tuple[float, float]], *, points: int = 72
) -> m3.CrossSection:
    """Fill a closed curve: a periodic cubic spline through its knots."""
    ring = np.asarray([*knots, knots[0]], dtype=float)
    chord = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1))])
    spline = CubicSpline(chord, ring, bc_type="periodic")
    flat = spline(np.linspace(0, chord[-1], points, endpoint=False))
    return m3.CrossSection([flat], m3.FillRule.NonZero)


def front_of_rim(part: tuple[Points, Faces], edge: m3.CrossSection) -> Triple:
    """
    Find the middle of an opening cut along front, on the surface nearest the head.

    Parameters
    ----------
    part
        Vertices and faces of the part the opening was cut in.
    edge
        Outline of the opening in (right, up), on one side of the middle or across it.
    """
    ring = np.asarray(edge.to_polygons()[0])
    tie, _ = cKDTree(ring).query(part[0][:, [0, 2]])
    rim = part[0][tie < 0.01]
    front = np.sort(rim[:, 1])[: len(ring)].mean()
    right, up = ring.mean(axis=0)
    return rounded((right, front, up))


def mirrored(point: Triple) -> Triple:
    """Give the same point on the other side of the middle."""
    return -point[0], point[1], point[2]


def rounded(point: Triple) -> Triple:
    """Give a point to a tenth of a millimetre, as notes do."""
    right, front, up = (round(float(value), 1) for value in point)
    return right, front, up
