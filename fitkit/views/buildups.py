"""What pictures of build-up show: maps on surfaces, parts pulled apart, coats in a wall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from fitkit.geometry.mesh import FloatArray, IntArray, Mesh, join
from fitkit.geometry.rays import RayScene
from fitkit.piece.route_walls import WallMap
from fitkit.piece.routes import Route
from fitkit.piece.seams import BedSplit
from fitkit.piece.undercuts import Undercuts

#: Size of a pixel on the piece, and margin around it. [mm]
PIXEL_MM, MARGIN_MM = 1.0, 6.0
#: Name of each view, the way to the viewer, and the axis across the picture.
SIDES: tuple[tuple[str, tuple[int, int, int], tuple[int, int, int]], ...] = (
    ("front", (0, 1, 0), (-1, 0, 0)),
    ("wearer's left", (-1, 0, 0), (0, -1, 0)),
    ("back", (0, -1, 0), (1, 0, 0)),
    ("top", (0, 0, 1), (1, 0, 0)),
)
#: From the front, the wearer's left, and above.
CORNER = (np.array([-0.55, 0.75, 0.38]), np.array([-0.81, -0.59, 0.0]))
#: Parts are pulled apart by this share of their distance from the middle.
SPREAD = 0.38
#: Places farther than this from any that was measured were left out on purpose. [mm]
LEFT_OUT_MM = 4.0


@dataclass(frozen=True, kw_only=True, eq=False)
class MapView:
    """One view of a surface with a figure at every pixel; rows run up the picture."""

    title: str
    #: Centres of the pixel columns and rows, shapes (w,) and (h,). [mm]
    across: FloatArray
    upward: FloatArray
    #: What is mapped, at each pixel, (h, w); nan off the surface or not measured. [mm]
    value_mm: FloatArray
    #: How squarely the surface faces the viewer, 0 to 1, (h, w); nan off it.
    facing: FloatArray
    #: Where the figure that matters most is seen, across and up, shape (2,), and its
    #: value; None if it is hidden in this view. [mm]
    spot: tuple[FloatArray, float] | None


@dataclass(frozen=True, kw_only=True, eq=False)
class PartsView:
    """Parts pulled apart, seen from a corner; rows run up the picture."""

    #: Centres of the pixel columns and rows, shapes (w,) and (h,). [mm]
    across: FloatArray
    upward: FloatArray
    #: Number of the part seen at each pixel, (h, w), -1 for none.
    part: IntArray
    #: How squarely the surface faces the viewer, 0 to 1, (h, w); nan off it.
    facing: FloatArray
    #: Name, and middle in the picture, of each part. [mm]
    labels: tuple[tuple[str, FloatArray], ...]
    #: Size of each part in words.
    sizes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class CoatView:
    """One coat in a cut through the finished wall."""

    name: str
    #: From the drawn surface, of a drawn wall from its outside; outward positive. [mm]
    from_mm: float
    to_mm: float
    #: Whether it is the wall as it was drawn.
    drawn: bool = False


def wall_views(wall: WallMap) -> tuple[MapView, ...]:
    """Look at the thickness of a wall from four sides; the spot is the thinnest."""
    values = np.full(len(wall.surface.faces), np.nan)
    values[wall.faces] = wall.thickness_mm
    values = _nearby(wall, values)
    worst = (wall.thinnest_at_mm, wall.least_mm)
    return _views(wall.surface, values, worst)


def undercut_views(found: Undercuts) -> tuple[MapView, ...]:
    """Look at undercuts from four sides; the spot is the deepest."""
    return _views(found.surface, found.depth_mm, (found.worst_at_mm, found.worst_mm))


def parts_view(split: BedSplit) -> PartsView:
    """Pull the parts of a split apart and look at them from a corner."""
    meshes = [part.mesh for part in split.parts]
    middle = join(meshes).bounds_mm.mean(axis=0)
    moved = [
        mesh.with_vertices(mesh.vertices + SPREAD * (mesh.bounds_mm.mean(axis=0) - middle))
        for mesh in meshes
    ]
    look = _Look(join(moved), *CORNER)
    face, _, facing = look.seen()
    of_face = np.repeat(np.arange(len(moved)), [len(mesh.faces) for mesh in moved])
    part = np.where(face >= 0, of_face[face], -1)
    labels = tuple(
        (each.name, _label_at(look, part, number))
        for number, each in enumerate(split.parts)
    )
    sizes = tuple(
        " x ".join(f"{extent:.0f}" for extent in each.size_mm) for each in split.parts
    )
    return PartsView(
        across=look.across,
        upward=look.upward,
        part=part,
        facing=facing,
        labels=labels,
        sizes=sizes,
    )


def coat_views(route: Route, *, drawn_wall_mm: float = 0.0) -> tuple[CoatView, ...]:
    """
    Give the coats of a finished wall from the inside out.

    Parameters
    ----------
    route : Route
    drawn_wall_mm : float
        Usual thickness of the wall, where it is drawn; it lies between the others. [mm]
    """
    gap = drawn_wall_mm if route.drawn_wall else 0.0
    coats = [
        CoatView(name=coat.name, from_mm=coat.from_mm - shift, to_mm=coat.to_mm - shift)
        for coat in route.finished.coats
        for shift in (gap if coat.to_mm <= 0 else 0.0,)
    ]
    if gap > 0:
        sanded = min(0.0, route.growth_mm)
        coats.append(CoatView(name="wall as drawn", from_mm=-gap, to_mm=sanded, drawn=True))
    return tuple(sorted(coats, key=lambda coat: coat.from_mm))


class _Look:
    """One look at a mesh from far off."""

    def __init__(self, mesh: Mesh, toward: FloatArray, across: FloatArray) -> None:
        self.mesh = mesh
        self.toward = toward / np.linalg.norm(toward)
        right = across - (across @ self.toward) * self.toward
        right /= np.linalg.norm(right)
        self.paper = np.stack([right, np.cross(self.toward, right)])
        flat = mesh.vertices @ self.paper.T
        low, high = flat.min(axis=0) - MARGIN_MM, flat.max(axis=0) + MARGIN_MM
        self.across = np.arange(low[0], high[0], PIXEL_MM)
        self.upward = np.arange(low[1], high[1], PIXEL_MM)
        self.scene = RayScene(mesh)

    def seen(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Face, (h, w), point, (h, w, 3), and how squarely it faces the viewer, (h, w)."""
        flat = np.stack(np.meshgrid(self.across, self.upward), axis=-1).reshape(-1, 2)
        far = self.toward * 2.0 * self.mesh.scale_mm
        starts = flat @ self.paper + far
        hits = self.scene.first_hit(starts, np.tile(-self.toward, (len(flat), 1)))
        hit = hits.face >= 0
        way = np.where(hit, hits.distance_mm, 0.0)
        points = starts - way[:, None] * self.toward
        facing = np.where(hit, np.abs(self.mesh.normals[hits.face] @ self.toward), np.nan)
        shape = (len(self.upward), len(self.across))
        return hits.face.reshape(shape), points.reshape(*shape, 3), facing.reshape(shape)

    def sees(self, point: FloatArray) -> bool:
        """Whether a point of the surface is in sight."""
        ray = self.toward[None]
        blocked = self.scene.blocked(point + 1.5 * self.toward, ray, skip_mm=0.5)
        return not bool(blocked[0])


