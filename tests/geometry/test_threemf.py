from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.geometry import threemf
from fitkit.geometry.files import load_parts, save_mesh
from fitkit.geometry.threemf import CORE, PRODUCTION, RELATION

MESH = (
    '<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="10" y="0" z="0"/>'
    '<vertex x="0" y="10" z="0"/></vertices>'
    '<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh>'
)
JAW = f'<object id="1" type="model" name="jaw">{MESH}</object>'
RELS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/3D/3dmodel.model" Id="a" Type="{RELATION}"/></Relationships>'
)


def model(resources: str, items: str, unit: str = "millimeter", before: str = "") -> str:
    return (
        f'<?xml version="1.0"?>{before}<model unit="{unit}" xmlns="{CORE}" '
        f'xmlns:p="{PRODUCTION}"><resources>{resources}</resources>'
        f"<build>{items}</build></model>"
    )


def pack(folder: Path, members: dict[str, str]) -> Path:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in members.items():
            archive.writestr(name, text)
    path = folder / "a.3mf"
    path.write_bytes(out.getvalue())
    return path


def packed(folder: Path, text: str, **more: str) -> Path:
    return pack(folder, {"_rels/.rels": RELS, "3D/3dmodel.model": text, **more})


# 3MF Core Specification 1.3, section 3.4
@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        ("micron", 0.001),
        ("millimeter", 1.0),
        ("centimeter", 10.0),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000.0),
    ],
)
def test_unit_of_the_file_is_used(unit, mm, tmp_path):
    path = packed(tmp_path, model(JAW, '<item objectid="1"/>', unit))
    (part,) = load_parts(path)
    assert part.name == "jaw"
    assert part.mesh.size_mm == pytest.approx([10 * mm, 10 * mm, 0])


def test_unit_that_is_not_said_is_the_millimetre(tmp_path):
    text = model(JAW, '<item objectid="1"/>').replace('unit="millimeter" ', "")
    (part,) = load_parts(packed(tmp_path, text))
    assert part.mesh.size_mm == pytest.approx([10, 10, 0])


def test_unknown_unit_is_refused(tmp_path):
    with pytest.raises(MeshError, match=r"one of micron.*got 'furlong'"):
        load_parts(packed(tmp_path, model(JAW, '<item objectid="1"/>', "furlong")))


def test_items_are_moved_by_rows_of_their_transform(tmp_path):
    # a quarter turn about the third axis, then 5 along it; numbers go row by row
    item = '<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 5"/>'
    (part,) = load_parts(packed(tmp_path, model(JAW, item)))
    want = [[0, 0, 5], [0, 10, 5], [-10, 0, 5]]
    assert part.mesh.triangles[0] == pytest.approx(np.array(want))


def test_mirrored_item_keeps_faces_outward(tmp_path):
    item = '<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>'
    (part,) = load_parts(packed(tmp_path, model(JAW, item)))
    assert part.mesh.normals[0].tolist() == [0, 0, 1]


def test_components_are_moved_with_what_they_are_in(tmp_path):
    whole = (
        '<object id="2" name="head"><components>'
        '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 1 0 0"/>'
        "</components></object>"
    )
    item = '<item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 7 0"/>'
    (part,) = load_parts(packed(tmp_path, model(JAW + whole, item)))
    assert part.mesh.bounds_mm[0].tolist() == [1, 7, 0]


def test_objects_in_another_member_are_found(tmp_path):
    item = '<item objectid="1" p:path="/3D/other.model"/>'
    path = packed(tmp_path, model("", item), **{"3D/other.model": model(JAW, "")})
    assert [part.name for part in load_parts(path)] == ["jaw"]


def test_object_not_to_be_built_is_left_out(tmp_path):
    spare = JAW.replace('id="1"', 'id="2"').replace("jaw", "spare")
    parts = load_parts(packed(tmp_path, model(JAW + spare, '<item objectid="1"/>')))
    assert [part.name for part in parts] == ["jaw"]


def test_name_with_markup_survives_the_round_trip(box, tmp_path):
    path = save_mesh(box(9.0, 9.0, 9.0), tmp_path / "a&b<'c'.3mf")
    assert load_parts(path)[0].name == "a&b<'c'"


# -- hostile files ------------------------------------------------------------------


def test_growing_entities_are_refused(tmp_path):
    bomb = '<!DOCTYPE m [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    text = model(JAW.replace("jaw", "&b;"), '<item objectid="1"/>', before=bomb)
    with pytest.raises(MeshError, match="document type"):
        load_parts(packed(tmp_path, text))


def test_entities_that_read_other_files_are_refused(tmp_path):
    spy = '<!DOCTYPE m [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
    text = model(JAW.replace("jaw", "&a;"), '<item objectid="1"/>', before=spy)
    with pytest.raises(MeshError, match="document type"):
        load_parts(packed(tmp_path, text))


def test_document_type_in_the_relations_is_refused_too(tmp_path):
    rels = '<!DOCTYPE r [<!ENTITY a "x">]>' + RELS
    members = {"_rels/.rels": rels, "3D/3dmodel.model": model(JAW, "")}
    with pytest.raises(MeshError, match="document type"):
        load_parts(pack(tmp_path, members))


def test_zip_bomb_is_refused_before_it_is_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr(threemf, "MOST_UNPACKED", 1_000_000)
    text = model(JAW, '<item objectid="1"/>', before=" " * 2_000_000)
    path = packed(tmp_path, text)
    assert path.stat().st_size < 20_000
    with pytest.raises(MeshError, match="2 MB unpacked"):
        load_parts(path)


@pytest.mark.parametrize("name", ["/etc/passwd", "../up.model", "a/../../b", "C:/x", "\\x"])
def test_members_outside_the_archive_are_refused(name, tmp_path):
    path = packed(tmp_path, model(JAW, '<item objectid="1"/>'), **{name: "x"})
    with pytest.raises(MeshError, match="outside itself"):
        load_parts(path)


def test_object_made_of_itself_is_refused(tmp_path):
    loop = '<object id="1"><components><component objectid="1"/></components></object>'
    with pytest.raises(MeshError, match="refer to themselves"):
        load_parts(packed(tmp_path, model(loop, '<item objectid="1"/>')))


def test_components_that_double_at_every_step_are_refused(tmp_path):
    doubled = "".join(
        f'<object id="{k}"><components><component objectid="{k - 1}"/>'
        f'<component objectid="{k - 1}"/></components></object>'
        for k in range(2, 15)
    )
    with pytest.raises(MeshError, match="1000 in all"):
        load_parts(packed(tmp_path, model(JAW + doubled, '<item objectid="14"/>')))


def test_missing_object_member_and_relation_are_named(tmp_path):
    with pytest.raises(MeshError, match="object '9'"):
        load_parts(packed(tmp_path, model(JAW, '<item objectid="9"/>')))
    with pytest.raises(MeshError, match=r"no\.model"):
        load_parts(packed(tmp_path, model(JAW, '<item objectid="1" p:path="/no.model"/>')))
    with pytest.raises(MeshError, match="no model to start from"):
        load_parts(pack(tmp_path, {"_rels/.rels": "<Relationships/>"}))


def test_broken_xml_is_refused_with_its_member(tmp_path):
    with pytest.raises(MeshError, match=r"broken XML in 3D/3dmodel\.model"):
        load_parts(packed(tmp_path, model(JAW, "")[:-20]))
