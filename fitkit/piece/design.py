"""A design: a mesh and its notes, brought into millimetres along right, front, up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from fitkit.errors import DesignError
from fitkit.geometry.files import GLB_MM, load_parts
from fitkit.geometry.mesh import FloatArray, Mesh, join
from fitkit.geometry.repair import diagnose, mend
from fitkit.geometry.units import MM_PER_UNIT, Unit, size_words
from fitkit.piece.notes import (
    Notes,
    Surface,
    misspelt_keys,
    nearest_name,
    parse_notes,
    read_notes,
)

#: Largest extent that a headpiece can have; outside it, the unit is wrong. [mm]
LEAST_EXTENT_MM, MOST_EXTENT_MM = 120.0, 4000.0
#: Axes of the file when nobody has said: its z is up and its y is the front.
_HOUSE_FRONT, _HOUSE_UP = "y", "z"


@dataclass(frozen=True, kw_only=True, eq=False)
class Design:
    """A piece as drawn, in millimetres along right, front, up."""

    name: str
    #: Meshes by part name, in the head frame of the head it was drawn for. [mm]
    parts: Mapping[str, Mesh]
    #: What the parts are: outer skins, inner skins, or solids with their wall.
    surface: Surface
    notes: Notes
    #: What was assumed and what was found wrong, in words; empty if nothing.
    words: tuple[str, ...]
    #: What was mended, in words; empty if nothing.
    mended: tuple[str, ...]
    #: The mesh file.
    path: Path

    @property
    def whole(self) -> Mesh:
        """All parts side by side in one mesh."""
        return join(list(self.parts.values()))


def read_design(
    path: Path | str,
    *,
    notes: Notes | Mapping[str, Any] | Path | str | None = None,
    unit: Unit | None = None,
) -> Design:
    """
    Read a design mesh and its notes.

    Parameters
    ----------
    path : path
        STL, OBJ, PLY, GLB or 3MF.
    notes : Notes, mapping or path, optional
        What the mesh does not say. Without it, ``NAME.notes.json`` beside ``NAME.stl``
        is read if it is there.
    unit : {"mm", "cm", "m", "in"}, optional
        Unit of the file; needed where neither the notes nor the format say it.

    Returns
    -------
    Design
        With `words` for everything that was assumed and `mended` for every repair.

    Raises
    ------
    DesignError
        If notes are wrong, the size is no headpiece's, or a part is missing.
    MeshError
        If a mesh file cannot be read.
    """
    path = Path(path)
    told, words = _notes_for(path, notes)
    unit = _unit(told, unit, words)
    raw = _load(path, told, unit=unit)
    words += misspelt_keys(told)
    turned = _placement(told, path, words)
    _must_be_head_sized(raw, path, unit)
    parts, mended = _mended_parts(raw, words)
    placed = {name: mesh.moved(turned) for name, mesh in parts.items()}
    _must_name(told.jaw_part, placed, path.name)
    if (told.hinge is None) != (told.jaw_part is None):
        lacking = "jaw_part" if told.jaw_part is None else "hinge"
        words.append(f"A jaw needs hinge and jaw_part; {lacking} is missing in the notes.")
    return Design(
        name=told.name or path.stem,
        parts=MappingProxyType(placed),
        surface=_surface(told, placed, path.name, words),
        notes=told,
        words=tuple(words),
        mended=mended,
        path=path,
    )


def notes_path(path: Path | str) -> Path:
    """
    Say where the notes of a mesh file are looked for.

    Examples
    --------
    >>> notes_path("pieces/otter.stl").as_posix()
    'pieces/otter.notes.json'
    """
    path = Path(path)
    return path.with_name(path.stem + ".notes.json")


def axes_matrix(*, front: str, up: str) -> FloatArray:
    """
    Give the turn from the file's axes to right, front, up.

    Parameters
    ----------
    front, up : str
        Axis of the file, ``"x"`` to ``"z"``, with a sign if it runs the other way.

    Returns
    -------
    ndarray, shape (3, 3)
        Rows are the house axes in the file's axes; never a mirror image.

    Examples
    --------
    >>> axes_matrix(front="-y", up="z").tolist()
    [[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    ahead, above = _axis(front), _axis(up)
    return np.stack([np.cross(ahead, above), ahead, above]) + 0.0


def _axis(name: str) -> FloatArray:
    axis = np.zeros(3)
    axis["xyz".index(name[-1])] = -1.0 if name[0] == "-" else 1.0
    return axis


def _notes_for(
    path: Path, notes: Notes | Mapping[str, Any] | Path | str | None
) -> tuple[Notes, list[str]]:
    if isinstance(notes, Notes):
        return notes, []
    if isinstance(notes, Mapping):
        return parse_notes(notes, source="notes"), []
    if notes is not None:
        return read_notes(notes), []
    beside = notes_path(path)
    if beside.is_file():
        return read_notes(beside), []
    return Notes(), [f"There are no notes beside {path.name} ({beside.name})."]


def _unit(told: Notes, unit: Unit | None, words: list[str]) -> Unit | None:
    if unit is not None and unit not in MM_PER_UNIT:
        msg = f"unit must be one of {', '.join(MM_PER_UNIT)}; got {unit!r}."
        raise DesignError(msg)
    if unit and told.unit and unit != told.unit:
        words.append(f"The notes say {told.unit}; read in {unit}, as asked for.")
    return unit or told.unit


def _load(path: Path, told: Notes, *, unit: Unit | None) -> dict[str, Mesh]:
    parts = {part.name: part.mesh for part in load_parts(path, unit=unit)}
    for name, file in told.part_files.items():
        if name in parts:
            msg = f"part_files: the part '{name}' is already in {path.name}."
            raise DesignError(msg)
        found = load_parts(_beside(path, file), unit=unit)
        parts[name] = join([part.mesh for part in found])
    return parts


def _beside(path: Path, file: str) -> Path:
    """Give the path of a part file, which may not leave the folder of the design."""
    folder = path.parent.resolve()
    target = (folder / file).resolve()
    if not target.is_relative_to(folder) or Path(file).is_absolute():
        msg = (
            f"part_files: '{file}' must be a file in the folder of {path.name}; it leads "
            "out of it. Copy the file there and give its name alone."
        )
        raise DesignError(msg)
    return target


def _placement(told: Notes, path: Path, words: list[str]) -> FloatArray:
    """Give the 4 x 4 turn and shift from the file's axes to the head frame."""
    if told.front is None or told.up is None:
        words.append(
            f"Nobody has said which way {path.name} faces: its {_HOUSE_FRONT} axis was "
            f"taken for the front, {_HOUSE_UP} for up. If that is wrong, give front and "
            "up in the notes"
            + (" (files of this kind often have up y, front z)." if _is_gltf(path) else ".")
        )
    if "origin_mm" not in told.model_fields_set:
        words.append(
            "Nobody has said where the head sits (origin_mm): the file's own origin was "
            "taken for the midpoint of the tragia."
        )
    matrix = np.eye(4)
    matrix[:3, :3] = axes_matrix(front=told.front or _HOUSE_FRONT, up=told.up or _HOUSE_UP)
    matrix[:3, 3] = -np.array(told.origin_mm)
    return matrix


def _is_gltf(path: Path) -> bool:
    return path.suffix.lower() == ".glb"


def _must_be_head_sized(parts: Mapping[str, Mesh], path: Path, unit: Unit | None) -> None:
    extent = float(join(list(parts.values())).size_mm.max())
    if LEAST_EXTENT_MM <= extent <= MOST_EXTENT_MM:
        return
    drawn = extent / (MM_PER_UNIT[unit] if unit else GLB_MM if _is_gltf(path) else 1.0)
    msg = (
        f"{path.name}: a headpiece must be {LEAST_EXTENT_MM:g} to {MOST_EXTENT_MM:g} mm "
        f"at its longest; got {extent:.4g} mm. Is the unit right? "
        f"Its {drawn:.4g} would be {size_words(drawn)}."
    )
    raise DesignError(msg)


def _mended_parts(
    raw: Mapping[str, Mesh], words: list[str]
) -> tuple[dict[str, Mesh], tuple[str, ...]]:
    """Mend what is safe, and say of each part what was done and what is left."""
    parts: dict[str, Mesh] = {}
    mended: list[str] = []
    for name, mesh in raw.items():
        parts[name], done = mend(mesh)
        mended += [f"{name}: {word}" for word in done]
        words += [f"{name}: {word}" for word in diagnose(parts[name]).words]
    return parts, tuple(mended)


def _must_name(jaw: str | None, parts: Mapping[str, Mesh], source: str) -> None:
    if jaw is not None and jaw not in parts:
        msg = (
            f"{source}: jaw_part must name a part of the mesh; got '{jaw}'. "
            f"{nearest_name(jaw, parts)}"
        )
        raise DesignError(msg)


def _surface(
    told: Notes, parts: Mapping[str, Mesh], source: str, words: list[str]
) -> Surface:
    opened = [name for name, mesh in parts.items() if not mesh.is_closed]
    if told.surface == "solid" and opened:
        words.append(
            f"'{opened[0]}' is noted as a solid but is not closed: thickness and volume "
            "near its holes cannot be trusted."
        )
    if told.surface is not None:
        return told.surface
    if opened:
        msg = (
            f"{source}: '{opened[0]}' is a skin without thickness, so which side of the "
            'wall was drawn must be said. Add "surface": "outer" or "surface": "inner" '
            'to the notes ("solid" if it is a wall with a hole in its mesh).'
        )
        raise DesignError(msg)
    words.append(
        "Nobody has said what is drawn; every part is closed, so it was taken for a "
        'solid with its wall ("surface": "solid").'
    )
    return "solid"
