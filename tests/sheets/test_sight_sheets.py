"""Sight on the sheets: tables, pictures and words say what the report says."""

import numpy as np
import pytest

from fitkit.fit.sight_report import sight_report
from fitkit.fit.sight_words import sight_words
from fitkit.sheets.sight import sight_pictures, sight_tables
from fitkit.sheets.tables import table_csv


@pytest.fixture(scope="module")
def report(tight):
    return sight_report(tight.wearer, tight.piece, tight.placement, samples=1)


def test_words_hold_the_figures_of_the_report(report):
    words = sight_words(report)
    assert f"{report.field.either_percent:.0f} % of the view" in words[0]
    limits = report.field.worn.left.limits["centre"]
    assert f"up {limits.up_deg:.0f}, down {limits.down_deg:.0f}" in words[1]
    assert report.floor.bows[0].words() in " ".join(words)
    assert sum("eye's line passes" in each for each in words) == 4


def test_words_never_call_anything_safe(report):
    assert not any("safe" in each for each in (*sight_words(report), *report.cautions))


def test_tables_hold_every_limit_bow_and_line(report):
    fields, floor, lines = sight_tables(report)
    assert len(fields.rows) == 3 * 4 + 3
    up = next(row for row in fields.rows if row[0] == "up, deg")
    assert up[1] == report.field.worn.left.limits["centre"].up_deg
    assert up[4] == report.field.bare.right.limits["centre"].up_deg
    assert [row[0] for row in floor.rows] == [0, 15, 30]
    assert [row[0] for row in lines.rows] == ["left", "right", "left", "right"]
    for table in (fields, floor, lines):
        text = table_csv(table)
        assert len(text.splitlines()) == len(table.rows) + 1


def test_pictures_have_words_for_those_who_cannot_see_them(tight, report):
    pictures = sight_pictures(tight.wearer, report)
    assert set(pictures) == {"field", "light", "floor"}
    for picture in pictures.values():
        assert picture.data.startswith(b"<?xml")
        assert picture.alternative
        assert picture.caption


def test_same_report_gives_the_same_bytes(tight, report):
    first, again = (sight_pictures(tight.wearer, report)["floor"].data for _ in range(2))
    assert first == again
    assert np.isfinite(report.height_deg)
