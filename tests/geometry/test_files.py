from __future__ import annotations

import json
import os
import struct
from pathlib import Path

import numpy as np
import pytest
import trimesh

from fitkit.errors import MeshError
from fitkit.geometry import files, readers
from fitkit.geometry.files import SUFFIXES, load_parts, save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.repair import mend

TEXT_STL = """solid jaw
 facet normal 0 0 1
  outer loop
   vertex 0 0 0
   vertex 1e1 0 0
   vertex 0 10 0
  endloop
 endfacet
endsolid jaw
solid skull
 facet normal 0 0 1
  outer loop
   vertex 0 0 5
   vertex 10 0 5
   vertex 0 10 5
  endloop
 endfacet
endsolid skull
"""
TEXT_PLY = """ply
format ascii 1.0
element vertex 4
property float x
property float y
property float z
element face 1
property list uchar int vertex_indices
end_header
0 0 0
10 0 0
10 10 0
0 10 0
4 0 1 2 3
"""


def write(folder: Path, name: str, data: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return path


def glb(tree: dict, binary: bytes = b"") -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **tree}).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    if binary:
        chunks += struct.pack("<I4s", len(binary), b"BIN\0") + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def triangle_glb(**changes: object) -> bytes:
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype="<f4").tobytes()
    tree = {
        "buffers": [{"byteLength": 36}],
        "bufferViews": [{"buffer": 0, "byteLength": 36}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
        "nodes": [{"mesh": 0, "name": "jaw"}],
        "scenes": [{"nodes": [0]}],
    }
    return glb({**tree, **changes}, corners)


# -- round trips --------------------------------------------------------------------


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_format_brings_back_what_was_saved(suffix, cup, tmp_path):
    path = save_mesh(cup, tmp_path / f"otter{suffix}")
    (part,) = load_parts(path, unit="m" if suffix == ".glb" else "mm")
    assert part.name == "otter"
    assert part.mesh.triangles == pytest.approx(cup.triangles, abs=1e-4)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_other_software_reads_what_was_saved(suffix, cup, tmp_path):
    path = save_mesh(cup, tmp_path / f"otter{suffix}")
    other = trimesh.load_mesh(path)
    size = other.extents * (1000 if suffix == ".glb" else 1)
    assert size == pytest.approx(cup.size_mm, rel=1e-5)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_saving_the_same_mesh_gives_the_same_bytes(suffix, cup, tmp_path):
    first = save_mesh(cup, tmp_path / f"a{suffix}").read_bytes()
    second = save_mesh(cup, tmp_path / f"a{suffix}", overwrite=True).read_bytes()
    assert first == second


# Trap: trimesh merges vertices of an STL by default, and others drop thin faces.
def test_nothing_is_merged_or_dropped_on_reading(cup, tmp_path):
    (stl,) = load_parts(save_mesh(cup, tmp_path / "a.stl"), unit="mm")
    assert len(stl.mesh.vertices) == 3 * len(cup.faces)
    assert len(mend(stl.mesh)[0].vertices) == len(cup.vertices)
    sliver = Mesh([[0, 0, 0], [5, 0, 0], [10, 0, 0]], [[0, 1, 2]])
    (kept,) = load_parts(save_mesh(sliver, tmp_path / "thin.ply"), unit="mm")
    assert len(kept.mesh.faces) == 1


# -- parts and their names ----------------------------------------------------------


def test_text_stl_gives_its_solids_by_name(tmp_path):
    jaw, skull = load_parts(write(tmp_path, "a.stl", TEXT_STL), unit="mm")
    assert (jaw.name, skull.name) == ("jaw", "skull")
    assert jaw.mesh.size_mm == pytest.approx([10, 10, 0])
    assert skull.mesh.bounds_mm[0, 2] == 5


def test_binary_stl_whose_header_says_solid_is_still_binary(box, tmp_path):
    data = bytearray(save_mesh(box(9.0, 9.0, 9.0), tmp_path / "a.stl").read_bytes())
    data[:5] = b"solid"
    (part,) = load_parts(write(tmp_path, "b.stl", bytes(data)), unit="mm")
    assert len(part.mesh.faces) == 12


def test_obj_gives_objects_and_groups_and_keeps_vertices_shared_over_seams(tmp_path):
    text = (
        "mtllib ../../secret.mtl\no jaw\nv 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"
        "vt 0 0\nvt 1 0\nvt 1 1\nvt .5 .5\nusemtl skin\n"
        "f 1/1 2/2 3/3\nf 1/4 3/2 4/1\ng tooth\nv 0 0 1\nf -1 1// 2\n"
    )
    jaw, tooth = load_parts(write(tmp_path, "a.obj", text), unit="cm")
    assert (jaw.name, tooth.name) == ("jaw", "tooth")
    assert len(jaw.mesh.vertices) == 4
    assert jaw.mesh.size_mm == pytest.approx([10, 10, 0])
    assert tooth.mesh.vertices.tolist() == [[0, 0, 0], [10, 0, 0], [0, 0, 10]]


def test_obj_polygon_is_cut_into_triangles(tmp_path):
    text = "v 0 0 0\nv 2 0 0\nv 3 2 0\nv 1 3 0\nv -1 2 0\nf 1 2 3 \\\n4 5\n"
    (part,) = load_parts(write(tmp_path, "a.obj", text), unit="mm")
    assert part.mesh.area_mm2 == pytest.approx(8)  # by the shoelace formula


def test_text_ply_quads_are_cut_into_triangles(tmp_path):
    (part,) = load_parts(write(tmp_path, "a.ply", TEXT_PLY), unit="mm")
    assert part.mesh.area_mm2 == pytest.approx(100)


def test_glb_gives_nodes_by_name_moved_and_in_metres(tmp_path):
    nodes = [
        {"mesh": 0, "name": "jaw", "translation": [0, 0, 0.5]},
        {"mesh": 0, "name": "skull", "scale": [2, 2, 2]},
    ]
    data = triangle_glb(nodes=nodes, scenes=[{"nodes": [0, 1]}])
    parts = {p.name: p.mesh for p in load_parts(write(tmp_path, "a.glb", data))}
    assert set(parts) == {"jaw", "skull"}
    assert parts["jaw"].bounds_mm[0, 2] == pytest.approx(500)
    assert parts["skull"].size_mm == pytest.approx([2000, 2000, 0])


def test_glb_primitives_of_one_node_are_one_part_under_its_name(tmp_path):
    twice = [{"primitives": [{"attributes": {"POSITION": 0}}] * 2}]
    (part,) = load_parts(write(tmp_path, "a.glb", triangle_glb(meshes=twice)))
    assert part.name == "jaw"
    assert len(part.mesh.faces) == 2


def test_glb_node_that_mirrors_keeps_faces_outward(tmp_path):
    nodes = [{"mesh": 0, "name": "left", "scale": [-1, 1, 1]}]
    (part,) = load_parts(write(tmp_path, "a.glb", triangle_glb(nodes=nodes)))
    assert part.mesh.normals[0].tolist() == [0, 0, 1]


def test_parts_of_the_same_name_are_numbered(tmp_path):
    nodes = [{"mesh": 0, "name": "horn"}, {"mesh": 0, "name": "horn"}]
    data = triangle_glb(nodes=nodes, scenes=[{"nodes": [0, 1]}])
    names = [part.name for part in load_parts(write(tmp_path, "a.glb", data))]
    assert len(set(names)) == 2
    assert all(name.startswith("horn") for name in names)


# -- units --------------------------------------------------------------------------


# Trap: a head drawn in centimetres is read as inches by unit guessers.
@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply"])
def test_unit_is_asked_for_never_guessed(suffix, box, tmp_path):
    path = save_mesh(box(20.0, 15.0, 24.3), tmp_path / f"a{suffix}")
    with pytest.raises(
        MeshError, match=r"unit=.*24\.3: head-size if it is in cm \(243 mm\)"
    ):
        load_parts(path)


@pytest.mark.parametrize(("unit", "mm"), [("mm", 1), ("cm", 10), ("m", 1000), ("in", 25.4)])
def test_stated_unit_is_applied(unit, mm, box, tmp_path):
    path = save_mesh(box(2.0, 3.0, 4.0), tmp_path / "a.stl")
    (part,) = load_parts(path, unit=unit)
    assert part.mesh.size_mm == pytest.approx([2 * mm, 3 * mm, 4 * mm])


def test_stated_unit_overrides_that_of_the_file(tmp_path):
    (part,) = load_parts(write(tmp_path, "a.glb", triangle_glb()), unit="cm")
    assert part.mesh.size_mm == pytest.approx([10, 10, 0])


def test_unknown_unit_is_refused(box, tmp_path):
    path = save_mesh(box(2.0, 3.0, 4.0), tmp_path / "a.stl")
    with pytest.raises(MeshError, match="one of mm, cm, m, in; got 'ft'"):
        load_parts(path, unit="ft")


# -- hostile and broken files -------------------------------------------------------


def test_glb_that_points_outside_itself_is_refused(tmp_path):
    write(tmp_path, "secret.bin", b"\0" * 36)
    for uri in ("secret.bin", "/etc/passwd", "../x.bin", "data:;base64,AAAA"):
        data = triangle_glb(buffers=[{"byteLength": 36, "uri": uri}])
        with pytest.raises(MeshError, match="outside itself"):
            load_parts(write(tmp_path, "a.glb", data))


def test_glb_that_asks_for_endless_memory_is_refused(tmp_path):
    huge = [{"componentType": 5126, "count": 10**13, "type": "VEC3"}]
    with pytest.raises(MeshError, match="up to 3000000 faces"):
        load_parts(write(tmp_path, "a.glb", triangle_glb(accessors=huge)))


def test_glb_of_few_triangles_placed_endlessly_often_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(readers, "MOST_FACES", 50)
    nodes = [{"mesh": 0, "name": f"n{k}"} for k in range(51)]
    data = triangle_glb(nodes=nodes, scenes=[{"nodes": list(range(51))}])
    with pytest.raises(MeshError, match="up to 50 faces; this one has 51"):
        load_parts(write(tmp_path, "a.glb", data))


def test_glb_nodes_that_go_in_a_ring_do_not_hang(tmp_path):
    nodes = [{"mesh": 0, "name": "a", "children": [1]}, {"name": "b", "children": [0]}]
    path = write(tmp_path, "a.glb", triangle_glb(nodes=nodes))
    parts = _parts_or_none(path)
    assert parts is None or [part.name for part in parts] == ["a"]


def test_file_of_too_many_parts_is_refused(tmp_path):
    face = "f 1 2 3\n"
    text = "v 0 0 0\nv 1 0 0\nv 0 1 0\n" + "".join(f"o n{k}\n{face}" for k in range(1001))
    with pytest.raises(MeshError, match="up to 1000 parts; this one has 1001"):
        load_parts(write(tmp_path, "a.obj", text), unit="mm")
    nodes = [{"name": f"n{k}"} for k in range(5001)]
    with pytest.raises(MeshError, match="up to 5000 nodes"):
        load_parts(write(tmp_path, "a.glb", triangle_glb(nodes=nodes)))


def test_compressed_glb_is_refused_in_words(tmp_path):
    data = triangle_glb(extensionsRequired=["KHR_draco_mesh_compression"])
    with pytest.raises(MeshError, match="Draco-compressed"):
        load_parts(write(tmp_path, "a.glb", data))


def test_ply_header_that_promises_too_much_is_refused(tmp_path):
    text = TEXT_PLY.replace("element face 1", "element face 99999999999")
    with pytest.raises(MeshError, match="up to 3000000 faces"):
        load_parts(write(tmp_path, "a.ply", text), unit="mm")


def test_obj_and_ply_textures_outside_are_not_opened(tmp_path, monkeypatch):
    opened: list[str] = []
    true_open = open

    def spy(file: object, *args: object, **kwargs: object) -> object:
        opened.append(str(file))
        return true_open(file, *args, **kwargs)

    text = TEXT_PLY.replace(
        "element face", "comment TextureFile /etc/hostname\nelement face"
    )
    paths = [
        write(tmp_path, "a.ply", text),
        write(
            tmp_path, "a.obj", "mtllib /etc/hostname\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
        ),
    ]
    monkeypatch.setattr("builtins.open", spy)
    for path in paths:
        load_parts(path, unit="mm")
    assert not [name for name in opened if "hostname" in name]


def test_file_of_too_many_bytes_is_not_read(box, tmp_path, monkeypatch):
    path = save_mesh(box(9.0, 9.0, 9.0), tmp_path / "a.stl")
    monkeypatch.setattr(files, "MOST_BYTES", 500)
    with pytest.raises(MeshError, match="it has 0 MB"):
        load_parts(path, unit="mm")


def test_file_of_too_many_faces_is_refused(box, tmp_path, monkeypatch):
    path = save_mesh(box(9.0, 9.0, 9.0), tmp_path / "a.stl")
    monkeypatch.setattr(readers, "MOST_FACES", 11)
    with pytest.raises(MeshError, match="up to 11 faces; this one has 12"):
        load_parts(path, unit="mm")


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.99])
def test_file_cut_short_is_refused_with_its_name(suffix, share, cup, tmp_path):
    whole = save_mesh(cup, tmp_path / f"a{suffix}").read_bytes()
    path = write(tmp_path, f"cut{suffix}", whole[: int(share * len(whole))])
    if suffix == ".obj" and share > 0:
        whole_faces = len(cup.faces)
        parts = _parts_or_none(path)
        assert parts is None or len(parts[0].mesh.faces) < whole_faces
        return
    with pytest.raises(MeshError, match=f"cut{suffix}"):
        load_parts(path, unit="mm")


