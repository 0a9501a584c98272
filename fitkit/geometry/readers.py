"""Bytes of STL, OBJ, PLY and GLB files to plain triangles; nothing else is opened."""

from __future__ import annotations

import io
import json
import struct
import warnings
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import trimesh

from fitkit.errors import MeshError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh

#: Most faces that one file may hold, all parts together.
MOST_FACES = 3_000_000
#: Most parts that one file may hold.
MOST_PARTS = 1000
#: Most nodes of a GLB, with and without triangles.
MOST_NODES = 5000


@dataclass(frozen=True, eq=False)
class RawPart:
    """One named part as the file has it: its own unit, its own axes."""

    name: str
    vertices: FloatArray
    faces: IntArray


#: What goes wrong inside a reader that is fed a broken file.
BROKEN = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    NameError,  # a reader's own variable, never set where a header is damaged
    RuntimeError,
    TypeError,
    ValueError,
    DeprecationWarning,
    struct.error,
    zipfile.BadZipFile,
    zlib.error,
)


def read_stl(data: bytes, stem: str) -> list[RawPart]:
    """Read binary or text STL; triangles do not share vertices (see `repair.mend`)."""
    count = int.from_bytes(data[80:84], "little")
    if len(data) >= 84 and len(data) == 84 + 50 * count:
        check_face_count(count)
        rows = np.frombuffer(data, dtype=STL_ROW, offset=84)
        return [RawPart(stem, *_unshared(rows["corners"].astype(float)))]
    if data.lstrip()[:5].lower() != b"solid":
        expected = max(len(data) - 84, 0) // 50
        msg = f"STL says {count} triangles but has room for {expected}: cut short?"
        raise MeshError(msg)
    return list(_text_solids(data.decode("utf-8", "replace"), stem))


