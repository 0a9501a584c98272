"""The template head: mean, modes of shape, landmarks, zones; from package data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

#: Package data written by ``fitkit/data/derive_template.py``.
TEMPLATE_FILE = Path(__file__).parent.parent / "data" / "head_template.npz"


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """
    A Gaussian model of heads: ``points = mean_mm + modes_mm @ z``, z standard normal.

    The first ``n`` points are mesh vertices; the rest are marks off the surface
    (the fronts of the corneas). All in the head frame; every mode keeps the
    tragia's midpoint, the tragion line and the Frankfort plane where they are.
    """

    #: Mean points, shape (p, 3). [mm]
    mean_mm: NDArray[np.float64]
    #: Modes at one standard deviation, shape (p, 3, k). [mm]
    modes_mm: NDArray[np.float64]
    #: Triangles of the closed head, shape (m, 3).
    faces: NDArray[np.int64]
    #: Point index of each landmark or mark.
    landmarks: Mapping[str, int]
    #: Index into ``ZONES`` of each mesh vertex, -1 is neck, shape (n,).
    zone: NDArray[np.int64]
    #: Share of each zone's hair that a vertex carries, shape (n, zones); smooth.
    zone_blend: NDArray[np.float64]

    @property
    def n_vertices(self) -> int:
        """Number of mesh vertices; later points are marks."""
        return len(self.zone)


@cache
def load_template(path: Path = TEMPLATE_FILE) -> Template:
    """Read the template once; later calls share it (arrays are read-only)."""
    with np.load(path, allow_pickle=False) as file:
        names = [str(n) for n in file["landmark_names"]]
        fields = {
            "mean_mm": file["mean_mm"].astype(np.float64),
            "modes_mm": file["modes_mm"].astype(np.float64),
            "faces": file["faces"].astype(np.int64),
            "zone": file["zone"].astype(np.int64),
            "zone_blend": file["zone_blend"].astype(np.float64),
        }
        landmarks = dict(zip(names, file["landmark_points"].tolist(), strict=True))
    for array in fields.values():
        array.flags.writeable = False
    return Template(landmarks=landmarks, **fields)


def save_template(template: Template, path: Path) -> None:
    """Write the template in half precision (0.005 mm on a 5 mm mode)."""
    np.savez_compressed(
        path,
        mean_mm=template.mean_mm.astype(np.float64),
        modes_mm=template.modes_mm.astype(np.float16),
        faces=template.faces.astype(np.int32),
        zone=template.zone.astype(np.int8),
        zone_blend=template.zone_blend.astype(np.float16),
        landmark_names=np.array(list(template.landmarks)),
        landmark_points=np.array(list(template.landmarks.values())),
    )
