import base64
import json
import re
from datetime import date

import pytest
import trimesh

from fitkit.errors import SheetError
from fitkit.fit.brief import Brief
from fitkit.sheets import report as report_module
from fitkit.sheets.brief_file import read_brief
from fitkit.sheets.placement_file import read_placement
from fitkit.sheets.report import QUESTIONS, write_report

DAY = date(2025, 2, 3)


@pytest.fixture(scope="module")
def report(tight, tmp_path_factory):
    return write_report(tight, tmp_path_factory.mktemp("reports") / "ida", made_on=DAY)


def test_the_folder_holds_what_the_report_lists_and_nothing_else(report):
    found = sorted(
        path.relative_to(report.folder).as_posix()
        for path in report.folder.rglob("*")
        if path.is_file()
    )
    assert found == list(report.files)
    listed = json.loads((report.folder / "contents.json").read_text())
    assert listed["files"] == found
    assert report.page.is_file()
    assert [path.name for path in report.folder.parent.iterdir()] == ["ida"]


def test_the_folder_has_page_meshes_tables_figures_placement_and_brief(report):
    expected = {
        "report.html",
        "placement.json",
        "brief.json",
        "meshes/shell_sized.stl",
        "meshes/shell_sized.3mf",
        "meshes/piece_on_head.glb",
        "tables/ease_by_zone.csv",
        "tables/measures.csv",
        "tables/changes.csv",
        "figures/sections.svg",
        "figures/ease_map.png",
        "figures/zones.svg",
        "figures/verdict.svg",
    }
    assert expected <= set(report.files)


def test_what_is_read_back_is_what_was_assessed(report, tight):
    placement = read_placement(report.folder / "placement.json")
    assert placement.size.tolist() == tight.placement.size.tolist()
    assert read_brief(report.folder / "brief.json") == tight.brief == Brief()
    mesh = trimesh.load_mesh(report.folder / "meshes" / "shell_sized.stl")
    assert mesh.area == pytest.approx(tight.piece.design.whole.area_mm2 * 0.84**2, rel=1e-5)


def test_the_figures_on_the_page_are_the_files(report):
    page = report.page.read_text(encoding="utf-8")
    data = {base64.b64decode(found) for found in re.findall(r"base64,([^\"]+)\"", page)}
    drawn = {path.name: path.read_bytes() for path in (report.folder / "figures").iterdir()}
    assert {"sections.svg", "ease_map.png", "zones.svg", "eyes.svg"} <= set(drawn)
    assert data == {drawn[name] for name in drawn if name != "verdict.svg"}


def test_every_file_of_the_folder_is_named_on_the_page(report):
    page = report.page.read_text(encoding="utf-8")
    for name in set(report.files) - {"report.html", "contents.json"}:
        assert f"<code>{name}</code>" in page


def test_the_same_assessment_gives_the_same_page_and_steps_are_told(
    report, tight, tmp_path
):
    told = []
    again = write_report(tight, tmp_path / "again", made_on=DAY, tell=told.append)
    assert again.page.read_bytes() == report.page.read_bytes()
    assert told == [
        "Drawing sections and ease",
        *(words for words, _ in QUESTIONS),
        "Writing meshes",
        "Setting the report as PDF",
    ]
    assert (again.folder / "report.pdf").read_bytes().startswith(b"%PDF")


def test_a_report_that_is_there_is_refused_and_stays(report, tight):
    before = report.page.read_bytes()
    with pytest.raises(SheetError, match="overwrite=True"):
        write_report(tight, report.folder)
    assert report.page.read_bytes() == before


def test_a_disk_that_fills_up_midway_leaves_nothing(tight, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(report_module, "write_meshes", full)
    with pytest.raises(SheetError, match="No space left"):
        write_report(tight, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
