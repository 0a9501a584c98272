import json
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import ezdxf
import numpy as np
import pypdfium2
import pytest
import trimesh
from jaws import fittings, jaw_piece, strap
from shells import ball, box

from fitkit.assess import assess
from fitkit.errors import BriefError, SheetError
from fitkit.fit.cut import smallest_cut
from fitkit.fit.foam import library
from fitkit.fit.jaw_parts import hang
from fitkit.fit.pads import Pad
from fitkit.fit.placement import Placement
from fitkit.fit.trial import trial_points
from fitkit.fit.wanted import wanted_limits
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.piece.fixings import HoleTemplate
from fitkit.sheets.cover import BENCH_CAUTIONS
from fitkit.sheets.meshes import write_meshes
from fitkit.sheets.workshop import BenchWork, write_sheets
from fitkit.views.templates import Hole, Line, Template
from fitkit.views.words import figure

sys.path.append(str(Path(__file__).parent))
from test_paper_measured import bar_length_mm, drawn

DAY = date(2025, 2, 3)
DOTS = 300


def plate():
    corners = np.array([[0, 0], [40, 0], [40, 16], [0, 16]], float)
    holes = tuple(
        Hole(centre_mm=np.array([at, 8.0]), diameter_mm=4.2) for at in (8.0, 32.0)
    )
    outline = Line(job="cut", points_mm=corners, closed=True)
    return Template(name="horn boss", kind="hole templates", lines=(outline,), holes=holes)


