"""A head scan and its landmarks, out of a mesh file and the notes beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast, get_args

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import FitkitError, MeasureError
from fitkit.geometry.files import load_parts
from fitkit.geometry.mesh import Mesh, join
from fitkit.geometry.units import MM_PER_UNIT, Unit
from fitkit.text_files import check_version, parse_json, read_text
from fitkit.wearer.measures import unknown_message

Floats = NDArray[np.float64]

#: Version of the notes read here, and the largest that are read. [bytes]
SCAN_NOTES_VERSION, LARGEST_NOTES = 1, 1_000_000
#: Keys of the notes.
_KEYS = ("fitkit_scan", "unit", "landmarks")


@dataclass(frozen=True, kw_only=True, eq=False)
class Scan:
    """A scan as read: nothing moved, cleaned or guessed."""

    #: All triangles of the file, along the file's own axes. [mm]
    mesh: Mesh
    #: Landmarks of the notes by name, shape (3,) each, in the same axes; None if the
    #: notes give none. [mm]
    landmarks_mm: Mapping[str, Floats] | None


def read_scan(path: Path | str, *, unit: Unit | None = None) -> Scan:
    """
    Read a head scan, and the landmarks noted beside it.

    Parameters
    ----------
    path : path
        STL, OBJ, PLY, GLB or 3MF; ``NAME.notes.json`` beside it is read if it is there.
    unit : {"mm", "cm", "m", "in"}, optional
        Unit of the file; goes before the notes' and the file's own.

    Returns
    -------
    Scan

    Raises
    ------
    MeshError
        If the mesh cannot be read, or its unit is not known.
    MeasureError
        If the notes cannot be used; the message names the file.

    Notes
    -----
    The notes are ``{"fitkit_scan": 1, "unit": "mm", "landmarks": {"tragion_left":
    [x, y, z], ...}}``, each point as the program that shows the scan gives it: in the
    file's own unit and axes.
    """
    path = Path(path)
    beside = path.with_name(f"{path.stem}.notes.json")
    noted_unit, landmarks = _read_notes(beside) if beside.is_file() else (None, None)
    given = unit or noted_unit
    mesh = join([part.mesh for part in load_parts(path, unit=given)])
    if landmarks is None:
        return Scan(mesh=mesh, landmarks_mm=None)
    if given is None:
        raise MeasureError(
            f'{beside.name}: say the unit of the landmarks too: "unit": "mm", say.'
        )
    scaled = {name: at * MM_PER_UNIT[given] for name, at in landmarks.items()}
    return Scan(mesh=mesh, landmarks_mm=MappingProxyType(scaled))


def _read_notes(path: Path) -> tuple[Unit | None, dict[str, Floats] | None]:
    try:
        text = read_text(path, most_bytes=LARGEST_NOTES, raises=MeasureError)
        content = parse_json(text, raises=MeasureError)
        return _checked(content)
    except FitkitError as problem:
        raise MeasureError(f"{path.name}: {problem}") from None


def _checked(content: Any) -> tuple[Unit | None, dict[str, Floats] | None]:
    check_version(
        content,
        "fitkit_scan",
        newest=SCAN_NOTES_VERSION,
        what="scan's notes",
        raises=MeasureError,
    )
    for key in content:
        if key not in _KEYS:
            raise MeasureError(unknown_message("key", str(key), dict.fromkeys(_KEYS)))
    unit, landmarks = content.get("unit"), content.get("landmarks")
    if unit is not None and unit not in get_args(Unit):
        raise MeasureError(f"unit must be mm, cm, m or in; got {str(unit)[:40]!r}.")
    if landmarks is None:
        return unit, None
    if not isinstance(landmarks, dict):
        raise MeasureError("landmarks must be names with their points, in braces.")
    points = {str(name): _point(str(name), at) for name, at in landmarks.items()}
    return cast("Unit | None", unit), points


def _point(name: str, at: Any) -> Floats:
    numbers = isinstance(at, list) and all(type(c) in (int, float) for c in at)
    point = np.asarray(at, dtype=np.float64) if numbers else np.zeros(0)
    if point.shape != (3,) or not np.isfinite(point).all():
        raise MeasureError(
            f"landmark {name[:40]} must be three finite numbers, [x, y, z]; got "
            f"{str(at)[:60]}."
        )
    return point
