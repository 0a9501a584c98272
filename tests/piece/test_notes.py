"""Notes: strict where a slip would cost a shell, silent about nothing, lossless."""

from __future__ import annotations

import json

import pytest

from fitkit.errors import DesignError
from fitkit.piece.notes import (
    NOTES_LIMIT_BYTES,
    Notes,
    misspelt_keys,
    nearest_name,
    parse_notes,
    read_notes,
    write_notes,
)

FULL = {
    "fitkit_notes": 1,
    "name": "otter",
    "unit": "mm",
    "front": "-y",
    "up": "z",
    "origin_mm": [0, 4, -2],
    "surface": "solid",
    "jaw_part": "jaw",
    "hinge": {"left_mm": [-90, 0, -20], "right_mm": [90, 0, -20], "open_stop_deg": 22},
    "openings": [{"name": "eye_left", "kind": "eye", "centre_mm": [-32, 100, 20]}],
    "hard_points": [{"name": "lamp", "mass_g": 38, "at_mm": [0, 120, -80]}],
    "no_cut": [{"name": "crest", "centre_mm": [0, 0, 150], "radius_mm": 30}],
    "layers": {"inward": [{"name": "lining", "thickness_mm": 1.5, "glue": "contact"}]},
    "shrink_percent": [0.4, 0.1],
    "maker": {"shop": "quay 3"},
}


def notes(**changes) -> Notes:
    return parse_notes({**FULL, **changes}, source="otter.notes.json")


def refusal(**changes) -> str:
    with pytest.raises(DesignError) as caught:
        notes(**changes)
    return str(caught.value)


def test_a_full_notes_file_reads_as_written(tmp_path):
    path = tmp_path / "otter.notes.json"
    path.write_text(json.dumps(FULL), encoding="utf-8")
    got = read_notes(path)
    assert got.hinge is not None
    assert got.hinge.open_stop_deg == 22
    assert got.hinge.close_stop_deg == 0
    assert got.layers.inward[0].thickness_mm == 1.5
    assert got.openings[0].centre_mm == (-32, 100, 20)


def test_keys_it_does_not_know_come_back_when_it_writes(tmp_path):
    path = tmp_path / "otter.notes.json"
    write_notes(notes(), path)
    back = json.loads(path.read_text(encoding="utf-8"))
    assert back["maker"] == {"shop": "quay 3"}
    assert back["layers"]["inward"][0]["glue"] == "contact"
    assert read_notes(path) == notes()


def test_writing_adds_no_key_that_was_not_given_but_the_version(tmp_path):
    path = tmp_path / "bare.notes.json"
    write_notes(Notes(unit="cm"), path)
    assert json.loads(path.read_text(encoding="utf-8")) == {"fitkit_notes": 1, "unit": "cm"}


def test_a_failed_write_leaves_the_good_file_and_no_litter(tmp_path):
    path = tmp_path / "otter.notes.json"
    path.mkdir()  # a folder in the way cannot be replaced by a file
    with pytest.raises(DesignError, match="cannot be written"):
        write_notes(notes(), path)
    assert [p.name for p in tmp_path.iterdir()] == ["otter.notes.json"]


def test_a_key_that_is_nearly_right_is_pointed_out_and_kept():
    got = notes(shrink_percents=[1.0])
    assert misspelt_keys(got) == (
        "The notes' key 'shrink_percents' is not known and was kept unread: did you "
        "mean 'shrink_percent'?",
    )


def test_an_unknown_key_like_no_other_is_not_remarked_on():
    assert misspelt_keys(notes()) == ()


def test_a_newer_version_is_refused_with_the_way_out():
    assert "update fitkit" in refusal(fitkit_notes=2)


@pytest.mark.parametrize("version", [True, "1", 1.0, 0])
def test_a_version_that_is_not_a_whole_number_is_refused(version):
    assert "must be 1" in refusal(fitkit_notes=version)


def test_a_file_without_version_is_refused(tmp_path):
    path = tmp_path / "a.notes.json"
    path.write_text('{"unit": "mm"}', encoding="utf-8")
    with pytest.raises(DesignError, match='Add "fitkit_notes": 1'):
        read_notes(path)