def _parts_or_none(path: Path) -> tuple[files.Part, ...] | None:
    try:
        return load_parts(path, unit="mm")
    except MeshError:
        return None


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_noise_is_refused_not_crashed_on(suffix, tmp_path):
    random = np.random.default_rng(9)
    for k in range(20):
        path = write(tmp_path, f"n{k}{suffix}", random.bytes(random.integers(1, 3000)))
        with pytest.raises(MeshError):
            load_parts(path, unit="mm")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_damaged_bytes_give_a_mesh_or_an_error_in_words(suffix, box, tmp_path):
    whole = save_mesh(box(9.0, 9.0, 9.0), tmp_path / f"a{suffix}").read_bytes()
    random = np.random.default_rng(10)
    outcomes = set()
    for k in range(60):
        data = bytearray(whole)
        for at in random.integers(0, len(data), 4):
            data[at] = random.integers(0, 256)
        parts = _parts_or_none(write(tmp_path, f"d{k}{suffix}", bytes(data)))
        outcomes.add("refused" if parts is None else "read")
    assert outcomes <= {"refused", "read"}
    assert "refused" in outcomes or suffix == ".stl"


@pytest.mark.parametrize("text", ["nan", "inf", "abc", "1e999"])
@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply"])
def test_coordinates_that_are_not_numbers_are_refused(text, suffix, tmp_path):
    sample = {
        ".stl": TEXT_STL.replace("1e1", text),
        ".obj": f"v 0 0 0\nv {text} 0 0\nv 0 1 0\nf 1 2 3\n",
        ".ply": TEXT_PLY.replace("10 10 0", f"10 {text} 0"),
    }[suffix]
    with pytest.raises(MeshError, match=f"a{suffix}"):
        load_parts(write(tmp_path, f"a{suffix}", sample), unit="mm")


