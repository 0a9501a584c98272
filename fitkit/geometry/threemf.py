"""3MF files: a zip of XML, read with bounds and without following anything outside."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from xml.parsers import expat
from xml.sax.saxutils import quoteattr

import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh
from fitkit.geometry.readers import MOST_PARTS, RawPart, check_face_count

#: Most bytes that one packed model may unpack to.
MOST_UNPACKED = 500_000_000
#: Components may refer to components; deeper than this is a loop.
MOST_DEPTH = 16
#: Millimetres per unit: 3MF Core Specification 1.3, section 3.4 (unit of the model).
MM_PER_MODEL_UNIT = {
    "micron": 0.001,
    "millimeter": 1.0,
    "centimeter": 10.0,
    "inch": 25.4,
    "foot": 304.8,
    "meter": 1000.0,
}
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


Attributes = dict[str, str]


@dataclass
class _Object:
    name: str = ""
    vertices: list[tuple[str, str, str]] = field(default_factory=list)
    faces: list[tuple[str, str, str]] = field(default_factory=list)
    #: Model path, object id and transform of each component.
    components: list[tuple[str, str, FloatArray]] = field(default_factory=list)


@dataclass
class _Model:
    """One model member, filled element by element."""

    unit: str = "millimeter"
    objects: dict[str, _Object] = field(default_factory=dict)
    #: Model path, object id and transform of each thing to build.
    items: list[tuple[str, str, FloatArray]] = field(default_factory=list)
    #: The object that is being read.
    thing: _Object = field(default_factory=_Object)

    def take(self, tag: str, given: Attributes) -> None:
        """Add what one XML element says."""
        if tag == "vertex":
            self.thing.vertices.append((given["x"], given["y"], given["z"]))
        elif tag == "triangle":
            self.thing.faces.append((given["v1"], given["v2"], given["v3"]))
        elif tag == "object":
            self.thing = self.objects[given["id"]] = _Object(given.get("name", ""))
        elif tag == "component":
            self.thing.components.append(_reference(given))
        elif tag == "item":
            self.items.append(_reference(given))
        elif tag == "model":
            self.unit = given.get("unit", self.unit)


def read_3mf(data: bytes, stem: str) -> tuple[list[RawPart], float]:
    """
    Read the things to build of a 3MF file, and how many millimetres its unit is.

    Follows the 3MF Core Specification 1.3 and, for models in several members, the
    Production Extension 1.1.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        _check_members(archive)
        package = _Package(archive)
        root = package.root_path()
        model = package.model(root)
        parts = [
            part
            for path, number, matrix in model.items
            for part in package.parts(path or root, number, matrix, stem)
        ]
    if model.unit not in MM_PER_MODEL_UNIT:
        msg = f"3MF unit must be one of {', '.join(MM_PER_MODEL_UNIT)}; got {model.unit!r}."
        raise MeshError(msg)
    return parts, MM_PER_MODEL_UNIT[model.unit]