def test_a_unit_that_is_not_one_is_refused():
    text = refusal(unit="mmm")
    assert text.startswith("otter.notes.json: unit must be 'mm', 'cm', 'm' or 'in'")
    assert "Did you mean 'mm'?" in text


def test_every_slip_is_named_with_its_place():
    text = refusal(
        openings=[{"name": "eye_left", "centre_mm": [1, 2]}],
        hard_points=[{"name": "lamp", "mass_g": -3, "at_mm": [0, 0, 0]}],
    )
    assert "openings[0].centre_mm[2] is missing" in text
    assert "hard_points[0].mass_g must be greater than or equal to 0; got -3" in text


def test_a_hinge_that_slopes_is_refused_with_its_slope():
    # 12 mm over 180 mm is atan(12 / 180) = 3.81 degrees
    hinge = {"left_mm": [-90, 0, -20], "right_mm": [90, 0, -8]}
    assert "must run level to 3 deg" in refusal(hinge=hinge)
    assert "got 3.8 deg (up differs by 12 mm over 180 mm)" in refusal(hinge=hinge)


def test_a_hinge_that_is_askew_is_refused():
    hinge = {"left_mm": [-90, 0, -20], "right_mm": [90, 15, -20]}
    assert "must run square across to 3 deg" in refusal(hinge=hinge)


def test_hinge_ends_swapped_are_told_as_swapped():
    hinge = {"left_mm": [90, 0, -20], "right_mm": [-90, 0, -20]}
    assert "are the two swapped?" in refusal(hinge=hinge)


def test_hinge_stops_in_the_wrong_order_are_refused():
    hinge = {**FULL["hinge"], "open_stop_deg": 5, "close_stop_deg": 10}
    assert "close_stop_deg must be below open_stop_deg" in refusal(hinge=hinge)


def test_shrinkage_above_ten_percent_is_refused_with_the_likely_slip():
    text = refusal(shrink_percent=[0.4, 15])
    assert "shrink_percent must be 0 to 10 %; got 15" in text
    assert "Then it is 1.5 %" in text


@pytest.mark.parametrize("value", [0, -1.5, 81, float("nan"), float("inf")])
def test_a_thickness_that_is_none_or_absurd_is_refused(value):
    layers = {"outward": [{"name": "paint", "thickness_mm": value}]}
    assert "layers.outward[0].thickness_mm: thickness_mm (above 0)" in refusal(
        layers=layers
    )


def test_front_without_up_is_refused():
    assert "give front and up together" in refusal(up=None)


@pytest.mark.parametrize("front", ["z", "-z", "+z"])
def test_front_along_up_is_refused(front):
    assert "must be different axes" in refusal(front=front)


def test_two_openings_of_one_name_are_refused():
    twins = [{"name": "vent", "centre_mm": [0, 0, 0]}] * 2
    assert "'vent' is there twice" in refusal(openings=twins)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"fitkit_notes": 1,\n "unit": mm}', "line 2, column 10"),
        ('{"fitkit_notes": 1, "origin_mm": [NaN, 0, 0]}', "NaN is no number"),
        ('{"fitkit_notes": 1, "unit": "mm", "unit": "cm"}', "'unit' is given twice"),
        ("[1, 2]", "must be one JSON object"),
        ("[" * 100_000, "nested too deep"),
    ],
)
def test_text_that_is_no_notes_is_refused_where_it_goes_wrong(tmp_path, text, told):
    path = tmp_path / "a.notes.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_notes(path)
    assert told in str(caught.value)


def test_a_mesh_given_as_notes_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "otter.stl"
    path.write_bytes(b"\0" * (NOTES_LIMIT_BYTES + 1))
    with pytest.raises(DesignError, match="Is it the right file"):
        read_notes(path)


def test_notes_that_are_not_text_are_refused(tmp_path):
    path = tmp_path / "a.notes.json"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DesignError, match="UTF-8"):
        read_notes(path)


def test_notes_that_are_not_there_are_refused(tmp_path):
    with pytest.raises(DesignError, match="cannot be read"):
        read_notes(tmp_path / "none.notes.json")


def test_a_name_unlike_any_lists_them_all():
    assert nearest_name("hat", ["shell", "jaw"]) == "There are: jaw, shell."
    assert nearest_name("hat", []) == "There are none."
    assert nearest_name("Shel", ["shell", "jaw"]) == "Did you mean 'shell'?"
