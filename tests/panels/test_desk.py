"""The desk: files offered, what was found in a piece, and its openings."""

from __future__ import annotations

import json
import re

import pytest

from fitkit.errors import FitkitError
from fitkit.panels.controller import SessionController
from fitkit.panels.desk import MESH_ENDINGS, desk_message, files_in, report_name


def test_only_meshes_are_offered_as_pieces(tmp_path):
    for name in ("b.stl", "a.GLB", "a.notes.json", "notes.txt"):
        (tmp_path / name).touch()
    (tmp_path / "folder").mkdir()
    assert files_in(tmp_path, MESH_ENDINGS) == ["a.GLB", "b.stl"]
    assert files_in(tmp_path / "nowhere", MESH_ENDINGS) == []


def test_the_desk_tells_what_the_piece_is(session, shell_files, tmp_path):
    home = shell_files.piece.parent
    message = desk_message(session.state, pieces=home, folder=tmp_path)
    json.dumps(message, allow_nan=False)
    facts = dict(message["facts"])
    assert message["pieces"] == ["shell.stl"]
    assert message["piece"] == "shell.stl"
    assert facts["Layers"] == "3 mm inward, 0.5 mm outward"
    assert facts["Shrinkage"].startswith("master at 100.4 %")
    assert facts["Hinge"] == "none"
    assert [o["choice"] for o in message["openings"]] == ["neck", "eye_left", "eye_right"]
    assert set(message["found"]) == set(session.state.piece.cautions)


def test_an_opening_is_told_by_size_and_place(session, tmp_path):
    message = desk_message(session.state, pieces=tmp_path, folder=tmp_path)
    left = message["openings"][1]
    assert re.fullmatch(r"3\d × 3\d mm, \d\d left, 1\d\d front, 1\d up", left["words"])
    assert left["path"].startswith("M")


def test_saved_sessions_are_offered_and_records_are_not(session, tmp_path):
    session.save(tmp_path / "x.session.json")
    session.save_record(tmp_path / "ida.json")
    message = desk_message(session.state, pieces=tmp_path, folder=tmp_path)
    assert message["sessions"] == ["x.session.json"]


def test_names_of_files_are_plain_whatever_the_wearer_is_called(session, tmp_path):
    message = desk_message(session.state, pieces=tmp_path, folder=tmp_path)
    assert re.fullmatch(r"[\w-]+\.session\.json", message["file"])
    assert re.fullmatch(r"[\w-]+-report", report_name(session.state))


def test_a_piece_that_cannot_be_used_says_why(session, tmp_path):
    (tmp_path / "flat.stl").write_bytes(b"solid flat")
    state = session.use_piece(tmp_path / "flat.stl")
    message = desk_message(state, pieces=tmp_path, folder=tmp_path)
    assert "flat.stl" in message["problem"]
    assert message["openings"] == []
    assert not message["ready"]


def test_an_empty_session_has_an_empty_desk(tmp_path):
    message = desk_message(SessionController().state, pieces=tmp_path, folder=tmp_path)
    assert message["facts"] == []
    assert message["outline"] == ""


def test_the_picture_covers_the_piece_from_side_to_side(session, tmp_path):
    outline = desk_message(session.state, pieces=tmp_path, folder=tmp_path)["outline"]
    rows = re.findall(r"M(-?[\d.]+) (-?[\d.]+)h([\d.]+)", outline)
    low, high = session.state.piece.design.whole.bounds_mm
    assert min(float(x) for x, _, _ in rows) == pytest.approx(low[0], abs=3)
    assert max(float(x) + float(w) for x, _, w in rows) == pytest.approx(high[0], abs=3)
    assert min(float(y) for _, y, _ in rows) == pytest.approx(-high[2], abs=3)


def test_a_file_name_may_not_lead_out_of_the_folder(tmp_path):
    from fitkit.panels.base_view import plain_path

    for name in ("../x.json", "/etc/x.json", "", ".x.json", "a/b.json", "x.txt"):
        with pytest.raises(FitkitError, match="file name must"):
            plain_path(tmp_path, name)
