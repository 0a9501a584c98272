"""From a head scan to a wearer: cleaned, stood upright, the template laid on it, read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import pi
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.errors import MeasureError, MeshError
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import (
    as_by_hand,
    head_model,
    place_chin_pole,
    place_eye,
    place_landmarks,
)
from fitkit.wearer.hair import USUAL_TAPE_HAIR_MM, shell_hair_mm, tape_hair
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.reading import MESH_KEYS, Ruler
from fitkit.wearer.record import Reading, Record, make_record
from fitkit.wearer.scan_fit import (
    LANDMARK_REACH_MM,
    FittedHead,
    lay_on,
    neighbour_mean,
    share_shown,
    zone_mask,
)
from fitkit.wearer.scan_landmarks import propose_landmarks
from fitkit.wearer.scan_pose import (
    FACING,
    NEEDED,
    checked_landmarks,
    cleaned,
    on_surface,
    outward,
    upright,
)
from fitkit.wearer.survey import Completion, complete, usual_mm
from fitkit.wearer.template import Template
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import NECK

Floats = NDArray[np.float64]

#: Least share of scalp and face that the scan must show.
LEAST_SHOWN = 0.5
#: How far a scan's skin may lie from the truth, one standard deviation. [mm] Common
#: practice; a mean error of 1 to 2 mm is allowed between scan and hand (ISO 20685).
SCAN_SD_MM = 0.4
#: Ways in which skin that the scan does not show may differ, at most.
UNSEEN_WAYS = 16
#: A reading of the record this many times its error away from the scan's is told.
TOLD_SD = 3.0
#: Measures of what scans often lack; those known from elsewhere lead the fit there.
OFTEN_UNSEEN = (
    "interpupillary_mm",
    "ear_breadth_mm",
    "ear_length_mm",
    "ear_protrusion_mm",
    "neck_circumference_mm",
    "neck_base_circumference_mm",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class ScannedHead:
    """A scan with the template laid on it, and what was left out of the scan."""

    #: The template on the scan.
    fitted: FittedHead
    #: Bare-head measures that the scan shows, as read off the fitted head. [mm]
    readings_mm: Mapping[str, float]
    #: Share of scalp and face that the scan shows.
    shown: float
    #: What a user should know of this scan; empty means nothing.
    cautions: tuple[str, ...]


def wearer_from_scan(
    mesh: Mesh,
    landmarks_mm: Mapping[str, ArrayLike] | None = None,
    *,
    record: Record | None = None,
) -> Wearer:
    """
    Make the wearer whose bare head, or head under a close cap, was scanned.

    Parameters
    ----------
    mesh : Mesh
        The scan, in mm, in any pose; holes, loose bits, shoulders and missing ears are
        allowed.
    landmarks_mm : mapping of str to array-like, shape (3,), optional
        Landmarks on the scan, in its own frame: ``tragion_left``, ``tragion_right``
        and ``sellion`` or both ``orbitale_left`` and ``orbitale_right`` at least; any
        other landmark of the template too, ``cornea_left`` and ``cornea_right`` to
        place the eyes. Left and right are the wearer's. Left out, they are proposed as
        by `propose_landmarks`, and the wearer's cautions say so. [mm]
    record : Record, optional
        What is known beside the scan: hair, glasses, jaw, and measures that the scan
        does not show. Without it, no hair is added.

    Returns
    -------
    Wearer
        The same as from a record. Its record holds the scan's readings beside those
        given; its spread is small where the scan shows skin, wide where it does not.

    Raises
    ------
    MeasureError
        If landmarks are missing, unknown, swapped or off the surface.
    MeshError
        If the scan is not in mm, or shows less than half of scalp and face.

    Notes
    -----
    The scan is neither scaled nor mirrored. The head frame is that of the fitted head:
    with both orbitalia given, the Frankfort plane runs through them as placed.
    """
    return wearer_on(head_on_scan(mesh, landmarks_mm, record=record), record=record)


def wearer_on(scanned: ScannedHead, *, record: Record | None = None) -> Wearer:
    """
    Make the wearer of a head already laid on its scan.

    Parameters
    ----------
    scanned : ScannedHead
        From `head_on_scan`.
    record : Record, optional
        The same as was given there.

    Returns
    -------
    Wearer
    """
    template, ruler = head_model()
    points = _spaced_eyes(scanned.fitted.points, template, record)
    known = record or make_record(name="scan", hair_mm=0.0, tape_hair_mm=0.0)
    hair = tape_hair(known)
    whole, told = _joined(known, scanned.readings_mm, hair.mean_mm)
    bare = ruler.values(points)
    n = template.n_vertices
    head = Mesh(points[:n], template.faces)
    spread = np.concatenate(
        [_skin_noise(head), _unseen_ways(template, scanned.fitted)]
    ).astype(np.float32)
    return Wearer(
        record=whole,
        completion=_completed(whole, bare, scanned.readings_mm),
        head=head,
        zone=template.zone,
        hair_mm=shell_hair_mm(whole, template.zone_blend, hair),
        tape_hair_mm=hair.mean_mm,
        measures_mm=MappingProxyType(as_by_hand(bare, hair.mean_mm)),
        landmarks=MappingProxyType(place_landmarks(template, ruler, points)),
        eye_left=place_eye(points[template.landmarks["cornea_left"]]),
        eye_right=place_eye(points[template.landmarks["cornea_right"]]),
        chin_pole=place_chin_pole(template, points),
        spread=spread,
        spread_names=("shape",) * len(spread),
        cautions=scanned.cautions + told,
    )


def head_on_scan(
    mesh: Mesh,
    landmarks_mm: Mapping[str, ArrayLike] | None = None,
    *,
    record: Record | None = None,
) -> ScannedHead:
    """
    Clean a scan, stand it upright and lay the template on it.

    Parameters, errors and notes are those of `wearer_from_scan`.
    """
    template, ruler = head_model()
    proposed = None if landmarks_mm is not None else propose_landmarks(mesh)
    marks = landmarks_mm if proposed is None else proposed.landmarks_mm
    given = checked_landmarks(marks or {}, template)
    scan, said = cleaned(mesh, given)
    placed = on_surface(scan, given, template)
    pose = upright(template, scan, placed)
    fitted = lay_on(
        template,
        ruler,
        outward(template, scan, pose),
        pose=pose,
        landmarks_mm=placed,
        expected_mm=_expected(record),
    )
    _check_strayed(fitted)
    shown = share_shown(template, fitted)
    if shown < LEAST_SHOWN:
        raise MeshError(
            f"The scan shows {shown:.0%} of scalp and face; it must show at least "
            f"{LEAST_SHOWN:.0%}. Scan again with the head covered all round, or check "
            "that the landmarks are those named."
        )
    readings = _readings(template, ruler, fitted, frozenset(placed))
    return ScannedHead(
        fitted=fitted,
        readings_mm=MappingProxyType(readings),
        shown=shown,
        cautions=(
            *(proposed.cautions if proposed else ()),
            *said,
            *_cautions(template, fitted, placed, shown, record),
        ),
    )


def _check_strayed(fitted: FittedHead) -> None:
    """Refuse a fit that the landmarks it stands on do not bear out."""
    for name in fitted.strayed:
        if name in NEEDED or name in {name for names in FACING for name in names}:
            raise MeasureError(
                f"Landmark {name} lies more than {LANDMARK_REACH_MM:g} mm from where the "
                "head fitted to the scan has it. Is it the landmark named, on this scan?"
            )


# -- what the scan says ---------------------------------------------------------------


def _expected(record: Record | None) -> dict[str, tuple[float, float]]:
    """Measures of what scans often lack: as recorded, or else as the survey has them."""
    expected = {}
    for key in OFTEN_UNSEEN:
        read = record.readings.get(key) if record else None
        sex = (record.sex if record else None) or "pooled"
        expected[key] = (
            (read.mean_mm, CATALOGUE[key].repeat_sd) if read else usual_mm(key, sex=sex)
        )
    return expected


def _readings(
    template: Template, ruler: Ruler, fitted: FittedHead, placed: frozenset[str]
) -> dict[str, float]:
    """Bare-head measures taken on skin that the scan shows. [mm]."""
    shown = np.zeros(len(fitted.points), dtype=bool)
    shown[: len(fitted.seen)] = fitted.seen
    shown[[template.landmarks[name] for name in placed]] = True
    readings = {}
    for key in MESH_KEYS:
        read = ruler.read(fitted.points, key)
        lean = np.linalg.norm(read.slope, axis=1)
        if lean[shown[read.points]].sum() > 0.9 * lean.sum():
            readings[key] = read.value_mm
    return readings


def _joined(
    record: Record, readings_mm: Mapping[str, float], tape_hair_mm: float
) -> tuple[Record, tuple[str, ...]]:
    """Give the record the scan's readings beside its own; say where the two disagree."""
    by_hand = as_by_hand(readings_mm, tape_hair_mm)
    added = {key: Reading(values_mm=(round(mm, 2),)) for key, mm in by_hand.items()}
    told = []
    for key in sorted(set(by_hand) & set(record.readings)):
        hand, error = record.readings[key].mean_mm, CATALOGUE[key].repeat_sd
        if abs(hand - by_hand[key]) > TOLD_SD * error:
            told.append(
                f"{CATALOGUE[key].title}: {hand:.1f} mm in the record, {by_hand[key]:.1f} "
                "mm on the scan. The head follows the scan; take the reading again."
            )
    return replace(record, readings={**added, **record.readings}), tuple(told)