STL_ROW = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def _text_solids(text: str, stem: str) -> Iterator[RawPart]:
    solids: dict[str, list[list[str]]] = defaultdict(list)
    name = stem
    for line in text.splitlines():
        words = line.split()
        if words and words[0].lower() == "solid":
            name = " ".join(words[1:]) or stem
        elif words and words[0].lower() == "vertex":
            solids[name].append(words[1:4])
    check_part_count(len(solids))
    check_face_count(sum(map(len, solids.values())) // 3)
    for each, corners in solids.items():
        if len(corners) % 3:
            msg = f"STL solid {each!r} ends in the middle of a triangle: cut short?"
            raise MeshError(msg)
        yield RawPart(each, *_unshared(np.array(corners, dtype=float)))


def _unshared(corners: FloatArray) -> tuple[FloatArray, IntArray]:
    vertices = corners.reshape(-1, 3)
    return vertices, np.arange(len(vertices)).reshape(-1, 3)


def read_obj(data: bytes, stem: str) -> list[RawPart]:
    """
    Read the triangles of an OBJ file by object and group name.

    Vertices stay shared as the file shares them, whatever their texture; materials are
    not opened. A polygon is fanned out from its first corner.
    """
    vertices: list[list[str]] = []
    faces: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
    name = stem
    for line in data.decode("utf-8", "replace").replace("\\\n", " ").splitlines():
        key, _, rest = line.strip().partition(" ")
        if key == "v":
            vertices.append(rest.split()[:3])
        elif key == "f":
            faces[name].extend(_fan(rest, len(vertices)))
        elif key in ("o", "g"):
            name = rest.strip() or stem
    check_part_count(len(faces))
    check_face_count(sum(map(len, faces.values())))
    if not faces:
        return []
    whole = Mesh(
        np.array(vertices, dtype=float).reshape(-1, 3),
        np.concatenate([np.array(each, dtype=np.int64) for each in faces.values()]),
    )
    ends = np.cumsum([len(each) for each in faces.values()])
    rows = np.split(np.arange(ends[-1]), ends[:-1])
    parts = [whole.submesh(chosen) for chosen in rows]
    return [RawPart(k, m.vertices, m.faces) for k, m in zip(faces, parts, strict=True)]


def _fan(words: str, count: int) -> Iterator[tuple[int, int, int]]:
    numbers = [int(word.partition("/")[0]) for word in words.split()]
    corners = [n - 1 if n > 0 else count + n for n in numbers]
    for second, third in pairwise(corners[1:]):
        yield corners[0], second, third


def read_ply(data: bytes, stem: str) -> list[RawPart]:
    """Read text or binary PLY; textures are not opened, seams are not cut."""
    end = data.find(b"end_header")
    if not data.startswith(b"ply") or end < 0:
        msg = "PLY must begin with 'ply' and have an 'end_header'; this file does not."
        raise MeshError(msg)
    for line in data[:end].decode("utf-8", "replace").splitlines():
        words = line.split()
        if len(words) == 3 and words[0] == "element":
            check_face_count(int(words[2]) // 3)
    scene = _by_trimesh(data, "ply", fix_texture=False)
    return [RawPart(stem, g.vertices, g.faces) for g in _meshes(scene).values()]


def read_glb(data: bytes) -> list[RawPart]:
    """Read GLB by node name, each node moved as the file says; units are metres."""
    _check_glb(data)
    scene = _by_trimesh(data, "glb")
    found = _meshes(scene)
    pieces: dict[str, list[Any]] = defaultdict(list)
    for node in scene.graph.nodes_geometry:
        matrix, shape = scene.graph[node]
        if shape in found:
            pieces[_node_name(scene, node, found[shape])].append((matrix, found[shape]))
    check_part_count(len(pieces))
    check_face_count(sum(len(g.faces) for v in pieces.values() for _, g in v))
    return [_placed(name, parts) for name, parts in pieces.items()]


def _node_name(scene: Any, node: str, mesh: Any) -> str:
    """Name a node; one of several primitives goes by the node they belong to."""
    several = mesh.metadata.get("from_gltf_primitive")
    return str(scene.graph.transforms.parents[node] if several else node)


def _placed(name: str, parts: list[tuple[FloatArray, Any]]) -> RawPart:
    vertices, faces, count = [], [], 0
    for matrix, mesh in parts:
        vertices.append(mesh.vertices @ matrix[:3, :3].T + matrix[:3, 3])
        turn = -1 if np.linalg.det(matrix[:3, :3]) < 0 else 1
        faces.append(mesh.faces[:, ::turn] + count)
        count += len(mesh.vertices)
    return RawPart(name, np.concatenate(vertices), np.concatenate(faces))


def _check_glb(data: bytes) -> None:
    """Refuse what would reach outside the file, or ask for more room than it has."""
    magic, _, _, length, kind = struct.unpack_from("<4sIII4s", data)
    if magic != b"glTF" or kind != b"JSON":
        msg = "GLB must begin with 'glTF' and a JSON chunk; this file does not."
        raise MeshError(msg)
    tree = json.loads(data[20 : 20 + length])
    if len(tree.get("nodes", [])) > MOST_NODES:
        msg = f"GLB may hold up to {MOST_NODES} nodes; it has {len(tree['nodes'])}."
        raise MeshError(msg)
    for buffer in tree.get("buffers", []):
        if "uri" in buffer:
            msg = (
                f"GLB refers to data outside itself ({str(buffer['uri'])[:60]!r}), which "
                "is not opened. Export it again with everything in one file."
            )
            raise MeshError(msg)
    if any("draco" in name for name in tree.get("extensionsRequired", [])):
        msg = "GLB is Draco-compressed, which is not read. Export it uncompressed."
        raise MeshError(msg)
    for accessor in tree.get("accessors", []):
        check_face_count(int(accessor["count"]) // 3)


def check_part_count(count: int) -> None:
    """Refuse more parts than `MOST_PARTS`."""
    if count > MOST_PARTS:
        msg = f"A file may hold up to {MOST_PARTS} parts; this one has {count}."
        raise MeshError(msg)


def check_face_count(count: int) -> None:
    """Refuse more faces than `MOST_FACES`."""
    if count > MOST_FACES:
        msg = (
            f"A file may hold up to {MOST_FACES} faces; this one has {count} or more. "
            "Decimate it: 100,000 faces are enough for a fit."
        )
        raise MeshError(msg)


def _by_trimesh(data: bytes, kind: str, **options: Any) -> Any:
    """
    Let trimesh read bytes, with nothing merged, cut, mended or looked up elsewhere.

    It gets no path, so it cannot follow references; text that is not numbers, which
    numpy would skip with a warning, is an error.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("error", "string or file could not be read")
        return trimesh.load_scene(
            io.BytesIO(data), file_type=kind, process=False, skip_materials=True, **options
        )


def _meshes(scene: Any) -> dict[str, Any]:
    found = scene.geometry.items()
    return {name: g for name, g in found if isinstance(g, trimesh.Trimesh)}
