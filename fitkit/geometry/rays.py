"""Rays against a mesh: what they hit first, or whether anything is in the way."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

Float32Array = NDArray[np.float32]
Int32Array = NDArray[np.int32]
#: Turns a ray of length 1 by up to 0.0001 degrees, along no axis of symmetry.
NUDGE = 2e-6 * np.array([0.31, -0.57, 0.76])


@dataclass(frozen=True, kw_only=True, eq=False)
class Hits:
    """The first face that each of n rays meets."""

    #: Distance from the ray's origin along its direction, shape (n,); inf if free. [mm]
    distance_mm: FloatArray
    #: Face that was hit, shape (n,); -1 if free.
    face: IntArray


class RayScene:
    """
    Rays against one mesh; the scene is built once, when first needed.

    Notes
    -----
    The tracer works in single precision, so the mesh is moved to the middle of its
    own bounding box first; the distance to the face it names is then taken in double
    precision. Both sides of a face block a ray. Aimed right at a vertex, about one ray
    in a thousand slips through, so a ray that meets nothing is cast once more, turned
    by 0.0001 degrees.
    """

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh

    def __reduce__(self) -> tuple[type[RayScene], tuple[Mesh]]:
        return RayScene, (self.mesh,)

    @cached_property
    def _centre(self) -> FloatArray:
        centre: FloatArray = self.mesh.bounds_mm.mean(axis=0)
        return centre

    @cached_property
    def _scene(self) -> EmbreeScene:
        scene = EmbreeScene(robust=True)
        local = (self.mesh.vertices - self._centre).astype(np.float32)
        TriangleMesh(scene, local, self.mesh.faces.astype(np.int32))
        return scene

    def first_hit(
        self, origins: FloatArray, directions: FloatArray, *, skip_mm: float = 0.0
    ) -> Hits:
        """
        Find the first face along each ray.

        Parameters
        ----------
        origins : ndarray, shape (n, 3) or (3,)
            Where rays start. [mm]
        directions : ndarray, shape (n, 3)
            Where they go; any length but zero.
        skip_mm : float
            Nothing nearer than this counts: for rays that start on the mesh. [mm]
        """
        starts, aims = _rays(origins, directions, skip_mm)
        face = self._run(starts, aims, query="INTERSECT").astype(np.int64)
        distance = self._distance_to_plane(starts, aims, face) + skip_mm
        return Hits(distance_mm=distance, face=face)

    def blocked(
        self,
        origins: FloatArray,
        directions: FloatArray,
        *,
        skip_mm: float = 0.0,
        reach_mm: float = np.inf,
    ) -> BoolArray:
        """
        Say which rays meet the mesh farther than `skip_mm` and within `reach_mm`.

        Same shapes as `first_hit`; faster, since any face will do.
        """
        starts, aims = _rays(origins, directions, skip_mm)
        reach = np.full(len(aims), min(reach_mm - skip_mm, 1e30), dtype=np.float32)
        answer = self._run(starts, aims, query="OCCLUDED", dists=reach)
        blocked: BoolArray = answer == 0  # 0 is blocked, -1 is free
        return blocked

    def _run(
        self,
        starts: FloatArray,
        aims: FloatArray,
        *,
        query: Literal["INTERSECT", "OCCLUDED"],
        dists: Float32Array | None = None,
    ) -> Int32Array:
        """Cast rays, and those that meet nothing a second time; -1 is free in both."""
        local = (starts - self._centre).astype(np.float32)
        found: Int32Array = self._scene.run(
            local, aims.astype(np.float32), dists=dists, query=query
        )
        free = np.nonzero(found < 0)[0]
        if len(free):
            turned = (aims[free] + NUDGE).astype(np.float32)
            reach = None if dists is None else dists[free]
            found[free] = self._scene.run(local[free], turned, dists=reach, query=query)
        return found

    def _distance_to_plane(
        self, starts: FloatArray, aims: FloatArray, face: IntArray
    ) -> FloatArray:
        normal, corners = self.mesh.normals[face], self.mesh.triangles[face]
        ahead = np.einsum("ij,ij->i", normal, corners[:, 0] - starts)
        rate = np.einsum("ij,ij->i", normal, aims)
        along = np.einsum("ikj,ij->ik", corners - starts[:, None], aims)
        plane = ahead / np.where(rate == 0, np.inf, rate)
        within = np.clip(plane, along.min(axis=1), along.max(axis=1))  # if it grazes
        return np.where(face >= 0, within, np.inf)


def _rays(
    origins: FloatArray, directions: FloatArray, skip_mm: float
) -> tuple[FloatArray, FloatArray]:
    aims = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    return np.broadcast_to(origins, aims.shape) + skip_mm * aims, aims
