"""Helper: heads and shells of known shape, so that answers are known in closed form."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from manifold3d import Manifold

from fitkit.fit.brief import Brief, Ease
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import BuildUp, Hinge, Piece
from fitkit.piece.openings import Opening
from fitkit.wearer.wearer import Eye, Wearer
from fitkit.wearer.zones import ZONES

#: Directions of the eyes and of the mouth on a stand-in head: right, front, up.
EYE_WAYS = {"eye_left": (-0.36, 0.92, 0.12), "eye_right": (0.36, 0.92, 0.12)}
MOUTH_WAY = (0.0, 0.9, -0.43)
NOTHING = Ease(least_mm=-20)


def ball(*semi_axes_mm, at=(0, 0, 0), segments=96) -> Mesh:
    axes = semi_axes_mm * 3 if len(semi_axes_mm) == 1 else semi_axes_mm
    raw = Manifold.sphere(1.0, segments).scale(list(axes)).translate(list(at)).to_mesh()
    points = np.asarray(raw.vert_properties, float)[:, :3]
    return Mesh(points, np.asarray(raw.tri_verts, np.int64))


def zones_by_direction(ways) -> np.ndarray:
    r, f, u = (ways / np.linalg.norm(ways, axis=1)[:, None]).T
    left = r < 0

    def both(name):
        return np.where(left, ZONES.index(f"{name}_left"), ZONES.index(f"{name}_right"))

    zone = np.where(f > 0, both("cheek"), ZONES.index("nape"))
    for mask, value in (
        ((f < -0.3) & (u > -0.4), ZONES.index("back")),
        ((np.abs(r) > 0.65) & (u > -0.35), both("ear")),
        ((np.abs(r) > 0.6) & (u > 0.05), both("temple")),
        ((f > 0.45) & (u > 0.2), ZONES.index("brow")),
        (u > 0.62, ZONES.index("crown")),
        ((np.abs(r) < 0.22) & (f > 0.6) & (u < 0.2), ZONES.index("nose")),
        ((np.abs(r) < 0.3) & (f > 0.5) & (u < -0.3), ZONES.index("mouth")),
        ((f > 0.2) & (u < -0.62), ZONES.index("chin")),
    ):
        zone = np.where(mask, value, zone)
    for name, way in EYE_WAYS.items():
        near = np.column_stack([r, f, u]) @ (way / np.linalg.norm(way)) > 0.975
        zone = np.where(near, ZONES.index(name), zone)
    return zone.astype(np.int64)


def wearer_of(
    head, *, hair_mm=0.0, centre=(0, 0, 0), spread=(), names=(), chin_pole=(0, 5, -40)
) -> Wearer:
    ways = head.vertices - np.asarray(centre, float)
    n = len(ways)
    record = SimpleNamespace(name="stand-in", glasses=None, readings={})
    completion = SimpleNamespace(
        keys=(), given=frozenset(), covariance_mm2=np.zeros((0, 0))
    )
    return Wearer(
        record=record,
        completion=completion,
        head=head,
        zone=zones_by_direction(ways / np.abs(ways).max(axis=0)),
        hair_mm=np.broadcast_to(np.asarray(hair_mm, float), (n,)).copy(),
        tape_hair_mm=0.0,
        measures_mm={},
        landmarks={"stomion": _surface_point(ways, centre, MOUTH_WAY)},
        eye_left=_eye(_surface_point(ways, centre, EYE_WAYS["eye_left"])),
        eye_right=_eye(_surface_point(ways, centre, EYE_WAYS["eye_right"])),
        chin_pole=np.asarray(chin_pole, float),
        spread=np.asarray(spread, np.float32).reshape(-1, n, 3),
        spread_names=tuple(names),
    )


def _surface_point(ways, centre, way) -> np.ndarray:
    unit = ways / np.linalg.norm(ways, axis=1)[:, None]
    best = np.argmax(unit @ (np.asarray(way) / np.linalg.norm(way)))
    return ways[best] + np.asarray(centre, float)


def _eye(cornea) -> Eye:
    return Eye(
        cornea=cornea,
        entrance_pupil=cornea - [0, 3, 0],
        rotation_centre=cornea - [0, 13, 0],
    )


def moved_wearer(wearer, rotation, shift) -> Wearer:
    """Carry a whole wearer by a rigid motion."""

    def point(p):
        return np.asarray(p) @ rotation.T + shift

    def eye(e):
        return Eye(
            cornea=point(e.cornea),
            entrance_pupil=point(e.entrance_pupil),
            rotation_centre=point(e.rotation_centre),
        )

    return replace(
        wearer,
        head=wearer.head.with_vertices(point(wearer.head.vertices)),
        landmarks={name: point(at) for name, at in wearer.landmarks.items()},
        eye_left=eye(wearer.eye_left),
        eye_right=eye(wearer.eye_right),
        chin_pole=point(wearer.chin_pole),
    )


def piece_of(wall, *, lining_mm=0.0, openings=(), hinge_mm=None) -> Piece:
    hinge = None
    if hinge_mm is not None:
        front, up = hinge_mm
        hinge = Hinge(
            left_mm=np.array([-90.0, front, up]),
            right_mm=np.array([90.0, front, up]),
            open_stop_deg=25.0,
            close_stop_deg=0.0,
        )
    return Piece(
        name="shell",
        design=SimpleNamespace(surface="inner", notes=SimpleNamespace()),
        build_up=BuildUp(),
        facing=wall,
        skin=wall,
        lining_mm=lining_mm,
        growth_mm=0.0,
        openings=tuple(openings),
        hinge=hinge,
        jaw_faces=np.zeros(len(wall.faces), bool),
        tree=SurfaceTree(wall),
        cautions=(),
    )


def round_opening(name, *, centre, radius_mm, kind="eye", normal=(0, 1, 0), squash=1.0):
    """Give a round (or squashed) opening of 48 corners about a centre, seen face on."""
    angle = np.linspace(0, 2 * np.pi, 49)
    outline = radius_mm * np.column_stack([np.cos(angle), squash * np.sin(angle)])
    return outline_opening(name, centre=centre, outline=outline, kind=kind, normal=normal)


def outline_opening(name, *, centre, outline, kind="eye", normal=(0, 1, 0)):
    normal = np.asarray(normal, float) / np.linalg.norm(normal)
    right = np.array([1.0, 0, 0]) - normal[0] * normal
    right /= np.linalg.norm(right)
    axes = np.array([right, np.cross(right, normal)])
    outline = np.asarray(outline, float)
    return Opening(
        name=name,
        kind=kind,
        rim=np.asarray(centre, float) + outline @ axes,
        plane_point=np.asarray(centre, float),
        plane_normal=normal,
        outline=outline,
        axes=axes,
        area_mm2=1.0,
        width_mm=float(np.ptp(outline[:, 0])),
        height_mm=float(np.ptp(outline[:, 1])),
    )


def opened(wall, *, below_up_mm) -> Mesh:
    """Cut everything below a height out of a wall, along its triangles."""
    return wall.submesh(wall.centroids[:, 2] > below_up_mm)


def same_everywhere(least_mm, **changes) -> Brief:
    """Ask for the same ease in every zone, and for nothing that a shell may lack."""
    ease = dict.fromkeys(ZONES, Ease(least_mm=least_mm))
    return Brief(**{"ease": ease, "hinge_tolerance_mm": None, **changes})


def only(zones, **changes) -> Brief:
    """Ask for ease in the zones named, and for next to nothing elsewhere."""
    ease = {**dict.fromkeys(ZONES, NOTHING), **zones}
    return Brief(**{"ease": ease, "hinge_tolerance_mm": None, **changes})
