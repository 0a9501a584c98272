"""How near a head made from measures alone comes to the scan they were read off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.errors import MeasureError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record import Reading, Record
from fitkit.wearer.scan import head_on_scan
from fitkit.wearer.scan_fit import Pose, zone_mask
from fitkit.wearer.template import load_template
from fitkit.wearer.zones import NECK, ZONES

Floats = NDArray[np.float64]

#: Rigid steps that lay one head on another. Steps this short end them. [mm, rad/100]
_STEPS, _SHORT = 30, 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class RoundTrip:
    """A scan, measured, and the head that its measures make, held against the scan."""

    #: Measures that the head was made from.
    keys: tuple[str, ...]
    #: Mean distance from that head's skin to the scan, and the distance that 95 % of its
    #: area keeps, both heads standing on their tragia. Ears, eyes, neck and what the scan
    #: does not show are left out. [mm]
    mean_mm: float
    p95_mm: float
    #: The same once the head is laid on the scan as well as a rigid motion can: what is
    #: left is shape alone. [mm]
    laid_mean_mm: float
    laid_p95_mm: float
    #: Mean distance by zone, standing on the tragia, positive or not. [mm]
    by_zone_mm: Mapping[str, float]


def scan_round_trip(
    mesh: Mesh,
    landmarks_mm: Mapping[str, ArrayLike] | None = None,
    *,
    keys: Iterable[str] | None = None,
) -> RoundTrip:
    """
    Measure a scan, make a head of the measures alone, and hold it against the scan.

    Parameters
    ----------
    mesh, landmarks_mm
        As for `wearer_from_scan`; the scanned head is taken as bare.
    keys : iterable of str, optional
        Measures to make the head from; all that the scan shows if left out.

    Returns
    -------
    RoundTrip

    Raises
    ------
    MeasureError
        If the scan does not show a measure asked for, or as for `wearer_from_scan`.
    MeshError
        As for `wearer_from_scan`.
    """
    scanned = head_on_scan(mesh, landmarks_mm)
    shown = scanned.readings_mm
    chosen = tuple(shown) if keys is None else tuple(keys)
    for key in chosen:
        if key not in shown:
            raise MeasureError(
                f"{key} cannot be read off this scan; it shows {', '.join(sorted(shown))}."
            )
    head = wearer_from_record(_bare_record({key: shown[key] for key in chosen})).head
    scan = mesh.with_vertices(scanned.fitted.pose.to_head(mesh.vertices))
    zone = load_template().zone
    skin = (zone != NECK) & ~zone_mask(load_template(), "ear", "eye")
    compared = skin & scanned.fitted.seen
    area = np.bincount(head.faces.ravel(), np.repeat(head.areas_mm2 / 3, 3))[compared]
    tree, points = SurfaceTree(scan), head.vertices[compared]
    standing = tree.nearest(points).distance_mm
    laid = tree.nearest(_laid_on(tree, scan, points)).distance_mm
    return RoundTrip(
        keys=chosen,
        mean_mm=float(np.average(standing, weights=area)),
        p95_mm=_quantile(standing, area, 0.95),
        laid_mean_mm=float(np.average(laid, weights=area)),
        laid_p95_mm=_quantile(laid, area, 0.95),
        by_zone_mm=MappingProxyType(_by_zone(standing, area, zone[compared])),
    )


def _bare_record(measures_mm: Mapping[str, float]) -> Record:
    """Make a bald wearer's record; an odd head is not refused here."""
    return Record(
        name="scan",
        sex=None,
        readings={key: Reading(values_mm=(mm,)) for key, mm in measures_mm.items()},
        hair_mm=dict.fromkeys(ZONES, 0.0),
        tape_hair_mm=0.0,
        glasses=None,
        notes="",
    )


def _laid_on(tree: SurfaceTree, scan: Mesh, points: Floats) -> Floats:
    """Points moved rigidly to lie on a scan with least squared distance along it."""
    pose = Pose(turn=np.eye(3), shift_mm=np.zeros(3))
    for _ in range(_STEPS):
        moved = pose.to_scan(points)
        near = tree.nearest(moved)
        normal = scan.normals[near.face]
        gap = np.einsum("ij,ij->i", near.point - moved, normal)
        rows = np.c_[np.cross(points, normal @ pose.turn) / 100, normal]
        step = np.linalg.lstsq(rows, gap, rcond=None)[0]
        pose = pose.moved(step[:3] / 100, step[3:])
        if np.abs(step).max() < _SHORT:
            break
    return pose.to_scan(points)


def _quantile(values: Floats, weight: Floats, share: float) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    return float(values[order][np.searchsorted(reached, share)])


def _by_zone(off: Floats, area: Floats, zone: NDArray[np.int64]) -> dict[str, float]:
    return {
        ZONES[k]: float(np.average(off[zone == k], weights=area[zone == k]))
        for k in np.unique(zone).tolist()
    }
