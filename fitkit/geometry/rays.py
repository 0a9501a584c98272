"""Rays against a mesh: what they hit first, or whether anything is in the way."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

Float32Array = NDArray[np.float32]


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
    precision. Both sides of a face block a ray.
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
        face = self._scene.run(*self._local(starts, aims)).astype(np.int64)
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
        answer = self._scene.run(*self._local(starts, aims), dists=reach, query="OCCLUDED")
        blocked: BoolArray = answer == 0  # 0 is blocked, -1 is free
        return blocked

    def _local(
        self, starts: FloatArray, aims: FloatArray
    ) -> tuple[Float32Array, Float32Array]:
        return (starts - self._centre).astype(np.float32), aims.astype(np.float32)

    def _distance_to_plane(
        self, starts: FloatArray, aims: FloatArray, face: IntArray
    ) -> FloatArray:
        mesh = self.mesh
        normal, corner = mesh.normals[face], mesh.vertices[mesh.faces[face, 0]]
        ahead = np.einsum("ij,ij->i", normal, corner - starts)
        rate = np.einsum("ij,ij->i", normal, aims)
        return np.where(face >= 0, ahead / np.where(rate == 0, np.inf, rate), np.inf)


def _rays(
    origins: FloatArray, directions: FloatArray, skip_mm: float
) -> tuple[FloatArray, FloatArray]:
    aims = directions / np.linalg.norm(directions, axis=1, keepdims=True)
    return np.broadcast_to(origins, aims.shape) + skip_mm * aims, aims
