"""The head seen from five sides, pixel by pixel, with its ease: numbers, not a drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.ease import EaseMap
from fitkit.geometry.mesh import IntArray
from fitkit.geometry.rays import RayScene
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

FloatArray = NDArray[np.float64]

#: Size of a pixel on the head. [mm]
PIXEL_MM = 0.5
#: Part of the neck that is shown below the lowest zone. [mm]
NECK_SHOWN_MM = 22.0
#: Margin around the head. [mm]
MARGIN_MM = 6.0
#: Tight places that are marked on a view, and how far apart they are at least. [mm]
MOST_SPOTS = 4
APART_MM = 22.0
#: A spot counts as seen if the surface in front of it is no nearer than this. [mm]
SEEN_MM = 2.0

#: Name of each view, the way to the viewer, and the head's axis across the picture.
SIDES: tuple[tuple[str, tuple[int, int, int], tuple[int, int, int]], ...] = (
    ("front", (0, 1, 0), (-1, 0, 0)),
    ("wearer's left", (-1, 0, 0), (0, -1, 0)),
    ("wearer's right", (1, 0, 0), (0, 1, 0)),
    ("back", (0, -1, 0), (1, 0, 0)),
    ("top", (0, 0, 1), (1, 0, 0)),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Spot:
    """One tight place, on a view where it is seen."""

    #: Across and up the picture, shape (2,). [mm]
    at: FloatArray
    zone: str
    #: Least ease of the zone; positive air, negative clash. [mm]
    ease_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class HeadView:
    """One view of the head, seen from far off; rows run up the picture."""

    title: str
    #: Centres of the pixel columns and rows, shapes (w,) and (h,). [mm]
    across: FloatArray
    upward: FloatArray
    #: Ease of what is seen at each pixel, (h, w); nan on the neck and off the head. [mm]
    ease_mm: FloatArray
    #: Ease minus the least asked for there, (h, w); nan likewise. [mm]
    spare_mm: FloatArray
    #: How squarely the surface faces the viewer, 0 to 1, (h, w); nan off the head.
    facing: FloatArray
    #: Tight places that are seen here.
    spots: tuple[Spot, ...]


def head_views(
    wearer: Wearer, ease_map: EaseMap, *, pixel_mm: float = PIXEL_MM
) -> tuple[HeadView, ...]:
    """
    Look at a head from the front, both sides, the back and the top.

    Parameters
    ----------
    wearer : Wearer
        With n head vertices.
    ease_map : EaseMap
        Ease at those vertices.
    pixel_mm : float
        Size of a pixel. [mm]

    Returns
    -------
    tuple of HeadView
        Ease between vertices is interpolated over the triangle that is seen.
    """
    scene = RayScene(wearer.head)
    return tuple(
        _Look(wearer, ease_map, scene, toward, across).view(title, pixel_mm)
        for title, toward, across in SIDES
    )


class _Look:
    """One look at a head from far off."""

    def __init__(
        self,
        wearer: Wearer,
        ease_map: EaseMap,
        scene: RayScene,
        toward: tuple[int, int, int],
        across: tuple[int, int, int],
    ) -> None:
        self._wearer, self._map = wearer, ease_map
        self._scene = scene
        self._toward = np.array(toward, dtype=float)
        right = np.array(across, dtype=float)
        self._paper = np.stack([right, np.cross(self._toward, right)])

    def view(self, title: str, pixel_mm: float) -> HeadView:
        """Cast one ray a pixel and take what it meets."""
        across, upward = self._pixels(pixel_mm)
        grid = np.stack(np.meshgrid(across, upward), axis=-1).reshape(-1, 2)
        face, at = self._seen(grid)
        hit = np.nonzero(face >= 0)[0]
        shape = (len(upward), len(across))
        layers = self._layers(face[hit], at[hit])
        filled = [np.full(len(grid), np.nan) for _ in layers]
        for layer, values in zip(filled, layers, strict=True):
            layer[hit] = values
        ease_mm, spare_mm, facing = (layer.reshape(shape) for layer in filled)
        return HeadView(
            title=title,
            across=across,
            upward=upward,
            ease_mm=ease_mm,
            spare_mm=spare_mm,
            facing=facing,
            spots=self._spots(),
        )

    def _pixels(self, pixel_mm: float) -> tuple[FloatArray, FloatArray]:
        vertices, zone = self._wearer.head.vertices, self._wearer.zone
        floor = float(vertices[zone >= 0, 2].min()) - NECK_SHOWN_MM
        flat = vertices[vertices[:, 2] >= floor] @ self._paper.T
        low, high = flat.min(axis=0) - MARGIN_MM, flat.max(axis=0) + MARGIN_MM
        across, upward = (
            np.arange(start, stop, pixel_mm) for start, stop in zip(low, high, strict=True)
        )
        return across, upward

    def _seen(self, flat: FloatArray) -> tuple[IntArray, FloatArray]:
        """Face and point of the head that is seen at places of the picture, (p, 2)."""
        far = self._toward * 2.0 * self._wearer.head.scale_mm
        origins = flat @ self._paper + far
        hits = self._scene.first_hit(origins, np.tile(-self._toward, (len(flat), 1)))
        reach = np.where(hits.face >= 0, hits.distance_mm, 0.0)
        return hits.face, origins - reach[:, None] * self._toward

    def _layers(
        self, face: IntArray, at: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        head, zone = self._wearer.head, self._wearer.zone
        corners = head.faces[face]
        shares = _shares(at, head.triangles[face])
        mixed = np.einsum("pk,pk->p", shares, self._map.ease_mm[corners])
        nearest = corners[np.arange(len(face)), shares.argmax(axis=1)]
        normals = np.einsum("pk,pki->pi", shares, head.vertex_normals[corners])
        facing = normals @ self._toward / np.linalg.norm(normals, axis=1)
        spare = mixed - self._asked_mm()[zone[nearest]]
        return mixed, spare, np.clip(facing, 0.0, 1.0)

    def _asked_mm(self) -> FloatArray:
        """Least ease asked for, by index of zone; nan for the neck, at the end."""
        by_zone = self._map.by_zone
        asked = [by_zone[z].wanted_mm if z in by_zone else np.nan for z in ZONES]
        return np.array([*asked, np.nan])

    def _spots(self) -> tuple[Spot, ...]:
        """Tightest places that are seen from here, one a zone, well apart."""
        spots: list[Spot] = []
        for zone in sorted(self._map.by_zone.values(), key=lambda zone: zone.spare_mm):
            flat = self._paper @ zone.at
            apart = all(np.linalg.norm(flat - spot.at) >= APART_MM for spot in spots)
            if apart and len(spots) < MOST_SPOTS and self._sees(zone.at):
                spots.append(Spot(at=flat, zone=zone.zone, ease_mm=zone.least_mm))
        return tuple(spots)

    def _sees(self, point: FloatArray) -> bool:
        surface = self._seen((self._paper @ point)[None])[1][0]
        return float((surface - point) @ self._toward) <= SEEN_MM


def _shares(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Barycentric shares, shape (p, 3), of points in the planes of their triangles."""
    a, b, c = np.moveaxis(triangles - points[:, None], 1, 0)
    parts = np.stack([np.cross(b, c), np.cross(c, a), np.cross(a, b)], axis=1)
    whole = parts.sum(axis=1)
    square = np.maximum(np.einsum("pi,pi->p", whole, whole), 1e-300)
    shares: FloatArray = np.einsum("pki,pi->pk", parts, whole) / square[:, None]
    return shares
