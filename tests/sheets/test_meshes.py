from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
import trimesh

from fitkit.geometry.files import load_parts
from fitkit.sheets.meshes import file_names, write_meshes


@pytest.fixture(scope="module")
def written(tight, tmp_path_factory):
    folder = tmp_path_factory.mktemp("meshes")
    return folder, dict(write_meshes(tight, folder))


def test_the_sized_mesh_read_by_trimesh_has_the_drawn_area_times_size_squared(
    written, tight
):
    folder, _ = written
    drawn = tight.piece.design.whole
    mesh = trimesh.load_mesh(folder / "shell_sized.stl")
    assert mesh.area == pytest.approx(drawn.area_mm2 * 0.84**2, rel=1e-5)
    assert mesh.extents == pytest.approx(drawn.size_mm * 0.84, rel=1e-5)


def test_the_3mf_says_millimetres_and_agrees_with_the_stl(written):
    folder, _ = written
    (stl,) = load_parts(folder / "shell_sized.stl", unit="mm")
    (threemf,) = load_parts(folder / "shell_sized.3mf")
    assert threemf.mesh.bounds_mm == pytest.approx(stl.mesh.bounds_mm, abs=1e-3)


def test_the_master_is_larger_by_the_shrinkage(written):
    folder, words = written
    (sized,) = load_parts(folder / "shell_sized.stl", unit="mm")
    (master,) = load_parts(folder / "shell_master.stl", unit="mm")
    assert master.mesh.size_mm == pytest.approx(sized.mesh.size_mm / 0.996, rel=1e-6)
    assert "0.4 % larger" in words["shell_master.stl"]


def test_each_axis_has_its_own_size(tight, tmp_path):
    size = np.array([1.05, 0.98, 1.1])
    stretched = replace(tight, placement=replace(tight.placement, size=size))
    write_meshes(stretched, tmp_path)
    (part,) = load_parts(tmp_path / "shell_sized.stl", unit="mm")
    assert part.mesh.size_mm == pytest.approx(
        tight.piece.design.whole.size_mm * size, rel=1e-6
    )


def test_head_and_piece_lie_as_they_sit_with_gltf_up_and_front(written, tight):
    folder, _ = written
    (head,) = load_parts(folder / "head.glb")
    left, _, _ = tight.wearer.head.bounds_mm[0]
    _, front, up = tight.wearer.head.bounds_mm[1]
    assert head.mesh.bounds_mm[1] == pytest.approx([-left, up, front], abs=1e-3)
    assert head.mesh.volume_mm3 == pytest.approx(tight.wearer.head.volume_mm3, rel=1e-5)
    (piece,) = load_parts(folder / "piece_on_head.glb")
    drawn = tight.piece.design.whole.vertices
    placed = tight.placement.to_head(drawn)
    assert piece.mesh.bounds_mm[1][1] == pytest.approx(placed[:, 2].max(), abs=1e-3)
    assert piece.mesh.bounds_mm[1][2] == pytest.approx(placed[:, 1].max(), abs=1e-3)


def test_parts_with_hostile_names_stay_in_the_folder(tight, tmp_path):
    mesh = tight.piece.design.whole
    design = replace(
        tight.piece.design, parts=MappingProxyType({"../../up": mesh, "..\\up!": mesh})
    )
    hostile = replace(tight, piece=replace(tight.piece, design=design, name="/etc/x"))
    inner = tmp_path / "inner"
    inner.mkdir()
    names = [name for name, _ in write_meshes(hostile, inner)]
    assert {"etc_x_up_sized.stl", "etc_x_up_2_sized.stl"} <= set(names)
    assert [path.name for path in tmp_path.iterdir()] == ["inner"]


def test_names_that_differ_only_in_case_or_signs_are_told_apart():
    assert file_names(["Jaw", "jaw", "jaw_2", "水"]) == ["Jaw", "jaw_2", "jaw_2_2", "part"]
