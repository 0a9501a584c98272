"""Standing a scan upright: landmarks checked, scan cleaned, pose from the landmarks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.errors import MeasureError, MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.repair import mend
from fitkit.geometry.units import size_words
from fitkit.wearer.measures import CATALOGUE, unknown_message
from fitkit.wearer.scan_fit import Pose, axes, zone_mask
from fitkit.wearer.template import Template
from fitkit.wearer.zones import NECK

Floats = NDArray[np.float64]

#: Landmarks without which a scan cannot be stood upright; and one of these two.
NEEDED = ("tragion_left", "tragion_right")
FACING: tuple[tuple[str, ...], ...] = (("sellion",), ("orbitale_left", "orbitale_right"))
#: A landmark farther than this from the scan's surface is not on it. [mm]
OFF_SURFACE_MM = 10.0
#: What lies farther than this from the tragia's midpoint is no head. [mm]
HEAD_REACH_MM = 260.0
#: Longest side below which a scan is no head, whatever it shows of it. [mm]
LEAST_SCAN_MM = 90.0
#: Share of a loose bit's area, against the head's, from which it is worth a word.
WORTH_A_WORD = 0.02
#: The head is upside down if it faces the scan this much better the other way up.
_CLEARLY = 0.02


def checked_landmarks(
    landmarks_mm: Mapping[str, ArrayLike], template: Template
) -> dict[str, Floats]:
    """
    Check landmarks by themselves: names, numbers, sides, unit, and none missing.

    Raises
    ------
    MeasureError
        Saying what is wrong and how to mend it.
    """
    for name in landmarks_mm:
        if name not in template.landmarks:
            raise MeasureError(unknown_message("landmark", str(name), template.landmarks))
    given = {name: np.asarray(at, dtype=np.float64) for name, at in landmarks_mm.items()}
    for name, at in given.items():
        if at.shape != (3,) or not np.isfinite(at).all():
            msg = f"Landmark {name} must be three finite numbers, in mm; got {at.tolist()}."
            raise MeasureError(msg)
    missing = [name for name in NEEDED if name not in given]
    if not missing and not any(set(names) <= set(given) for names in FACING):
        missing = ["sellion, or both orbitale_left and orbitale_right"]
    if missing:
        raise MeasureError(f"A scan needs the landmark {' and '.join(missing)} too.")
    _check_breadth(given)
    _check_sides(given)
    return given


def _check_breadth(given: Mapping[str, Floats]) -> None:
    entry = CATALOGUE["bitragion_breadth_mm"]
    apart = float(np.linalg.norm(given["tragion_right"] - given["tragion_left"]))
    if entry.low <= apart <= entry.high:
        return
    units = (("centimetres", 10.0), ("inches", 25.4), ("metres", 1000.0))
    fits = [(unit, mm) for unit, mm in units if entry.low <= apart * mm <= entry.high]
    cure = "Place them again, each in the notch above the flap in front of the ear canal."
    if fits:
        unit, mm = min(fits, key=lambda pair: abs(apart * pair[1] - 140.0))
        cure = f"That reads like {unit}: multiply the scan and its landmarks by {mm:g}."
    raise MeasureError(
        f"The tragia must lie {entry.low:g} to {entry.high:g} mm apart; they lie "
        f"{apart:.4g} mm apart. {cure}"
    )


def _check_sides(given: Mapping[str, Floats]) -> None:
    """Find a pair of landmarks whose sides are not those of the tragia."""
    across = given["tragion_right"] - given["tragion_left"]
    for right in given:
        left = right.removesuffix("_right") + "_left"
        paired = right.endswith("_right") and left in given
        if paired and (given[right] - given[left]) @ across < 0:
            raise MeasureError(
                f"{left} lies to the right of {right} as the tragia lie: swap the two "
                "names. Left and right are the wearer's own."
            )


def on_surface(
    scan: Mesh, given: Mapping[str, Floats], template: Template
) -> dict[str, Floats]:
    """Move landmarks of the skin onto the scan; refuse those far from it."""
    near = SurfaceTree(scan).nearest(np.array(list(given.values())))
    placed = {}
    for i, (name, at) in enumerate(given.items()):
        if near.distance_mm[i] > OFF_SURFACE_MM:
            raise MeasureError(
                f"Landmark {name} must lie within {OFF_SURFACE_MM:g} mm of the scan's "
                f"surface; it lies {near.distance_mm[i]:.0f} mm away. Is it from another "
                "scan, another pose, or in another unit?"
            )
        off_skin = template.landmarks[name] >= template.n_vertices
        placed[name] = at if off_skin else near.point[i]
    return placed


def check_size(mesh: Mesh) -> None:
    """Refuse a scan whose numbers cannot be millimetres."""
    longest = float(mesh.size_mm.max())
    if longest < LEAST_SCAN_MM:
        raise MeshError(
            f"The scan's longest side is {longest:.4g} mm, less than any head. The number "
            f"is {size_words(longest)}. Scale the scan to mm, and its landmarks with it."
        )


def cleaned(mesh: Mesh, given: Mapping[str, Floats]) -> tuple[Mesh, tuple[str, ...]]:
    """Keep the part of the scan that is the head: welded, near the tragia, in one piece."""
    check_size(mesh)
    middle = (given["tragion_left"] + given["tragion_right"]) / 2
    near = np.linalg.norm(mesh.centroids - middle, axis=1) < HEAD_REACH_MM
    if not near.any():
        raise MeasureError(
            f"Nothing of the scan lies within {HEAD_REACH_MM:g} mm of the tragia given. "
            "Are landmarks and scan in the same frame and unit?"
        )
    whole, _ = mend(mesh.submesh(near))
    parts = sorted(whole.parts(), key=lambda part: part.area_mm2, reverse=True)
    rest = sum(part.area_mm2 for part in parts[1:]) / parts[0].area_mm2
    said: tuple[str, ...] = ()
    if rest > WORTH_A_WORD:
        said = (
            f"{len(parts) - 1} loose bits of the scan were left out, {rest:.0%} of the "
            "area of the piece kept. Join them first if they belong to the head.",
        )
    return parts[0], said


def upright(template: Template, scan: Mesh, placed: Mapping[str, Floats]) -> Pose:
    """
    Find the pose from landmarks; refuse one in which the head stands on its crown.

    Left and right exchanged turn the head over, about the way it faces. Lying as near
    to the scan either way, it then still faces the scan worse.
    """
    left, right = placed["tragion_left"], placed["tragion_right"]
    pose = _pose(template, placed)
    turned = _pose(template, {**placed, "tragion_left": right, "tragion_right": left})
    if _facing(template, scan, turned) > _facing(template, scan, pose) + _CLEARLY:
        raise MeasureError(
            "Left and right landmarks are swapped: with them as given, the head stands on "
            "its crown. Exchange every _left with its _right; they are the wearer's own."
        )
    return pose


def _facing(template: Template, scan: Mesh, pose: Pose) -> float:
    """Mean cosine between the template's skin and the scan's, however it is wound."""
    n = template.n_vertices
    head = Mesh(pose.to_scan(template.mean_mm[:n]), template.faces)
    skin = (template.zone != NECK) & ~zone_mask(template, "ear")
    near = SurfaceTree(scan).nearest(head.vertices[skin])
    normal = scan.normals[near.face]
    alike = np.einsum("ij,ij->i", head.vertex_normals[skin], normal)
    return abs(float(alike.mean()))


def _pose(template: Template, placed: Mapping[str, Floats]) -> Pose:
    """Head frame from landmarks: Frankfort plane by the orbitalia, else by the sellion."""
    left, right = placed["tragion_left"], placed["tragion_right"]
    origin = (left + right) / 2
    names = next(n for n in reversed(FACING) if set(n) <= set(placed))
    ahead = np.mean([placed[name] for name in names], axis=0) - origin
    usual = np.mean([template.mean_mm[template.landmarks[n]] for n in names], axis=0)
    rise = np.arctan2(usual[2], usual[1])
    right_front_up = axes(right - left, ahead)
    level = np.array(
        [[1, 0, 0], [0, np.cos(rise), np.sin(rise)], [0, -np.sin(rise), np.cos(rise)]]
    )
    return Pose(turn=right_front_up @ level, shift_mm=origin)


def outward(template: Template, scan: Mesh, pose: Pose) -> Mesh:
    """Wind the scan's faces outward, as the template's are."""
    n = template.n_vertices
    head = Mesh(pose.to_scan(template.mean_mm[:n]), template.faces)
    near = SurfaceTree(scan).nearest(head.vertices)
    alike = np.einsum("ij,ij->i", head.vertex_normals, scan.normals[near.face])
    return scan if np.median(alike) > 0 else scan.flipped()
