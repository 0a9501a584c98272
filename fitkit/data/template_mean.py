"""
The mean of the head template: the survey's means on the shape of real heads.

Three sources pull on the mean: the pooled survey means (met exactly), means of
measures the survey lacks (from memory, loosely), and the scalp and face of an
average of 40 MRI heads, stretched along each axis to the survey's size, since
the source's modelled skull is narrower at the temples than life.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.hair import USUAL_TAPE_HAIR_MM
from fitkit.wearer.measures import LITERATURE
from fitkit.wearer.reading import MESH_KEYS, TAPE_TURNS_RAD, Ruler
from fitkit.wearer.surface import shape_head
from fitkit.wearer.survey import population
from fitkit.wearer.template import Template
from fitkit.wearer.zones import ZONES

Floats = NDArray[np.float64]

#: How closely the mean follows the average head along its normal, by zone. [mm]
FOLLOW_MM = {
    "brow": 1.0, "crown": 1.0, "back": 1.0, "temple_left": 1.0, "temple_right": 1.0,
    "cheek_left": 4.0, "cheek_right": 4.0, "nose": 6.0, "mouth": 4.0, "chin": 6.0,
}  # fmt: skip
#: The whole surface counts as this many independent looks at the head.
LOOKS = 300
#: How closely the mean follows means from memory: breadths, and the rest. [mm]
MEMORY_BREADTH_MM, MEMORY_MM = 1.5, 3.0
#: Passes over the targets: where a measure is taken hangs a little on the mean.
_PASSES = 4
#: Sellion of the average head in the Frankfort frame (front, up; survey ratio). [mm]
_SELLION_RATIO = (94.0, 22.0)


def survey_targets() -> tuple[dict[str, float], dict[str, float]]:
    """Pooled bare-head means, and the slack of those from memory. [mm]."""
    pooled = population("pooled")
    target = dict(zip(pooled.keys, pooled.mean_mm.tolist(), strict=True))
    slack = {}
    for key in set(MESH_KEYS) & set(LITERATURE):
        target[key] = float(np.mean(list(LITERATURE[key].mean_mm.values())))
        slack[key] = MEMORY_BREADTH_MM if "breadth" in key else MEMORY_MM
    for key, turn in TAPE_TURNS_RAD.items():
        target[key] -= turn * USUAL_TAPE_HAIR_MM[None]
    return {k: target[k] for k in MESH_KEYS}, slack


def average_head() -> Mesh:
    """
    Average MRI head in the head frame, stretched to the survey's size.

    ``fsaverage-head.fif`` and its fiducials as packaged with ``mne`` (BSD-3; derived
    from FreeSurfer's average of 40 adults).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import mne
    folder = Path(mne.__file__).parent / "data" / "fsaverage"
    (surface,) = mne.read_bem_surfaces(folder / "fsaverage-head.fif", verbose=False)
    marks, _ = mne.io.read_fiducials(folder / "fsaverage-fiducials.fif", verbose=False)
    left, nasion, right = (1000.0 * m["r"].astype(float) for m in marks)
    verts = 1000.0 * surface["rr"]
    origin = (left + right) / 2
    across = (right - left) / np.linalg.norm(right - left)
    ahead = (nasion - origin) - ((nasion - origin) @ across) * across
    tilt = np.arctan2(_SELLION_RATIO[1], _SELLION_RATIO[0])
    ahead = ahead / np.linalg.norm(ahead)
    above = np.cross(across, ahead)
    front = np.cos(tilt) * ahead - np.sin(tilt) * above
    up = np.cross(across, front)
    placed = (verts - origin) @ np.array([across, front, up]).T
    skull = placed[placed[:, 2] > 20]
    target, _ = survey_targets()
    size = np.array([np.ptp(skull[:, 0]), np.ptp(skull[:, 1]), skull[:, 2].max()])
    wanted = [target[k] for k in ("head_breadth_mm", "head_length_mm", "tragion_to_top_mm")]
    return Mesh(placed * (wanted / size), surface["tris"].astype(np.int64))


def calibrated(template: Template, smooth: Template) -> Template:
    """
    Move a template's mean to the three sources, the survey's means exactly.

    ``smooth`` has the same mean but only stretching and bending modes: with these
    the skull follows the average head, and ears, lips and lids ride along.
    """
    target, slack = survey_targets()
    moved = replace(template, mean_mm=even(template, follow(smooth, average_head())))
    for _ in range(_PASSES):
        shape = shape_head(moved, Ruler(moved), target, slack_mm=slack)
        moved = replace(template, mean_mm=shape.points)
    return moved


def even(template: Template, points: Floats) -> Floats:
    """Points made symmetric: the average head sits a little askew in its frame."""
    image = template.mean_mm * [-1, 1, 1]
    across = cKDTree(template.mean_mm).query(image)[1]
    return np.asarray((points + points[across] * [-1, 1, 1]) / 2)


def follow(template: Template, surface: Mesh) -> Floats:
    """Points of the mean after following a surface: Gauss-Newton, rigid motion free."""
    n = template.n_vertices
    spread = np.array([FOLLOW_MM.get(ZONES[z] if z >= 0 else "", np.inf)
                       for z in template.zone])  # fmt: skip
    use = np.nonzero(np.isfinite(spread))[0]
    area = _vertex_area(template.mean_mm[:n], template.faces)[use]
    weight = np.sqrt(LOOKS * area / area.sum()) / spread[use]
    tree, modes = SurfaceTree(surface), template.modes_mm
    z, motion = np.zeros(modes.shape[2]), np.zeros(3)  # motion: pitch, front, up
    for _ in range(40):
        points = template.mean_mm[use] + modes[use] @ z
        moved = points + _motion_slope(points) @ motion
        near = tree.nearest(moved)
        normal = surface.normals[near.face]
        gap = np.einsum("ij,ij->i", near.point - moved, normal)
        slide = np.einsum("ij,ijk->ik", normal, _motion_slope(points))
        bend = np.einsum("ij,ijk->ik", normal, modes[use])
        rows = np.vstack([np.c_[bend, slide] * weight[:, None],
                          np.eye(len(z), len(z) + 3)])  # fmt: skip
        step = np.linalg.lstsq(rows, np.r_[gap * weight, -z], rcond=None)[0]
        z, motion = z + 0.7 * step[:-3], motion + 0.7 * step[-3:]
    print(f"mean follows the average head to {np.sqrt(np.mean(gap**2)):.2f} mm RMS "
          f"after pitch, front, up of {motion.round(2)}")  # fmt: skip
    return np.asarray(template.mean_mm + modes @ z)


def _motion_slope(points: Floats) -> Floats:
    """Displacement by a small pitch (per 0.01 rad), front and up, shape (n, 3, 3)."""
    slope = np.zeros((len(points), 3, 3))
    slope[:, 1, 0], slope[:, 2, 0] = points[:, 2] / 100, -points[:, 1] / 100
    slope[:, 1, 1] = slope[:, 2, 2] = 1
    return slope


def _vertex_area(points: Floats, faces: NDArray[np.int64]) -> Floats:
    a, b, c = points[faces].transpose(1, 0, 2)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 6
    return np.asarray(np.bincount(faces.ravel(), np.repeat(area, 3), len(points)), float)
