"""Drawn people made into rough scans in any pose, for tests."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import trimesh
from heads import FACE_AND_SCALP, bare, draws
from scipy.spatial.transform import Rotation

from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import head_model
from fitkit.wearer.scan_fit import Pose
from fitkit.wearer.surface import shape_head

TEMPLATE, RULER = head_model()
N = TEMPLATE.n_vertices
THREE = ("tragion_left", "tragion_right", "sellion")
FRANKFORT = ("tragion_left", "tragion_right", "orbitale_left", "orbitale_right")
FACE = np.isin(TEMPLATE.zone, FACE_AND_SCALP)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@dataclass(frozen=True, kw_only=True, eq=False)
class Scanned:
    """A person as they are, and as scanned."""

    #: Points in the head frame.
    truth: np.ndarray
    scan: Mesh
    landmarks: dict
    pose: Pose

    def some(self, names):
        return {name: self.landmarks[name] for name in names}


@cache
def person(seed):
    """
    A drawn head, changed in ways that no mode knows, scanned whole in some pose.

    Bumps of up to 4 mm and 30 mm across that the template's fields (reach 40 mm) do not
    hold; other triangles than the template's; noise of 0.2 mm; cut at the collar.
    """
    random = np.random.default_rng(seed)
    sex = ("female", "male")[seed % 2]
    points = shape_head(TEMPLATE, RULER, bare(draws(sex, 1, seed=seed)[0], sex)).points
    points = points + bumps(points, random)
    head = Mesh(points[:N], TEMPLATE.faces)
    verts, faces = trimesh.remesh.subdivide(head.vertices, head.faces)
    fine = Mesh(verts, faces)
    noise = random.normal(0, 0.2, len(verts))
    fine = fine.with_vertices(verts + noise[:, None] * fine.vertex_normals)
    open_below = fine.submesh(fine.centroids[:, 2] > -125 + 0.2 * fine.centroids[:, 1])
    pose = Pose(turn=Rotation.random(rng=random).as_matrix(),
                shift_mm=random.uniform(-400, 400, 3))  # fmt: skip
    return Scanned(
        truth=points,
        scan=open_below.with_vertices(pose.to_scan(open_below.vertices)),
        landmarks={k: pose.to_scan(points[i]) for k, i in TEMPLATE.landmarks.items()},
        pose=pose,
    )


def bumps(points, random):
    centres = points[random.choice(np.nonzero(FACE)[0], 12)]
    heights = random.uniform(-4, 4, 12)
    away = np.linalg.norm(points[:, None] - centres[None], axis=2)
    outward = points / np.linalg.norm(points, axis=1, keepdims=True)
    return (np.exp(-((away / 15.0) ** 2)) @ heights)[:, None] * outward
