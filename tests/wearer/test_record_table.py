import csv
import io
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_strategies import records

from fitkit.errors import RecordError
from fitkit.wearer import record_table
from fitkit.wearer.record import make_record
from fitkit.wearer.record_table import LARGEST_TABLE, read_records_csv, write_records_csv


def read(tmp_path, text, **how):
    path = tmp_path / "cast.csv"
    path.write_text(text, encoding="utf-8", newline="", **how)
    return read_records_csv(path)


def cells(path):
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))


def test_a_cast_comes_back_as_it_was(tmp_path):
    cast = (
        make_record(
            name="Ada",
            sex="female",
            age_years=31,
            head_circumference_mm=[560, 561.5],
            sellion_height_mm=-3,
            hair_mm={"crown": 5, "chin": 0},
            tape_hair_mm=0,
            glasses={"width_mm": 140, "depth_mm": 18, "height_mm": 42.5},
            notes='two lines,\nand "quotes"; done',
            unknown={"shoe": 39, "call": "tall one", "readings_mm": {"snout_mm": [1, 2]}},
        ),
        make_record(name="Bo"),
    )
    write_records_csv(cast, tmp_path / "cast.csv")
    assert read_records_csv(tmp_path / "cast.csv") == cast


@given(record=records())
def test_every_record_comes_back_from_a_table_as_it_was(record, tmp_path_factory):
    path = tmp_path_factory.mktemp("cast") / "cast.csv"
    cast = (record, make_record(name="last"))
    write_records_csv(cast, path)
    is_empty = not any(cell.strip() for cell in cells(path)[1])
    assert read_records_csv(path) == (cast[1:] if is_empty else cast)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_table_may_be_separated_by_comma_semicolon_or_tab(tmp_path, separator):
    text = f'name{separator}head_length_mm\nAda{separator}"190;191"\n'
    (record,) = read(tmp_path, text)
    assert record.readings["head_length_mm"].values_mm == (190, 191)


def test_problems_name_file_row_and_column(tmp_path):
    text = "name,head_length_mm,head_breadth_mm\nAda,190,150\n\nBo,19.5,150\nCy,190,15 cm\n"
    with pytest.raises(RecordError) as caught:
        read(tmp_path, text)
    assert str(caught.value).split("\n") == [
        "cast.csv: row 4 (Bo): head_length_mm must be 140 to 250 mm; got 19.5. That reads "
        "like centimetres: did you mean 195 mm?",
        "row 5 (Cy): head_breadth_mm must be a number, in mm; got '15 cm'. Write 150.",
    ]


def test_a_bad_repeat_is_named(tmp_path):
    with pytest.raises(RecordError, match=r"row 2 \(Ada\): head_length_mm \(repeat 2\)"):
        read(tmp_path, "name,head_length_mm\nAda,190;x\n")


@pytest.mark.parametrize("number", ["nan", "inf", "1_90", "1,90", "0x10", "１９０"])
def test_only_plain_numbers_are_numbers(tmp_path, number):
    with pytest.raises(RecordError, match="head_length_mm must be a number"):
        read(tmp_path, f'name;head_length_mm\nAda;"{number}"\n')


def test_many_problems_are_counted_not_listed(tmp_path):
    rows = "".join(f"p{i},19\n" for i in range(50))
    with pytest.raises(RecordError, match=r"and 30 more\.$"):
        read(tmp_path, "name,head_length_mm\n" + rows)


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("", "is empty"),
        ("head_length_mm\n190\n", "one of them 'name'"),
        ("name,head_lenght_mm\n", "Did you mean 'head_length_mm'"),
        ("name,head_length_mm,head_length_mm\n", "is there twice"),
        ("name,,sex\n", "column 2 has no name"),
        ("name,sex\nAda,female,190\n", r"row 2 \(Ada\): has 3 cells where row 1 names 2"),
        ('name\n"' + "x" * 200_000 + '"\n', "is no table that can be read"),
    ],
    ids=["empty", "no name", "misspelt", "twice", "unnamed", "long row", "long cell"],
)
def test_a_table_that_is_no_cast_is_refused(tmp_path, heading, words):
    with pytest.raises(RecordError, match=words):
        read(tmp_path, heading)


def test_a_table_too_large_is_refused_unread(tmp_path, monkeypatch):
    assert LARGEST_TABLE == 20_000_000
    monkeypatch.setattr(record_table, "LARGEST_TABLE", 100)
    with pytest.raises(RecordError, match="at most 100 bytes"):
        read(tmp_path, "name\n" + "Ada\n" * 100)


DANGEROUS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "  =1+1",
    "＝1+1",
    "'=1+1",
    "'quoted'",
    '=HYPERLINK("http://example.org")',
]


@pytest.mark.parametrize("words", DANGEROUS)
def test_a_text_that_a_spreadsheet_would_run_is_disarmed_and_comes_back(tmp_path, words):
    path = tmp_path / "cast.csv"
    record = make_record(name=words, notes=words, unknown={words: words})
    write_records_csv([record], path)
    for row in cells(path):
        for cell in row:
            assert not cell.lstrip().startswith(("=", "+", "-", "@", "＝"))
    (again,) = read_records_csv(path)
    assert again.name == words
    assert again.notes == words
    assert words.strip() in {key.strip() for key in again.unknown}


def test_negative_repeats_are_disarmed_and_come_back(tmp_path):
    path = tmp_path / "cast.csv"
    record = make_record(name="Ada", sellion_height_mm=[-3, -4])
    write_records_csv([record], path)
    assert "'-3;-4" in cells(path)[1]
    assert read_records_csv(path) == (record,)


@given(words=st.text(st.sampled_from("'=+-@ a1\t\r\n,;\""), min_size=1, max_size=6))
def test_any_mixture_of_dangerous_letters_comes_back(words, tmp_path_factory):
    path = tmp_path_factory.mktemp("cast") / "cast.csv"
    record = make_record(name="Ada", notes=words)
    write_records_csv([record], path)
    assert read_records_csv(path) == (record,)


def test_unknown_columns_are_kept_as_text_and_other_things_as_they_were(tmp_path):
    unknown = {"seat": "12", "tags": ["a", 1], "plan": "json:x", "none": None}
    path = tmp_path / "cast.csv"
    write_records_csv([make_record(name="Ada", unknown=unknown)], path)
    (record,) = read_records_csv(path)
    assert record.unknown == unknown


def test_an_unknown_key_may_not_pose_as_a_reading(tmp_path):
    record = make_record(unknown={"head_length_mm": 190})
    with pytest.raises(RecordError, match="a column of its own"):
        write_records_csv([record], tmp_path / "cast.csv")


def test_broken_json_in_a_cell_is_refused_with_its_column(tmp_path):
    with pytest.raises(RecordError, match=r"row 2 \(Ada\): tags: not JSON at line 1"):
        read(tmp_path, 'name,tags\nAda,"json:[1,"\n')


def test_an_empty_cast_is_a_heading_alone(tmp_path):
    path = tmp_path / "cast.csv"
    write_records_csv([], path)
    assert read_records_csv(path) == ()
    assert os.listdir(tmp_path) == ["cast.csv"]