def test_face_that_names_no_vertex_is_refused(tmp_path):
    for face in ("1 2 4", "1 2 -4", "0 1 2"):
        text = f"v 0 0 0\nv 1 0 0\nv 0 1 0\nf {face}\n"
        with pytest.raises(MeshError, match="faces must index vertices"):
            load_parts(write(tmp_path, "a.obj", text), unit="mm")


def test_points_without_triangles_are_refused(tmp_path):
    with pytest.raises(MeshError, match="holds no triangles"):
        load_parts(write(tmp_path, "a.obj", "v 0 0 0\nv 1 0 0\n"), unit="mm")


@pytest.mark.parametrize("name", ["a.step", "a", "a.gltf", "a.stl.zip"])
def test_unknown_format_is_refused_with_the_known_ones(name, tmp_path, box):
    with pytest.raises(MeshError, match=r"\.stl, \.obj, \.ply, \.glb, \.3mf"):
        load_parts(write(tmp_path, name, b"x"), unit="mm")
    with pytest.raises(MeshError, match=r"\.stl, \.obj, \.ply, \.glb, \.3mf"):
        save_mesh(box(2.0, 2.0, 2.0), tmp_path / f"new-{name}")


def test_missing_file_and_folder_are_refused(tmp_path, box):
    with pytest.raises(MeshError, match="is not there"):
        load_parts(tmp_path / "none.stl", unit="mm")
    with pytest.raises(MeshError, match="is not a file"):
        load_parts(_folder(tmp_path / "folder.stl"), unit="mm")
    with pytest.raises(MeshError, match="there is no folder"):
        save_mesh(box(2.0, 2.0, 2.0), tmp_path / "none" / "a.stl")


def _folder(path: Path) -> Path:
    path.mkdir()
    return path


# -- saving -------------------------------------------------------------------------


def test_file_that_is_there_is_not_replaced_unless_asked(box, tmp_path):
    path = write(tmp_path, "a.stl", b"precious")
    with pytest.raises(MeshError, match="overwrite=True"):
        save_mesh(box(2.0, 2.0, 2.0), path)
    assert path.read_bytes() == b"precious"
    save_mesh(box(2.0, 2.0, 2.0), path, overwrite=True)
    assert path.read_bytes() != b"precious"


def test_failed_write_leaves_the_old_file_and_no_other(box, tmp_path, monkeypatch):
    path = write(tmp_path, "a.stl", b"precious")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        save_mesh(box(2.0, 2.0, 2.0), path, overwrite=True)
    assert [p.name for p in tmp_path.iterdir()] == ["a.stl"]
    assert path.read_bytes() == b"precious"