def _views(
    mesh: Mesh, values: FloatArray, worst: tuple[FloatArray, float]
) -> tuple[MapView, ...]:
    found = []
    for title, toward, across in SIDES:
        look = _Look(mesh, np.array(toward, dtype=float), np.array(across, dtype=float))
        face, _, facing = look.seen()
        value = np.where(face >= 0, values[face], np.nan)
        at, figure = worst
        spot = (look.paper @ at, figure) if look.sees(at) else None
        found.append(
            MapView(
                title=title,
                across=look.across,
                upward=look.upward,
                value_mm=value,
                facing=facing,
                spot=spot,
            )
        )
    return tuple(found)


def _nearby(wall: WallMap, values: FloatArray) -> FloatArray:
    """Fill in faces that were left out of a sample, not those left out on purpose."""
    left = np.nonzero(np.isnan(values))[0]
    if len(left):
        at = wall.surface.centroids
        off, near = cKDTree(at[wall.faces]).query(at[left])
        known = np.asarray(off) < LEFT_OUT_MM
        values[left[known]] = wall.thickness_mm[np.asarray(near)[known]]
    return values


def _label_at(look: _Look, part: IntArray, number: int) -> FloatArray:
    """Where what is seen of a part is broadest, or nan if it is hidden, shape (2,)."""
    depth = ndimage.distance_transform_edt(part == number)
    if not depth.any():
        return np.array([np.nan, np.nan])
    row, column = np.unravel_index(int(depth.argmax()), depth.shape)
    return np.array([look.across[column], look.upward[row]])
