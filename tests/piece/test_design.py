"""Designs: units, axes and parts never guessed in silence; damage told and mended."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shells

from fitkit.errors import DesignError, MeshError
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.piece.design import axes_matrix, notes_path, read_design
from fitkit.piece.notes import Notes

TOLD = {"unit": "mm", "front": "y", "up": "z", "origin_mm": [0, 0, 0], "surface": "solid"}


def block(scale=1.0) -> Mesh:
    """A box with a different size along each axis: 200 right, 240 front, 300 up."""
    return shells.as_mesh(shells.box(200, 240, 300, at=(0, 10, 20))).scaled(scale)


@pytest.fixture
def stl(tmp_path):
    return save_mesh(block(), tmp_path / "otter.stl")


def beside(path, **notes):
    text = json.dumps({"fitkit_notes": 1, **notes})
    notes_path(path).write_text(text, encoding="utf-8")
    return path


def refusal(path, **options) -> str:
    with pytest.raises(DesignError) as caught:
        read_design(path, **options)
    return str(caught.value)


def test_a_file_that_does_not_say_its_unit_is_refused(stl):
    with pytest.raises(MeshError, match="does not say its unit"):
        read_design(stl)


def test_without_notes_every_assumption_is_said(stl):
    design = read_design(stl, unit="mm")
    text = " ".join(design.words)
    assert "no notes beside otter.stl (otter.notes.json)" in text
    assert "its y axis was taken for the front, z for up" in text
    assert "own origin was taken for the midpoint of the tragia" in text
    assert 'taken for a solid with its wall ("surface": "solid")' in text
    assert design.surface == "solid"
    assert design.name == "otter"


def test_with_full_notes_nothing_is_assumed(stl):
    design = read_design(beside(stl, name="The otter", **TOLD))
    assert design.words == ()
    assert design.name == "The otter"


def test_notes_may_be_given_instead_of_found(stl, tmp_path):
    beside(stl, unit="cm")
    elsewhere = tmp_path / "other.json"
    elsewhere.write_text(json.dumps({"fitkit_notes": 1, **TOLD}), encoding="utf-8")
    for notes in (TOLD, Notes(**TOLD), elsewhere, str(elsewhere)):
        assert read_design(stl, notes=notes).notes.unit == "mm"


@pytest.mark.parametrize(("unit", "mm"), [("cm", 10.0), ("in", 25.4), ("m", 1000.0)])
def test_units_scale_to_millimetres(tmp_path, unit, mm):
    path = save_mesh(block(1 / mm), tmp_path / "otter.ply")
    design = read_design(path, unit=unit)
    assert np.allclose(design.whole.size_mm, [200, 240, 300], rtol=1e-5)


def test_a_unit_asked_for_goes_before_the_notes_and_that_is_said(stl):
    design = read_design(beside(stl, **{**TOLD, "unit": "cm"}), unit="mm")
    assert np.allclose(design.whole.size_mm, [200, 240, 300])
    assert "The notes say cm; read in mm, as asked for." in design.words


def test_a_wrong_unit_is_refused_with_the_likely_one(stl):
    text = refusal(stl, unit="m")
    assert "a headpiece must be 120 to 4000 mm at its longest; got 3e+05 mm" in text
    assert "head-size if it is in mm (300 mm)" in text


def test_an_unknown_unit_is_refused(stl):
    assert "unit must be one of mm, cm, m, in; got 'ft'" in refusal(stl, unit="ft")


def test_a_gltf_file_says_its_own_unit(tmp_path):
    path = save_mesh(block(), tmp_path / "otter.glb")
    design = read_design(path)
    assert np.allclose(design.whole.size_mm, [200, 240, 300], rtol=1e-5)
    assert "often have up y, front z" in " ".join(design.words)


@pytest.mark.parametrize(
    ("front", "up", "seen"),
    [
        ("y", "z", (200, 240, 300)),
        ("-y", "z", (200, 240, 300)),
        ("z", "y", (200, 300, 240)),
        ("x", "z", (240, 200, 300)),
        ("-x", "-y", (300, 200, 240)),
    ],
)
def test_axes_of_the_file_become_right_front_up(stl, front, up, seen):
    design = read_design(stl, notes={**TOLD, "front": front, "up": up})
    assert np.allclose(design.whole.size_mm, seen)
    assert design.whole.volume_mm3 == pytest.approx(200 * 240 * 300)


@pytest.mark.parametrize("front", ["+x", "-x", "y", "-y", "z", "-z"])
@pytest.mark.parametrize("up", ["x", "-x", "+y", "-y", "z", "-z"])
def test_turning_axes_never_mirrors(front, up):
    if front[-1] == up[-1]:
        return
    matrix = axes_matrix(front=front, up=up)
    assert np.linalg.det(matrix) == pytest.approx(1)
    assert np.allclose(matrix @ matrix.T, np.eye(3))


def test_the_noted_origin_becomes_the_origin(stl):
    design = read_design(stl, notes={**TOLD, "front": "-y", "origin_mm": [0, -10, 20]})
    assert np.allclose(design.whole.bounds_mm.mean(axis=0), 0, atol=1e-9)


def test_parts_in_other_files_are_read_from_the_same_folder(stl):
    save_mesh(block(0.3), stl.with_name("otter_jaw.stl"))
    notes = {**TOLD, "part_files": {"jaw": "otter_jaw.stl"}, "jaw_part": "jaw"}
    design = read_design(stl, notes=notes)
    assert list(design.parts)[-1] == "jaw"
    assert np.allclose(design.parts["jaw"].size_mm, [60, 72, 90])


@pytest.mark.parametrize("file", ["../otter_jaw.stl", "/etc/passwd", "a/../../b.stl"])
def test_a_part_file_outside_the_folder_is_refused(stl, file):
    text = refusal(stl, notes={**TOLD, "part_files": {"jaw": file}})
    assert "must be a file in the folder of otter.stl" in text


def test_a_link_out_of_the_folder_is_refused(stl, tmp_path_factory):
    target = save_mesh(block(), tmp_path_factory.mktemp("away") / "jaw.stl")
    stl.with_name("jaw.stl").symlink_to(target)
    text = refusal(stl, notes={**TOLD, "part_files": {"jaw": "jaw.stl"}})
    assert "leads out of it" in text


def test_a_jaw_part_that_is_not_there_is_refused_with_the_nearest(stl):
    save_mesh(block(0.3), stl.with_name("otter_jaw.stl"))
    notes = {**TOLD, "part_files": {"jaw": "otter_jaw.stl"}, "jaw_part": "jow"}
    assert "got 'jow'. Did you mean 'jaw'?" in refusal(stl, notes=notes)


def test_a_part_named_twice_is_refused(stl):
    save_mesh(block(0.3), stl.with_name("otter_jaw.stl"))
    (only,) = read_design(stl, unit="mm").parts
    text = refusal(stl, notes={**TOLD, "part_files": {only: "otter_jaw.stl"}})
    assert "is already in otter.stl" in text


def test_a_hinge_without_a_jaw_part_is_told(stl):
    hinge = {"left_mm": [-90, 0, -20], "right_mm": [90, 0, -20]}
    design = read_design(stl, notes={**TOLD, "hinge": hinge})
    assert "jaw_part" in design.words[0]


def test_an_open_skin_must_say_which_side_it_is(tmp_path):
    shell = shells.plain_shell()
    skin = shell.mesh.submesh(shell.kind == shells.OUTER)
    path = save_mesh(skin, tmp_path / "skin.stl")
    assert 'Add "surface": "outer" or "surface": "inner"' in refusal(path, unit="mm")
    assert read_design(path, notes={**TOLD, "surface": "inner"}).surface == "inner"


def test_an_open_solid_is_read_with_a_caution(tmp_path):
    torn = block().submesh(np.arange(10))
    path = save_mesh(torn, tmp_path / "torn.stl")
    design = read_design(path, notes=TOLD)
    assert any("is noted as a solid but is not closed" in word for word in design.words)


def test_what_was_mended_is_said(tmp_path):
    whole = block()
    faces = whole.faces.copy()
    faces[0] = faces[0, ::-1]
    broken = Mesh(whole.vertices, np.concatenate([faces, faces[3:4]]))
    path = save_mesh(broken, tmp_path / "broken.obj")
    design = read_design(path, notes=TOLD)
    assert design.whole.is_closed
    assert design.whole.volume_mm3 == pytest.approx(200 * 240 * 300)
    text = " ".join(design.mended)
    assert "Turned 1 faces round" in text
    assert "Dropped 1 repeated" in text


def test_a_misspelt_key_is_told(stl):
    design = read_design(stl, notes={**TOLD, "surfaces": "inner"})
    assert "did you mean 'surface'?" in design.words[0]


def test_a_design_cannot_be_changed(stl):
    design = read_design(stl, unit="mm")
    with pytest.raises(TypeError):
        design.parts["hat"] = block()