def _completed(
    record: Record, bare_mm: Mapping[str, float], readings_mm: Mapping[str, float]
) -> Completion:
    """What the survey makes of the scan's readings; its tape ran over usual hair."""
    key = "head_circumference_mm"
    if key in readings_mm:
        surveyed = bare_mm[key] + 2 * pi * USUAL_TAPE_HAIR_MM[record.sex]
        even = {**record.readings, key: Reading(values_mm=(surveyed,))}
        return complete(replace(record, readings=even))
    return complete(record)


def _spaced_eyes(points: Floats, template: Template, record: Record | None) -> Floats:
    """Points with the corneas as far apart as the record says, if it does."""
    if record is None or "interpupillary_mm" not in record.readings:
        return points
    points = points.copy()
    eyes = [template.landmarks["cornea_left"], template.landmarks["cornea_right"]]
    middle = points[eyes].mean(axis=0)
    way = points[eyes[1]] - points[eyes[0]]
    half = record.readings["interpupillary_mm"].mean_mm / 2 * way / np.linalg.norm(way)
    points[eyes] = middle + np.outer([-1, 1], half)
    return points


# -- doubt ----------------------------------------------------------------------------


def _skin_noise(head: Mesh) -> Floats:
    """Ways in which a scan errs as a whole: out, and tilted out, shape (4, n, 3). [mm]."""
    away = (head.vertices - head.vertices.mean(axis=0)) / 100.0
    shapes = np.column_stack([np.ones(len(away)), away])
    shapes *= SCAN_SD_MM / np.sqrt((shapes**2).sum(axis=1).mean())
    return np.asarray(shapes.T[:, :, None] * head.vertex_normals)


