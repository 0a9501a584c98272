"""Write the demo pieces: 3MF and STL in millimetres, GLB in metres, notes as JSON."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from _cast import Faces
from _sculpt import Points

#: A fixed time in the archive, so that the same shapes give the same bytes.
LONG_AGO = (1980, 1, 1, 0, 0, 0)
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_LINKS = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def _object_3mf(number: int, name: str, vertices: Points, faces: Faces) -> str:
    spots = "".join(
        f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in vertices
    )
    sides = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    return (
        f'<object id="{number}" name="{name}" type="model"><mesh><vertices>{spots}'
        f"</vertices><triangles>{sides}</triangles></mesh></object>"
    )


def write_3mf(path: Path, parts: dict[str, tuple[Points, Faces]]) -> None:
    """Write named parts as 3MF; vertices in millimetres, to a tenth of a micron."""
    objects = "".join(
        _object_3mf(number, name, *part)
        for number, (name, part) in enumerate(parts.items(), 1)
    )
    items = "".join(f'<item objectid="{number}"/>' for number in range(1, len(parts) + 1))
    model = (
        f'<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" xmlns="{_CORE}">'
        f"<resources>{objects}</resources><build>{items}</build></model>"
    )
    entries = [
        ("[Content_Types].xml", _TYPES),
        ("_rels/.rels", _LINKS),
        ("3D/3dmodel.model", model),
    ]
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in entries:
            entry = zipfile.ZipInfo(name, date_time=LONG_AGO)
            archive.writestr(entry, text, zipfile.ZIP_DEFLATED, 9)


def write_glb(path: Path, parts: dict[str, tuple[Points, Faces]]) -> None:
    """Write named parts as GLB, by its standard: metres, front +z, up +y, right -x."""
    scene = trimesh.Scene()
    for name, (vertices, faces) in parts.items():
        turned = np.column_stack([-vertices[:, 0], vertices[:, 2], vertices[:, 1]]) / 1000
        mesh = trimesh.Trimesh(turned, faces, process=False)
        scene.add_geometry(mesh, node_name=name, geom_name=name)
    path.write_bytes(scene.export(file_type="glb", include_normals=False))


def write_stl(path: Path, parts: dict[str, tuple[Points, Faces]]) -> None:
    """Write one unnamed part as binary STL in millimetres."""
    ((vertices, faces),) = parts.values()
    corners = vertices[faces]
    record = np.zeros(
        len(faces),
        dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")],
    )
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    record["normal"] = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    record["corners"] = corners
    head = b"fitkit demo piece, millimetres".ljust(80, b" ")
    path.write_bytes(head + np.uint32(len(faces)).tobytes() + record.tobytes())


def write_notes(path: Path, notes: dict[str, Any]) -> None:
    """Write the notes beside a piece, one key to a line."""
    path.write_text(json.dumps(notes, indent=1) + "\n", encoding="utf-8")
