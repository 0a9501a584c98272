"""Zones of the template head, by place on the mean head."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from fitkit.wearer.zones import NECK, ZONES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Smoothing passes that blend hair over the border between zones.
BLEND_PASSES = 4


def zones_by_place(
    points: Floats, at: dict[str, int], ear: NDArray[np.bool_], n: int
) -> Ints:
    """
    Zone index of each of the first ``n`` points, shape (n,).

    Later rules overrule earlier ones; every bound hangs on a landmark of the
    mean head, so the picture is the same for any mean.
    """
    right, front, up = points[:n].T
    wide = np.abs(right)
    nose_root, nose_base = points[at["sellion"]], points[at["subnasale"]]
    chin, jaw = points[at["menton"]], points[at["gonion_right"]]
    under = points[at["submandibular"]]
    glabella, lip = points[at["glabella"]], points[at["stomion_lower"]]
    eye = points[at["cornea_right"]]
    outer = points[at["ectocanthus_right"]]
    # Height of the lower edge of the head: along the jaw, then rising to the nape.
    edge = np.interp(
        front,
        [-90.0, -40.0, jaw[1], under[1], chin[1]],
        [-52.0, -58.0, jaw[2] - 8, under[2] - 4, chin[2] - 6],
    )
    zone = np.full(n, ZONES.index("crown"))

    def put(name: str, where: NDArray[np.bool_]) -> None:
        zone[where] = ZONES.index(name)

    put("back", (front < -35) & (up < 88))
    put("nape", (front < -15) & (up < -8))
    for side, sign in (("left", -1), ("right", 1)):
        here = right * sign > 0
        put(f"temple_{side}", here & (front > -35) & (front < outer[1] - 8)
            & (up < 88) & (up > -8))  # fmt: skip
        put(f"cheek_{side}", here & (front > -15) & (up < eye[2] - 12))
        put(f"cheek_{side}", here & (front > outer[1] - 40) & (up < eye[2] - 2)
            & (front > 20))  # fmt: skip
    put("brow", (front > outer[1] - 8) & (up > eye[2] - 2) & (up < glabella[2] + 45))
    put("brow", (front > outer[1] - 25) & (up > eye[2] + 8) & (up < glabella[2] + 45)
        & (wide < 62))  # fmt: skip
    put("nose", (front > nose_root[1] - 14) & (up < nose_root[2] + 6)
        & (up > nose_base[2] - 2)
        & (wide < np.interp(up, [nose_base[2], nose_root[2]], [21, 9])))  # fmt: skip
    put("mouth", (wide < 32) & (front > lip[1] - 26) & (up < nose_base[2] - 2)
        & (up > lip[2] - 16))  # fmt: skip
    put("chin", (wide < 34) & (up < lip[2] - 16) & (front > under[1] - 6))
    for side, sign in (("left", -1), ("right", 1)):
        away = np.hypot((right - sign * eye[0]) / 1.45, up - eye[2] + 1)
        put(f"eye_{side}", (away < 12) & (front > eye[1] - 35) & (right * sign > 10))
    zone[up < edge] = NECK
    for side, sign in (("left", -1), ("right", 1)):
        put(f"ear_{side}", ear & (right * sign > 0))
    return zone


def blend_zones(zone: Ints, faces: Ints) -> Floats:
    """Zone membership smoothed over the mesh, shape (n, zones); rows sum to 1 or less."""
    n = len(zone)
    i, j = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).T
    link = sp.coo_matrix((np.ones(len(i)), (i, j)), shape=(n, n)).tocsr()
    link = ((link + link.T) > 0).astype(float) + sp.identity(n)
    mean = sp.diags(1 / np.asarray(link.sum(1)).ravel()) @ link
    blend = (zone[:, None] == np.arange(len(ZONES))).astype(float)
    for _ in range(BLEND_PASSES):
        blend = mean @ blend
    return np.asarray(blend)
