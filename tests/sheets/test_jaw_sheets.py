"""The jaw on the sheets: tables, pictures and words say what the report says."""

import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

sys.path.append(str(Path(__file__).parents[1] / "fit"))
from sample_jaw import SAMPLES, otter_report, placed_otter

from fitkit.assess import assess
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.sheets.jaw import jaw_part, jaw_pictures, jaw_tables
from fitkit.sheets.tables import table_csv


@pytest.fixture(scope="module")
def report():
    return otter_report()


def test_table_of_travel_runs_from_shut_to_the_largest_opening(report):
    travel, _ = jaw_tables(report)
    opening = [row[0] for row in travel.rows]
    assert opening[0] == 0
    assert opening[-1] == report.travel.opening_mm[-1]
    assert opening == sorted(opening)
    assert travel.rows[-1][1] == report.travel.jaw_deg[-1]
    assert max(row[4] for row in travel.rows) <= report.travel.squeeze_mm


def test_table_of_hinges_holds_the_drawn_the_best_and_the_worst_off(report):
    hinge = jaw_tables(report)[1]
    assert [row[0] for row in hinge.rows[:2]] == ["as drawn", "best"]
    assert hinge.rows[1][3] == report.hinge.best.misfit_mm
    assert hinge.rows[2][3] == report.hinge.worst_off[1].misfit_mm


def test_tables_leave_as_text(report):
    for table in jaw_tables(report):
        assert len(table_csv(table).splitlines()) == len(table.rows) + 1


def test_pictures_have_words_for_those_who_cannot_see_them(report):
    pictures = jaw_pictures(placed_otter().wearer, report)
    assert set(pictures) == {"side", "travel", "hinge"}
    for picture in pictures.values():
        assert picture.data.startswith(b"<?xml")
        assert picture.alternative
        assert picture.caption


def test_same_report_gives_the_same_bytes(report):
    wearer = placed_otter().wearer
    one, two = (jaw_pictures(wearer, report)["travel"].data for _ in range(2))
    assert one == two


def test_part_of_a_piece_without_a_jaw_is_the_sentence_that_says_so():
    beetle = finish(read_design(SAMPLES / "pieces" / "beetle.glb"))
    part = jaw_part(assess(placed_otter().wearer, beetle, Placement()))
    assert part.name == "jaw"
    assert len(part.sentences) == 1
    assert "has no hinge" in part.sentences[0]
    assert not part.pictures


def test_part_says_every_answer_and_caution(report):
    part = jaw_part(SimpleNamespace(**vars(placed_otter()), jaw_moved=report))
    assert len(part.sentences) == 5
    assert part.cautions == report.cautions
    assert np.isfinite(part.tables[0].rows[0][6])
