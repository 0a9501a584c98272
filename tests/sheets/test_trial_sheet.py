"""The sheet of gaps: written, filled in by hand or by a spreadsheet, and read back."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest

from fitkit.errors import MeasureError, SheetError
from fitkit.fit.trial import learn_from_trial, trial_points
from fitkit.sheets.tables import table_csv
from fitkit.sheets.trial_sheet import (
    HOW_TO_READ,
    points_table,
    read_gaps,
    readings_table,
    trial_part,
    write_points,
)


@pytest.fixture(scope="module")
def points(tight):
    return trial_points(tight.wearer, tight.piece, tight.placement, count=12)


@pytest.fixture(scope="module")
def answer(tight, points):
    gaps = {point.key: round(point.ease_mm, 1) for point in points}
    gaps[points[0].key] = round(gaps[points[0].key] + 1.0, 1)
    return learn_from_trial(
        tight.wearer, tight.piece, tight.placement, gaps, day="2026-03-31"
    )


def filled(points, *, separator=",", write=str):
    """Give the sheet as a spreadsheet would save it, gaps of 10.5, 11.5, ... mm."""
    rows = list(csv.reader(io.StringIO(table_csv(points_table(points)))))
    for number, row in enumerate(rows[1:]):
        row[5] = write(10.5 + number)
    out = io.StringIO()
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue()


def test_the_sheet_goes_out_empty_and_comes_back_filled(points, tmp_path):
    path = tmp_path / "gaps.csv"
    write_points(points, path)
    with pytest.raises(MeasureError, match=r"gaps.csv: no gap is filled in"):
        read_gaps(path)
    path.write_text(filled(points), encoding="utf-8")
    got = read_gaps(path)
    assert list(got) == [point.key for point in points]
    assert list(got.values()) == [(10.5 + i,) for i in range(len(points))]


def test_a_spreadsheet_with_semicolons_and_decimal_commas_is_read(points, tmp_path):
    path = tmp_path / "gaps.csv"
    text = filled(points, separator=";", write=lambda mm: f"{mm}".replace(".", ","))
    path.write_text("\ufeff" + text, encoding="utf-8")
    assert list(read_gaps(path).values()) == [(10.5 + i,) for i in range(len(points))]


def test_repeats_and_pressed_gaps_are_read(tmp_path):
    path = tmp_path / "gaps.csv"
    path.write_text("key,gap_mm,gap_again_mm\na,10,11\nb,−2,\nc,,\n", encoding="utf-8")
    assert read_gaps(path) == {"a": (10.0, 11.0), "b": (-2.0,)}


def test_nothing_is_overwritten_without_being_asked_for(points, tmp_path):
    path = tmp_path / "gaps.csv"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(SheetError, match="there already"):
        write_points(points, path)
    assert path.read_text(encoding="utf-8") == "mine"
    write_points(points, path, overwrite=True)
    assert path.read_text(encoding="utf-8").startswith("number,key,place")
    with pytest.raises(SheetError, match="cannot be written"):
        write_points(points, tmp_path / "nowhere" / "gaps.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "must name the columns key and gap_mm; key and gap_mm missing"),
        ("key,note\na,1\n", "gap_mm missing"),
        ("key,gap_mm\na,1 cm\n", "row 2: a must be a number, in mm; got '1 cm'. Write 10"),
        ("key,gap_mm\na,900\n", "row 2: a must be -30 to 150 mm; got 900"),
        ("key,gap_mm\na,1\na,2\n", "row 3 repeats a"),
        ("key,gap_mm\n,2\n", "row 2 has a gap but no key"),
    ],
)
def test_a_sheet_that_cannot_be_used_is_refused_by_row(tmp_path, text, words):
    path = tmp_path / "gaps.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(MeasureError, match=words):
        read_gaps(path)


def test_the_table_says_where_and_what_to_expect(points):
    table = points_table(points)
    assert [column.key for column in table.columns][-2:] == ["gap_mm", "gap_again_mm"]
    for row, point in zip(table.rows, points, strict=True):
        assert row[1:3] == (point.key, point.words)
        assert row[3] < point.ease_mm < row[4]
        assert row[5:] == (None, None)
    assert any("mm" in line for line in HOW_TO_READ)


def test_the_part_holds_every_reading(answer, points):
    part = trial_part(answer)
    assert part.sentences == answer.sentences
    assert part.pictures["gaps"].data.startswith(b"<?xml")
    (table,) = part.tables
    assert [row[0] for row in table.rows] == [point.key for point in points]
    assert table == readings_table(answer)
    off = np.array([row[5] for row in table.rows])
    assert off[0] == pytest.approx(1.0, abs=0.06)
    assert np.abs(off[1:]).max() < 0.06
