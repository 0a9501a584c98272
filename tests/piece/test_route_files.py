"""Routes in files: read back whole, and refused in words."""

from __future__ import annotations

import json

import pytest

from fitkit.errors import DesignError
from fitkit.piece.laminate import Laminate
from fitkit.piece.route_files import read_routes, route, route_library, write_routes
from fitkit.piece.route_steps import LayerStep, Region
from fitkit.piece.routes import Route

WALL = {"step": "layer", "name": "wall", "side": "inward", "thickness_mm": 3}


def written(tmp_path, *steps, **more):
    path = tmp_path / "mine.json"
    one = {"name": "mine", "steps": list(steps), **more}
    path.write_text(json.dumps({"fitkit_routes": 1, "routes": [one]}), encoding="utf-8")
    return path


def test_the_library_is_written_and_read_back_whole(tmp_path):
    path = tmp_path / "all.json"
    write_routes(route_library(), path)
    assert read_routes(path) == route_library()


def test_regions_and_laminates_come_back(tmp_path):
    brow = Region(name="brow", centre_mm=(0, 120, 40), radius_mm=40, thickness_mm=6)
    steps = (
        LayerStep(name="foam", side="inward", thickness_mm=3, regions=(brow,)),
        LayerStep(name="mat", side="outward", laminate=Laminate(fibre_g_m2=450, plies=2)),
    )
    mine = {"mine": Route(name="mine", steps=steps)}
    write_routes(mine, tmp_path / "mine.json")
    assert read_routes(tmp_path / "mine.json") == mine


def test_card_by_its_weight(tmp_path):
    card = {"step": "layer", "name": "card", "side": "outward", "card_g_m2": 210}
    (step,) = read_routes(written(tmp_path, card))["mine"].steps
    assert step.thickness_mm == 0.25  # a-size.com's table


def test_a_file_that_is_there_is_not_replaced_unasked(tmp_path):
    path = tmp_path / "mine.json"
    path.write_text("mine own", encoding="utf-8")
    with pytest.raises(DesignError, match="is there already"):
        write_routes(route_library(), path)
    assert path.read_text(encoding="utf-8") == "mine own"
    write_routes(route_library(), path, overwrite=True)
    assert read_routes(path) == route_library()


def test_an_unknown_route_is_told_its_neighbours():
    with pytest.raises(
        DesignError, match=r"no route 'foam sheets'\. Did you mean 'foam sheet'"
    ):
        route("foam sheets")


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ({**WALL, "step": "coat"}, "step must be layer, copy or remove; got 'coat'"),
        ({**WALL, "side": "inwards"}, "side must be outward or inward.*'inward'"),
        ({**WALL, "thickness": 3}, "'thickness' is not known. Did you mean 'thickness_mm'"),
        ({**WALL, "thickness_mm": "3 mm"}, "thickness_mm must be a number; got '3 mm'"),
        ({**WALL, "thickness_mm": True}, "thickness_mm must be a number; got True"),
        ({**WALL, "thickness_mm": -3}, r"step 1: wall: thickness_mm \(above 0\)"),
        ({**WALL, "name": ""}, "name must be a text of 1 to 500 letters"),
        ({**WALL, "regions": [{"name": "x", "centre_mm": [0, 1]}]}, "three numbers"),
        ({"step": "copy", "name": "mould"}, "shrink_percent is missing"),
        ({"step": "copy", "name": "m", "shrink_percent": 12}, "must be 0 to 10 %; got 12"),
        ({**WALL, "laminate": {"fibre": 300}}, "'fibre' is not known"),
        ("wall", r"step 1 must be an object, \{\.\.\.\}; got str"),
    ],
)
def test_a_step_that_cannot_be_used_is_named(tmp_path, step, words):
    with pytest.raises(DesignError, match=words):
        read_routes(written(tmp_path, step))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "not JSON at line 1"),
        ("[" * 100_000, "nested too deep"),
        ("[]", "must be an object"),
        ('{"routes": []}', "fitkit_routes .* must be 1; got None"),
        ('{"fitkit_routes": 2, "routes": []}', "got 2. If it is newer, update fitkit"),
        ('{"fitkit_routes": 1, "routes": {}}', "routes must be a list"),
        ('{"fitkit_routes": 1, "routes": [NaN]}', "NaN is no number"),
    ],
)
def test_a_file_that_is_no_file_of_routes_is_refused(tmp_path, text, words):
    path = tmp_path / "bad.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=words):
        read_routes(path)


def test_files_missing_too_large_or_not_text_are_refused(tmp_path):
    with pytest.raises(DesignError, match="cannot be read"):
        read_routes(tmp_path / "none.json")
    (tmp_path / "large.json").write_bytes(b" " * 200_001)
    with pytest.raises(DesignError, match="must be at most 200000 bytes"):
        read_routes(tmp_path / "large.json")
    (tmp_path / "bytes.json").write_bytes(b"\xff\xfe")
    with pytest.raises(DesignError, match="must be text in UTF-8"):
        read_routes(tmp_path / "bytes.json")


def test_two_routes_of_one_name_are_refused(tmp_path):
    path = written(tmp_path, WALL)
    raw = json.loads(path.read_text(encoding="utf-8"))
    raw["routes"] *= 2
    path.write_text(json.dumps(raw), encoding="utf-8")
    with pytest.raises(DesignError, match="two routes are named 'mine'"):
        read_routes(path)
