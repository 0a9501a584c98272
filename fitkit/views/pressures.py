"""The head seen from four sides with the pressure of its pads: numbers, not a drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.padding import Settled
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.rays import RayScene

FloatArray = NDArray[np.float64]

#: Size of a pixel on the head, and the margin around it. [mm]
PIXEL_MM, MARGIN_MM = 0.8, 5.0
#: A peak counts as seen if the surface in front of it is no nearer than this. [mm]
SEEN_MM = 2.0
#: Name of each view, the way to the viewer, and the head's axis across the picture.
SIDES: tuple[tuple[str, tuple[int, int, int], tuple[int, int, int]], ...] = (
    ("front", (0, 1, 0), (-1, 0, 0)),
    ("wearer's left", (-1, 0, 0), (0, -1, 0)),
    ("back", (0, -1, 0), (1, 0, 0)),
    ("top", (0, 0, 1), (1, 0, 0)),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PressureView:
    """One view of the head, seen from far off; rows run up the picture."""

    title: str
    #: Centres of the pixel columns and rows, shapes (w,) and (h,). [mm]
    across: FloatArray
    upward: FloatArray
    #: Pressure on what is seen at each pixel, (h, w); nan off the head. [kPa]
    kpa: FloatArray
    #: How squarely the surface faces the viewer, 0 to 1, (h, w); nan off the head.
    facing: FloatArray
    #: Largest pressure of the case. [kPa]
    peak_kpa: float
    #: Where it is, across and up the picture, shape (2,); None where it is not seen. [mm]
    peak_at: FloatArray | None


def pressure_views(
    head: Mesh, settled: Settled, *, pixel_mm: float = PIXEL_MM
) -> tuple[PressureView, ...]:
    """
    Look at a head from the front, the wearer's left, the back and the top.

    Parameters
    ----------
    head : Mesh
        The head that `settled` was worked out on, with n vertices.
    settled : Settled
        Pressure at those vertices; between them it is interpolated.
    pixel_mm : float
        Size of a pixel. [mm]
    """
    scene = RayScene(head)
    return tuple(
        _view(head, scene, settled, title, np.array(toward, float), np.array(right, float),
              pixel_mm)
        for title, toward, right in SIDES
    )  # fmt: skip


def _view(
    head: Mesh,
    scene: RayScene,
    settled: Settled,
    title: str,
    toward: FloatArray,
    right: FloatArray,
    pixel_mm: float,
) -> PressureView:
    paper = np.stack([right, np.cross(toward, right)])
    flat = head.vertices @ paper.T
    low, high = flat.min(axis=0) - MARGIN_MM, flat.max(axis=0) + MARGIN_MM
    across, upward = (
        np.arange(start, stop, pixel_mm) for start, stop in zip(low, high, strict=True)
    )
    grid = np.stack(np.meshgrid(across, upward), axis=-1).reshape(-1, 2)
    far = 2.0 * head.scale_mm * toward
    hits = scene.first_hit(grid @ paper + far, np.tile(-toward, (len(grid), 1)))
    hit = np.nonzero(hits.face >= 0)[0]
    corners = head.faces[hits.face[hit]]
    shares = _shares(grid[hit], flat[corners])
    kpa, facing = np.full(len(grid), np.nan), np.full(len(grid), np.nan)
    kpa[hit] = np.einsum("pk,pk->p", shares, settled.pressure_kpa[corners])
    normals = np.einsum("pk,pki->pi", shares, head.vertex_normals[corners])
    facing[hit] = np.clip(normals @ toward / np.linalg.norm(normals, axis=1), 0, 1)
    shape = (len(upward), len(across))
    return PressureView(
        title=title,
        across=across,
        upward=upward,
        kpa=kpa.reshape(shape),
        facing=facing.reshape(shape),
        peak_kpa=settled.peak_kpa,
        peak_at=_seen(scene, settled.peak_at_mm, paper, far, toward),
    )


def _seen(
    scene: RayScene,
    point: FloatArray,
    paper: FloatArray,
    far: FloatArray,
    toward: FloatArray,
) -> FloatArray | None:
    """Give a head point's place on the picture, if nothing stands before it."""
    away = float((paper.T @ (paper @ point) + far - point) @ toward)
    ray = scene.first_hit((point + away * toward)[None], -toward[None])
    seen = float(ray.distance_mm[0]) >= away - SEEN_MM
    at: FloatArray = paper @ point
    return at if seen else None


def _shares(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Barycentric shares of places on paper, (p, 2), in triangles, (p, 3, 2): (p, 3)."""
    a, b, c = np.moveaxis(triangles - points[:, None], 1, 0)
    parts = np.stack([_cross(b, c), _cross(c, a), _cross(a, b)], axis=1)
    whole = parts.sum(axis=1)
    safe = np.where(np.abs(whole) < 1e-12, 1.0, whole)
    shares: FloatArray = np.clip(parts / safe[:, None], 0.0, 1.0)
    total = shares.sum(axis=1, keepdims=True)
    evened: FloatArray = np.where(total > 0, shares / np.maximum(total, 1e-12), 1 / 3)
    return evened


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    product: FloatArray = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return product