def horn():
    """Give a hole template as if for the two bolts of a horn."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    centres = np.array([[-15.0, 2.0], [15.0, -2.0]])
    return HoleTemplate(
        name="left horn",
        outlines_mm=(36.0 * ring, *(centre + 2.1 * ring for centre in centres)),
        holes=("front bolt", "rear bolt"),
        centres_mm=centres,
        diameters_mm=np.array([4.2, 4.2]),
        off_wall_mm=3.4,
    )


@pytest.fixture(scope="module")
def points(roomy):
    return trial_points(roomy.wearer, roomy.piece, roomy.placement, count=6)


@pytest.fixture(scope="module")
def sheets(roomy, points, tmp_path_factory):
    foam = next(iter(library().values()))
    pad = Pad(name="back", foam=foam, thickness_mm=12, centre_mm=(0, -95, 30))
    wanted = [
        wanted_limits(side="left", up_deg=25, down_deg=30, nasal_deg=20, temporal_deg=50)
    ]
    cut = smallest_cut(
        roomy.wearer, roomy.piece, roomy.placement, wanted=wanted, settle=True
    )
    hung = hang(
        jaw_piece(),
        Placement(),
        fittings=fittings(mass_g=250.0, centre_mm=(0.0, 110.0, -20.0), straps=[strap()]),
    )
    folder = tmp_path_factory.mktemp("out") / "bench"
    work = BenchWork(
        pads=(pad,), cut=cut, hung=hung, holes=(horn(),), points=points, more=(plate(),)
    )
    made = write_sheets(roomy, folder, work=work, made_on=DAY)
    return made, cut


@pytest.fixture(scope="module")
def words(sheets):
    document = pypdfium2.PdfDocument(sheets[0].pages)
    return [page.get_textpage().get_text_bounded() for page in document]


def test_the_folder_holds_what_it_lists_and_nothing_else(sheets):
    made, _ = sheets
    found = sorted(
        path.relative_to(made.folder).as_posix()
        for path in made.folder.rglob("*")
        if path.is_file()
    )
    assert found == list(made.files)
    assert json.loads((made.folder / "contents.json").read_text())["files"] == found
    assert [path.name for path in made.folder.parent.iterdir()] == ["bench"]


def test_every_template_is_on_a_page_and_has_its_svg_and_dxf(sheets, words):
    made, _ = sheets
    names = [name for group in made.listed.values() for name in group]
    for stem in ("midline_head", "pad_back", "lens_eye_left", "strap_left", "horn_boss"):
        assert f"svg/{stem}.svg" in made.files
        assert f"dxf/{stem}.dxf" in made.files
    pages = " ".join(words[1:])
    for name in names:
        assert name in pages
    assert len(made.listed) >= 6
    assert any(name.startswith("sight cut left") for name in names)


def test_the_bar_is_100_mm_on_every_page(sheets):
    count = len(pypdfium2.PdfDocument(sheets[0].pages))
    for page in range(count):
        dark = drawn(sheets[0].pages, page, dots_per_inch=DOTS)
        assert bar_length_mm(dark, dot_mm=25.4 / DOTS) == pytest.approx(100.0, abs=0.2)


def test_every_page_says_to_print_unscaled_and_which_it_is(words):
    for number, text in enumerate(words, start=1):
        assert "Print unscaled" in text
        assert f"page {number} of {len(words)}" in text


def test_the_cover_says_for_whom_with_what_and_what_to_check(words, roomy):
    cover = " ".join(words[0].split())
    for said in ("=shell on Ida", "3 February 2025", "102.0 % of the drawn size", "A4"):
        assert said in cover
    for said in ("laminate 3 mm", "copies shrink by 0.4 %", "Check first"):
        assert said in cover
    for caution in BENCH_CAUTIONS:
        assert caution in cover
    assert roomy.fits == ("By the figures it fits" in cover)
    assert roomy.fits != ("it does not fit, so cut gauges only" in cover)


def test_gaps_to_read_have_a_page_to_write_on_and_a_list_to_fill_in(sheets, words, points):
    page = " ".join(words[1].split())
    assert "Gaps to read at the trial fitting" in page
    for point in points:
        assert figure(point.ease_mm) in page
        assert f"{figure(point.low_mm)} to {figure(point.high_mm)}" in page
    listed = (sheets[0].folder / "gaps_to_read.csv").read_text()
    assert all(point.key in listed for point in points)


def test_holes_are_drilled_where_they_were_put(sheets):
    drawing = ezdxf.readfile(sheets[0].folder / "dxf" / "holes_left_horn.dxf")
    circles = drawing.modelspace().query('CIRCLE[layer=="drill"]')
    found = sorted((one.dxf.center.x, one.dxf.center.y) for one in circles)
    assert np.array(found) == pytest.approx(np.array([(-15.0, 2.0), (15.0, -2.0)]))
    assert {2 * one.dxf.radius for one in circles} == {4.2}


def test_fonts_are_embedded(sheets):
    data = sheets[0].pages.read_bytes()
    assert data.count(b"/FontFile2") >= 2
    assert b"/Type3" not in data


def test_meshes_are_read_by_another_program_as_solids_of_the_same_volume(wearer, tmp_path):
    # trimesh has its own readers of STL and 3MF, and wrote neither the 3MF nor the volume
    outside, inside = ball(115, 135, 150, segments=48), ball(109, 129, 144, segments=48)
    solid = outside - inside - box(400, 400, 100, at=(0, 0, -160))
    raw = solid.to_mesh64()
    save_mesh(Mesh(raw.vert_properties[:, :3], raw.tri_verts), tmp_path / "bell.stl")
    notes = {"fitkit_notes": 1, "name": "bell", "unit": "mm", "front": "y", "up": "z",
             "origin_mm": [0, 0, 0], "surface": "solid",
             "shrink_percent": [1.5]}  # fmt: skip
    (tmp_path / "bell.notes.json").write_text(json.dumps(notes))
    piece = finish(read_design(tmp_path / "bell.stl"))
    write_meshes(assess(wearer, piece, Placement(size=1.05)), tmp_path)
    for name, size in (("bell_sized", 1.05), ("bell_master", 1.05 / 0.985)):
        for suffix in ("stl", "3mf"):
            found = trimesh.load_mesh(tmp_path / f"{name}.{suffix}")
            found.merge_vertices()
            assert found.is_volume
            assert found.volume == pytest.approx(solid.volume() * size**3, rel=1e-5)


def test_cut_meshes_are_solids_of_the_cuts_volume_in_mm_and_m(sheets):
    made, cut = sheets
    (mesh,) = cut.parts.values()
    stem = made.folder / "meshes" / "shell_cut"
    for suffix in (".stl", ".3mf"):
        found = trimesh.load_mesh(stem.with_suffix(suffix))
        found.merge_vertices()
        assert found.is_volume
        assert found.volume == pytest.approx(mesh.volume_mm3, rel=1e-4)
    scene = trimesh.load_scene(stem.with_suffix(".glb"))
    assert scene.extents.max() == pytest.approx(mesh.size_mm.max() / 1000, rel=1e-4)


def test_it_is_never_written_over_unasked(sheets, roomy):
    made, _ = sheets
    before = {name: (made.folder / name).stat().st_mtime_ns for name in made.files}
    with pytest.raises(SheetError, match="overwrite=True"):
        write_sheets(roomy, made.folder)
    after = {name: (made.folder / name).stat().st_mtime_ns for name in made.files}
    assert after == before


def test_a_template_too_large_leaves_nothing_behind(roomy, tmp_path):
    with pytest.raises(SheetError, match=r"A4 leaves .* Choose paper='A3'"):
        write_sheets(roomy, tmp_path / "bench", tile=False)
    assert list(tmp_path.iterdir()) == []


def test_a_lens_that_was_asked_for_and_cannot_be_is_refused(roomy, tmp_path):
    with pytest.raises(BriefError, match="There is no opening 'visor'"):
        write_sheets(roomy, tmp_path / "bench", work=BenchWork(lenses=("visor",)))
    assert list(tmp_path.iterdir()) == []


def test_gauges_without_a_wall_are_left_out_and_the_rest_is_written(roomy, tmp_path):
    piece = roomy.piece
    low = piece.facing.submesh(piece.facing.centroids[:, 2] < 0)
    half = replace(roomy, piece=replace(piece, facing=low, skin=low))
    made = write_sheets(half, tmp_path / "bench", work=BenchWork(lenses=()), paper="A3")
    assert sum("no wall stands near" in words for words in made.left_out) == 4
    assert made.pages.is_file()
    assert made.listed == {}


def test_what_is_left_out_is_said(roomy, tmp_path):
    told = []
    made = write_sheets(
        roomy,
        tmp_path / "bench",
        work=BenchWork(lenses=()),
        paper="A3",
        made_on=DAY,
        tell=told.append,
    )
    assert made.left_out == (
        "No pads: none were given.",
        "No sight cut: none was given.",
        "No hole templates: none were given.",
        "No straps: the piece notes none.",
        "No list of gaps to read: no points were given.",
    )
    assert told == [
        "Laying out gauges, pads and lenses",
        "Drawing pages",
        "Writing meshes",
    ]
    page = pypdfium2.PdfDocument(made.pages)[0]
    assert page.get_size() == pytest.approx((297 / 25.4 * 72, 420 / 25.4 * 72), abs=0.01)
    assert "No pads: none were given." in page.get_textpage().get_text_bounded()
