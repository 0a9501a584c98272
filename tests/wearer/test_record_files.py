import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from record_strategies import records

from fitkit.errors import RecordError
from fitkit.wearer.record import make_record
from fitkit.wearer.record_files import (
    LARGEST_RECORD,
    read_record,
    record_from_json,
    record_to_json,
    write_record,
)
from fitkit.wearer.slips import check_record, refusals

SAMPLES = sorted((Path(__file__).parents[2] / "sample_heads" / "wearers").glob("*.json"))


def text(**content):
    return json.dumps({"fitkit_record": 1, **content})


@given(record=records())
def test_every_record_comes_back_from_json_as_it_was(record):
    assert record_from_json(record_to_json(record)) == record


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_sample_wearers_are_without_doubt_and_written_as_fitkit_writes_them(path):
    record = read_record(path)
    assert check_record(record) == ()
    assert record_to_json(record) == path.read_text(encoding="utf-8")


def test_one_sample_wearer_is_hard():
    hard = [
        r for r in map(read_record, SAMPLES) if r.glasses and r.hair_mm.get("crown", 0) > 20
    ]
    assert [r.readings["head_circumference_mm"].mean_mm > 610 for r in hard] == [True]


def test_unknown_keys_come_back_where_they_were(tmp_path):
    content = {
        "fitkit_record": 1,
        "name": "Ada",
        "readings_mm": {"head_length_mm": 190, "snout_mm": [1, 2]},
        "hair_mm": {"crown": 5, "colour": "red"},
        "glasses": {"frame": "horn", "width_mm": 140, "depth_mm": 18, "height_mm": 42},
        "shoe": {"size": 39},
    }
    path = tmp_path / "ada.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    write_record(read_record(path), path)
    again = json.loads(path.read_text(encoding="utf-8"))
    for key, value in content.items():
        assert again[key] == value


def test_unknown_keys_of_an_empty_section_come_back():
    record = record_from_json(text(glasses={"frame": "horn"}))
    assert record.glasses is None
    assert json.loads(record_to_json(record))["glasses"] == {"frame": "horn"}


def test_a_reading_that_is_not_known_is_kept_and_doubted():
    record = record_from_json(text(readings_mm={"snout_mm": 90}))
    assert [slip.key for slip in check_record(record)] == ["snout_mm"]
    assert refusals(record) == ()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"readings_mm": {"head_lenght_mm": 190}}, "Did you mean 'head_length_mm'"),
        ({"reading_mm": {}}, "Did you mean 'readings_mm'"),
        ({"hair_mm": {"temple_rigth": 5}}, "Did you mean 'temple_right'"),
        ({"head_length_mm": 190}, "belongs inside readings_mm"),
        ({"readings_mm": [190]}, "must be names and numbers in braces"),
        ({"glasses": "yes"}, "must be names and numbers in braces"),
        ({"readings_mm": {"head_length_mm": "19 cm"}}, "Write 190"),
        ({"readings_mm": {"head_length_mm": True}}, "must be a number"),
        ({"readings_mm": {"head_length_mm": {"a": 1}}}, "must be a number"),
        ({"readings_mm": {"head_length_mm": [[190]]}}, "must be a number"),
        ({"name": 3}, "name must be a text"),
    ],
)
def test_content_that_cannot_be_used_is_refused_with_the_cure(content, words):
    with pytest.raises(ValueError, match=words):
        record_from_json(text(**content))


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("", "line 1, column 1"),
        ('{"fitkit_record": 1,', "line 1"),
        ("[1, 2]", "must hold one record in braces"),
        ("{}", "it has no"),
        ('{"fitkit_record": 2}', "fitkit_record must be 1; got 2"),
        ('{"fitkit_record": true}', "fitkit_record must be 1; got True"),
        ('{"fitkit_record": 1, "name": "a", "name": "b"}', "'name' is given twice"),
        ('{"fitkit_record": 1, "readings_mm": {"x": NaN}}', "NaN is no number"),
        ('{"fitkit_record": 1, "x": -Infinity}', "-Infinity is no number"),
        ('{"fitkit_record": 1, "readings_mm": {"head_length_mm": 1e999}}', "140 to 250 mm"),
        ("[" * 100_000, "nested too deep"),
        ('{"fitkit_record": 1' + "0" * 5000 + "}", "a number too long"),
    ],
)  # fmt: skip
def test_a_broken_or_hostile_file_is_refused_with_its_name(tmp_path, broken, words):
    path = tmp_path / "ada.json"
    path.write_text(broken, encoding="utf-8")
    with pytest.raises(RecordError, match=words) as caught:
        read_record(path)
    assert str(caught.value).startswith("ada.json: ")
    assert len(str(caught.value)) < 300


def test_a_file_too_large_is_refused_unread(tmp_path):
    path = tmp_path / "ada.json"
    path.write_bytes(b" " * (LARGEST_RECORD + 1))
    with pytest.raises(RecordError, match="at most 1000000 bytes"):
        read_record(path)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "ada.json"
    path.write_bytes(b'{"name": "\xff"}')
    with pytest.raises(RecordError, match="UTF-8"):
        read_record(path)


def test_the_mark_at_the_start_of_some_utf8_files_is_no_obstacle(tmp_path):
    path = tmp_path / "ada.json"
    path.write_text(text(name="Ada"), encoding="utf-8-sig")
    assert read_record(path).name == "Ada"


def test_a_missing_file_is_told_in_words(tmp_path):
    with pytest.raises(RecordError, match=r"^ada.json: cannot be read: No such file"):
        read_record(tmp_path / "ada.json")


def test_a_write_that_fails_leaves_the_old_file_whole(tmp_path, monkeypatch):
    path = tmp_path / "ada.json"
    write_record(make_record(name="old"), path)

    def full_disk(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(RecordError, match="No space left"):
        write_record(make_record(name="new"), path)
    assert read_record(path).name == "old"
    assert os.listdir(tmp_path) == ["ada.json"]


@pytest.mark.parametrize("unknown", [{"x": float("nan")}, {"x": {1, 2}}, {"x": b"y"}])
def test_what_json_cannot_say_is_refused_before_the_file_is_touched(tmp_path, unknown):
    path = tmp_path / "ada.json"
    write_record(make_record(name="old"), path)
    with pytest.raises(RecordError, match="what JSON cannot say"):
        write_record(make_record(unknown=unknown), path)
    assert read_record(path).name == "old"


def test_a_broken_letter_is_refused_before_the_file_is_touched(tmp_path):
    path = tmp_path / "ada.json"
    with pytest.raises(RecordError, match="broken letter"):
        write_record(make_record(name="\ud800"), path)
    assert os.listdir(tmp_path) == []


def test_a_folder_that_is_not_there_is_told_in_words(tmp_path):
    with pytest.raises(RecordError, match="cannot be written in"):
        write_record(make_record(), tmp_path / "no" / "ada.json")


def test_a_linked_record_stays_a_link(tmp_path):
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    write_record(make_record(name="old"), real)
    link.symlink_to(real)
    write_record(make_record(name="new"), link)
    assert link.is_symlink()
    assert read_record(real).name == "new"


def test_a_text_that_looks_like_a_list_is_not_reflowed():
    record = make_record(notes="[\n1,\n2\n] and [ 3,  4 ]")
    assert record_from_json(record_to_json(record)).notes == record.notes


def test_records_load_neither_pandas_nor_a_plotting_or_widget_library():
    code = (
        "import sys, fitkit.wearer.record_table, fitkit.wearer.survey\n"
        "print([m for m in ('pandas', 'matplotlib', 'ipywidgets') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