def _unseen_ways(template: Template, fitted: FittedHead) -> Floats:
    """Ways in which skin that the scan does not show may differ, shape (k, n, 3). [mm]."""
    n = template.n_vertices
    blend = (~fitted.seen).astype(np.float64)
    ring = neighbour_mean(template.faces, n)
    for _ in range(3):
        blend = ring @ blend
    root = np.linalg.cholesky(fitted.covariance)
    ways = np.einsum("ijk,kl->lij", template.modes_mm[:n] * blend[:, None, None], root)
    flat = ways.reshape(len(root), -1)
    value, vector = np.linalg.eigh(flat @ flat.T)
    top = np.argsort(value)[::-1][:UNSEEN_WAYS]
    return np.asarray((vector[:, top].T @ flat).reshape(len(top), n, 3))


def _cautions(
    template: Template,
    fitted: FittedHead,
    placed: Mapping[str, Floats],
    shown: float,
    record: Record | None,
) -> tuple[str, ...]:
    said = []
    if shown < 0.95:
        said.append(
            f"The scan shows {shown:.0%} of scalp and face; the rest is the likeliest "
            "head's, with the spread shown."
        )
    if not fitted.seen[zone_mask(template, "ear")].any():
        said.append("The scan shows no ears; likely ones were set in.")
    if fitted.seen[template.zone == NECK].mean() < LEAST_SHOWN:
        said.append("The scan shows little of the neck; a likely one was set on.")
    if not {"cornea_left", "cornea_right"} <= set(placed) and not (
        record and "interpupillary_mm" in record.readings
    ):
        said.append(
            "Eyes were placed by the lids around them: give cornea_left and cornea_right, "
            "or record interpupillary_mm."
        )
    for name in fitted.strayed:
        said.append(
            f"Landmark {name} lies more than {LANDMARK_REACH_MM:g} mm from where the "
            "fitted head has it and was not followed. Is it the landmark named?"
        )
    return tuple(said)
