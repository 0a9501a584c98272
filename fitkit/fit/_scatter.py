"""Light that reaches the eyes from lamps: straight, or thrown back once by a surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.mesh import BoolArray, FloatArray, Mesh
from fitkit.geometry.rays import RayScene

#: Faces are split until no side is longer than this, at most so many times. [mm]
SIDE_MM, MOST_SPLITS = 4.0, 64
#: A ray may end this short of the surface it goes to. [mm]
SHORT_MM = 0.05


@dataclass(frozen=True, eq=False)
class Matt:
    """Matt surface elements, k of them, in the head frame."""

    #: Middles, (k, 3) in mm; unit normals on the side that throws light back, (k, 3).
    at: FloatArray
    normal: FloatArray
    #: Areas, (k,). [mm²]
    area_mm2: FloatArray
    #: Share of light thrown back, (k,).
    reflectance: FloatArray


def elements(mesh: Mesh, reflectance: float) -> Matt:
    """Split a surface into elements; its face normals point to the side that counts."""
    sides = np.linalg.norm(np.roll(mesh.triangles, -1, axis=1) - mesh.triangles, axis=2)
    splits = np.clip(np.ceil(sides.max(axis=1) / SIDE_MM), 1, MOST_SPLITS).astype(int)
    at, normal, area = [], [], []
    for count in np.unique(splits).tolist():
        rows = np.nonzero(splits == count)[0]
        shares = _shares(count)
        at.append(np.einsum("sk,fkj->fsj", shares, mesh.triangles[rows]).reshape(-1, 3))
        normal.append(np.repeat(mesh.normals[rows], len(shares), axis=0))
        area.append(np.repeat(mesh.areas_mm2[rows] / len(shares), len(shares)))
    total = np.concatenate(area)
    return Matt(
        at=np.concatenate(at),
        normal=np.concatenate(normal),
        area_mm2=total,
        reflectance=np.full(len(total), reflectance),
    )


def lit_lux(
    matt: Matt,
    *,
    lamp: FloatArray,
    axis: FloatArray,
    half_angle_deg: float,
    intensity_cd: float,
    scenes: tuple[RayScene, ...],
) -> FloatArray:
    """Illuminance of every element by one lamp, (k,), in lux."""
    way = matt.at - lamp
    distance = np.linalg.norm(way, axis=1)
    way = way / np.maximum(distance, 1e-9)[:, None]
    cosine = -np.einsum("ij,ij->i", way, matt.normal)
    lit = (cosine > 0) & (way @ axis >= np.cos(np.radians(half_angle_deg)) - 1e-12)
    rows = np.nonzero(lit)[0]
    lit[rows] = _reaches(lamp, way[rows], distance[rows], scenes)
    metres = np.maximum(distance, 1.0) / 1000
    lux: FloatArray = np.where(lit, intensity_cd * np.maximum(cosine, 0) / metres**2, 0.0)
    return lux


def thrown_back_lux(
    matt: Matt, lux: FloatArray, *, pupil: FloatArray, scenes: tuple[RayScene, ...]
) -> tuple[FloatArray, FloatArray]:
    """
    Light that elements send into one pupil.

    Returns
    -------
    ndarray, shape (n, 3)
        Unit directions from the pupil to those that reach it.
    ndarray, shape (n,)
        Illuminance at the pupil, square to each direction. [lx]
    """
    way = matt.at - pupil
    distance = np.linalg.norm(way, axis=1)
    way = way / np.maximum(distance, 1e-9)[:, None]
    cosine = -np.einsum("ij,ij->i", way, matt.normal)
    rows = np.nonzero((cosine > 0) & (lux > 0))[0]
    rows = rows[_reaches(pupil, way[rows], distance[rows], scenes)]
    luminance = matt.reflectance[rows] * lux[rows] / np.pi
    angle_sr = matt.area_mm2[rows] * cosine[rows] / distance[rows] ** 2
    return way[rows], luminance * angle_sr


def _reaches(
    start: FloatArray, ways: FloatArray, distance: FloatArray, scenes: tuple[RayScene, ...]
) -> BoolArray:
    """Say which rays get from the start to their end, both of shape (k,)."""
    free = np.ones(len(ways), dtype=bool)
    for scene in scenes:
        rows = np.nonzero(free)[0]
        starts = np.broadcast_to(start, (len(rows), 3))
        met = scene.first_hit(starts, ways[rows]).distance_mm
        free[rows] = met >= distance[rows] - SHORT_MM
    return free


def _shares(count: int) -> FloatArray:
    """Barycentric middles of the count² like triangles that split a triangle."""
    shares = []
    for i in range(count):
        for j in range(count - i):
            shares.append((i + 1 / 3, j + 1 / 3))
            if i + j < count - 1:
                shares.append((i + 2 / 3, j + 2 / 3))
    first, second = np.array(shares).T / count
    return np.stack([first, second, 1 - first - second], axis=1)
