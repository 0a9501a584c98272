"""Which head vertices the solver looks at first: spread evenly over every zone."""

from __future__ import annotations

import numpy as np

from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray, Mesh
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

#: Vertices in the sample, about, and the fewest in any zone that has as many.
SAMPLE_SIZE = 240
LEAST_IN_ZONE = 10


def zone_samples(wearer: Wearer) -> tuple[IntArray, ...]:
    """
    Pick head vertices in each zone, in the order of ``ZONES``.

    Each zone gets a share by its area. Within a zone every next vertex is the one
    farthest from those before (T. F. Gonzalez, Theor. Comput. Sci. 38, 293-306 (1985)),
    so that the first few of each are a coarse sample of the same kind.
    """
    area = vertex_areas_mm2(wearer.head)
    total = float(area[wearer.zone >= 0].sum())
    picked = []
    for index in range(len(ZONES)):
        rows = np.nonzero(wearer.zone == index)[0]
        share = SAMPLE_SIZE * float(area[rows].sum()) / total
        count = min(len(rows), max(LEAST_IN_ZONE, round(share)))
        picked.append(rows[farthest_points(wearer.head.vertices[rows], count)])
    return tuple(picked)


def farthest_points(points: FloatArray, count: int) -> IntArray:
    """Order `count` of the points, shape (n, 3), each farthest from those before."""
    if not len(points):
        return np.zeros(0, dtype=np.int64)
    order = np.zeros(count, dtype=np.int64)
    from_centre = np.linalg.norm(points - points.mean(axis=0), axis=1)
    order[:1] = np.argmax(from_centre)
    gap = np.full(len(points), np.inf)
    for k in range(1, count):
        gap = np.minimum(gap, np.linalg.norm(points - points[order[k - 1]], axis=1))
        order[k] = np.argmax(gap)
    return order


def vertex_areas_mm2(mesh: Mesh) -> FloatArray:
    """Give each vertex a third of the area of its faces, shape (n,). [mm²]."""
    shares = np.repeat(mesh.areas_mm2 / 3.0, 3)
    areas = np.bincount(mesh.faces.ravel(), shares, minlength=len(mesh.vertices))
    return areas.astype(float)