def write_3mf(mesh: Mesh, name: str) -> bytes:
    """Give a 3MF file, in millimetres, with one object to build."""
    points = "".join(
        f'<vertex x="{x:.7g}" y="{y:.7g}" z="{z:.7g}"/>'
        for x, y, z in mesh.vertices.tolist()
    )
    faces = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces.tolist()
    )
    model = (
        f'<model unit="millimeter" xmlns="{CORE}"><resources>'
        f'<object id="1" type="model" name={quoteattr(name)}><mesh><vertices>{points}'
        f"</vertices><triangles>{faces}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    members = {
        "[Content_Types].xml": _CONTENT_TYPES,
        "_rels/.rels": _RELATIONS,
        "3D/3dmodel.model": model,
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, text in members.items():
            stamp = zipfile.ZipInfo(path)  # a fixed date: same mesh, same bytes
            stamp.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(stamp, '<?xml version="1.0" encoding="UTF-8"?>' + text)
    return out.getvalue()


_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_CONTENT_TYPES = (
    f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONS = (
    f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship '
    f'Target="/3D/3dmodel.model" Id="model" Type="{RELATION}"/></Relationships>'
)


def _check_members(archive: zipfile.ZipFile) -> None:
    members = archive.infolist()
    unpacked = sum(member.file_size for member in members)
    if len(members) > MOST_PARTS or unpacked > MOST_UNPACKED:
        msg = (
            f"3MF may hold up to {MOST_PARTS} members of {MOST_UNPACKED // 10**6} MB in "
            f"all; this one has {len(members)} of {unpacked // 10**6} MB unpacked."
        )
        raise MeshError(msg)
    for member in members:
        steps = member.filename.replace("\\", "/").split("/")
        if member.filename.startswith(("/", "\\")) or ".." in steps or ":" in steps[0]:
            msg = f"3MF has a member outside itself, {member.filename!r}; not opened."
            raise MeshError(msg)


class _Package:
    """The models of one archive, each parsed once, with a budget of faces."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        self._models: dict[str, _Model] = {}
        self._faces = 0
        self._parts = 0

    def root_path(self) -> str:
        targets: list[str] = []

        def take(tag: str, given: Attributes) -> None:
            if tag == "Relationship" and given.get("Type") == RELATION:
                targets.append(given["Target"].lstrip("/"))

        self._parse("_rels/.rels", take)
        if not targets:
            msg = "3MF names no model to start from in _rels/.rels."
            raise MeshError(msg)
        return targets[0]

    def model(self, path: str) -> _Model:
        if path not in self._models:
            model = _Model()
            self._parse(path, model.take)
            self._models[path] = model
        return self._models[path]

    def parts(
        self, path: str, number: str, matrix: FloatArray, name: str, depth: int = 0
    ) -> Iterator[RawPart]:
        """Give the meshes of an object and of its components, each moved into place."""
        self._parts += 1
        if depth > MOST_DEPTH or self._parts > MOST_PARTS:
            msg = (
                f"3MF components may be {MOST_DEPTH} deep and {MOST_PARTS} in all; these "
                "go on. Do they refer to themselves?"
            )
            raise MeshError(msg)
        thing = self.model(path).objects.get(number)
        if thing is None:
            msg = f"3MF asks for object {number!r} of {path}, which is not there."
            raise MeshError(msg)
        if thing.faces:
            self._faces += len(thing.faces)
            check_face_count(self._faces)
            yield _raw(thing, matrix, thing.name or name)
        for inner, other, step in thing.components:
            whole = matrix @ step
            yield from self.parts(
                inner or path, other, whole, thing.name or name, depth + 1
            )

    def _parse(self, path: str, take: Callable[[str, Attributes], None]) -> None:
        """Hand on every element of a member; a document type is refused."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartElementHandler = lambda tag, given: take(tag.split(" ")[-1], given)
        parser.StartDoctypeDeclHandler = _refuse_doctype
        try:
            with self._archive.open(path) as member:
                parser.ParseFile(member)
        except KeyError as err:
            msg = f"3MF asks for {err}, which is not there."
            raise MeshError(msg) from err
        except expat.ExpatError as err:
            msg = f"3MF holds broken XML in {path}: {err}."
            raise MeshError(msg) from err


def _refuse_doctype(*_: object) -> None:
    msg = "3MF declares a document type, with which XML can be made to grow; not read."
    raise MeshError(msg)


def _reference(given: Attributes) -> tuple[str, str, FloatArray]:
    path = given.get(f"{PRODUCTION} path", "").lstrip("/")
    return path, given["objectid"], _matrix(given.get("transform"))


def _matrix(text: str | None) -> FloatArray:
    """Turn twelve numbers, for row vectors, into a matrix for column vectors."""
    matrix = np.eye(4)
    if text is not None:
        matrix[:3, :] = np.array(text.split(), dtype=float).reshape(4, 3).T
    return matrix


def _raw(thing: _Object, matrix: FloatArray, name: str) -> RawPart:
    vertices = np.array(thing.vertices, dtype=float).reshape(-1, 3)
    faces: IntArray = np.array(thing.faces, dtype=np.int64)
    if np.linalg.det(matrix[:3, :3]) < 0:
        faces = faces[:, ::-1]
    return RawPart(name, vertices @ matrix[:3, :3].T + matrix[:3, 3], faces)
