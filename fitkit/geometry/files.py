"""Mesh files: read with bounds, in a stated unit; written whole or not at all."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any, get_args

import numpy as np
import trimesh

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.readers import (
    BROKEN,
    RawPart,
    read_glb,
    read_obj,
    read_ply,
    read_stl,
)
from fitkit.geometry.threemf import read_3mf, write_3mf
from fitkit.geometry.units import MM_PER_UNIT, Unit, size_words

#: Most bytes that a mesh file may have.
MOST_BYTES = 300_000_000
#: Formats by suffix.
SUFFIXES = (".stl", ".obj", ".ply", ".glb", ".3mf")
#: glTF 2.0 specification, section 3.4: all lengths are in metres.
GLB_MM = 1000.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """One named part of a mesh file."""

    #: Name of the node, object, group or solid; the file's own name if it gives none.
    name: str
    #: Its triangles, in millimetres, along the file's own axes. Nothing is merged.
    mesh: Mesh


def load_parts(
    path: str | os.PathLike[str], *, unit: Unit | None = None
) -> tuple[Part, ...]:
    """
    Read the parts of a mesh file.

    Parameters
    ----------
    path : path
        An STL (binary or text), OBJ, PLY, GLB or 3MF file, told by its suffix.
    unit : {"mm", "cm", "m", "in"}, optional
        Unit that the file was drawn in. STL, OBJ and PLY do not say, so it must be
        given; GLB (metres) and 3MF do, and it overrides them.

    Returns
    -------
    tuple of Part
        In the order of the file; names are made unique. Vertices are exactly those of
        the file: nothing is merged, dropped or turned (see `repair.mend`).

    Raises
    ------
    MeshError
        If the file is missing, too big, broken, or holds no triangles; if it refers to
        data outside itself; or if the unit is unknown.

    Notes
    -----
    Only this one file is opened: materials, textures and outside buffers are not.
    """
    path = Path(path)
    data = _bytes(path)
    try:
        raw, file_mm = _READERS[path.suffix.lower()](data, path.stem)
        raw = [part for part in raw if len(part.faces)]
        parts = [Mesh(p.vertices, p.faces) for p in raw]
    except MeshError as err:
        msg = f"{path.name}: {err}"
        raise MeshError(msg) from err
    except BROKEN as err:
        kind = path.suffix[1:].upper()
        msg = f"{path.name} cannot be read as {kind}: {err}. Is it damaged or cut short?"
        raise MeshError(msg) from err
    if not parts:
        msg = f"{path.name} holds no triangles. Was it exported as points or lines?"
        raise MeshError(msg)
    factor = _factor(path, parts, unit, file_mm)
    kept = [m.submesh(np.arange(len(m.faces))).scaled(factor) for m in parts]
    names = _unique([part.name for part in raw])
    return tuple(Part(name=n, mesh=m) for n, m in zip(names, kept, strict=True))


def save_mesh(mesh: Mesh, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """
    Write one mesh; a half-written file is never left behind.

    Parameters
    ----------
    mesh : Mesh
        What to write, in millimetres.
    path : path
        Where to; the suffix (.stl, .obj, .ply, .glb, .3mf) chooses the format. GLB is
        written in metres, as it must be, the others in millimetres. Axes are written
        as they are: right, front, up. About seven digits are kept.
    overwrite : bool
        Whether a file that is already there may be replaced.

    Returns
    -------
    Path
        The file that was written.

    Raises
    ------
    MeshError
        If the format is unknown, the folder is missing, or the file is there already.
    """
    path = Path(path)
    _check_suffix(path)
    if path.exists() and not overwrite:
        msg = f"{path} is there already. Choose another name, or pass overwrite=True."
        raise MeshError(msg)
    if not path.parent.is_dir():
        msg = f"{path.name} cannot be written: there is no folder {path.parent}."
        raise MeshError(msg)
    data = _encoded(mesh, path)
    part = path.with_name(f".{path.name}.{uuid.uuid4().hex}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return path


def _encoded(mesh: Mesh, path: Path) -> bytes:
    kind = path.suffix.lower()[1:]
    if kind == "3mf":
        return write_3mf(mesh, path.stem)
    if kind == "obj":
        return _obj_text(mesh, path.stem).encode()
    scale = 1 / GLB_MM if kind == "glb" else 1.0
    plain = trimesh.Trimesh(mesh.vertices * scale, mesh.faces, process=False)
    scene: Any = trimesh.Scene()
    scene.add_geometry(plain, node_name=path.stem, geom_name=path.stem)
    return bytes(scene.export(file_type=kind))


def _obj_text(mesh: Mesh, name: str) -> str:
    points = [f"v {x:.7g} {y:.7g} {z:.7g}" for x, y, z in mesh.vertices.tolist()]
    faces = [f"f {a} {b} {c}" for a, b, c in (mesh.faces + 1).tolist()]
    return "\n".join([f"o {' '.join(name.split())}", *points, *faces, ""])


def _bytes(path: Path) -> bytes:
    _check_suffix(path)
    if not path.is_file():
        msg = f"{path} is not there, or is not a file."
        raise MeshError(msg)
    size = path.stat().st_size
    if size > MOST_BYTES:
        msg = (
            f"{path.name} may have up to {MOST_BYTES // 10**6} MB; it has "
            f"{size / 1e6:.0f} MB. Decimate it: 100,000 faces are enough for a fit."
        )
        raise MeshError(msg)
    return path.read_bytes()


def _check_suffix(path: Path) -> None:
    if path.suffix.lower() not in SUFFIXES:
        msg = f"{path.name}: the format must be one of {', '.join(SUFFIXES)}."
        raise MeshError(msg)


def _factor(
    path: Path, parts: list[Mesh], unit: Unit | None, file_mm: float | None
) -> float:
    if unit is not None:
        if unit not in MM_PER_UNIT:
            msg = f"unit must be one of {', '.join(get_args(Unit))}; got {unit!r}."
            raise MeshError(msg)
        return MM_PER_UNIT[unit]
    if file_mm is not None:
        return file_mm
    used = [part.vertices[part.faces.ravel()] for part in parts]
    low = np.min([v.min(axis=0) for v in used], axis=0)
    high = np.max([v.max(axis=0) for v in used], axis=0)
    longest = float((high - low).max())
    msg = (
        f"{path.name} does not say its unit: pass unit='mm', 'cm', 'm' or 'in'. "
        f"Its longest side is {longest:.4g}: {size_words(longest)}."
    )
    raise MeshError(msg)


def _unique(names: list[str]) -> list[str]:
    taken: dict[str, None] = {}
    for name in names:
        tries = (name if k == 1 else f"{name}_{k}" for k in count(1))
        taken[next(each for each in tries if each not in taken)] = None
    return list(taken)


_Reader = Callable[[bytes, str], tuple[list[RawPart], float | None]]


def _without_unit(reader: Callable[[bytes, str], list[RawPart]]) -> _Reader:
    return lambda data, stem: (reader(data, stem), None)


_READERS: dict[str, _Reader] = {
    ".stl": _without_unit(read_stl),
    ".obj": _without_unit(read_obj),
    ".ply": _without_unit(read_ply),
    ".glb": lambda data, _: (read_glb(data), GLB_MM),
    ".3mf": read_3mf,
}
