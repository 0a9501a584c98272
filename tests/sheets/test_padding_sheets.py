"""Padding and balance on the sheets: tables and pictures say what the reports say."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from foam_beds import round_head, weight

from fitkit.errors import BriefError
from fitkit.fit.balance_report import balance_report
from fitkit.fit.foam import foam
from fitkit.fit.pad_options import PadBrief
from fitkit.fit.pad_stock import LAYOUTS, Stock
from fitkit.fit.padding_report import padding_report
from fitkit.fit.placement import Placement
from fitkit.sheets import padding as sheets
from fitkit.sheets.tables import table_csv

HOME = Placement()


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


@pytest.fixture(scope="module")
def padded(head_and_piece):
    return padding_report(
        *head_and_piece, HOME, weighing=weight(500.0), layouts={"ring": LAYOUTS["ring"]},
        stock=[Stock(foam=foam("hr 40"), sheets_mm=(6, 10))],
        brief=PadBrief(least_slip_margin=0.0, most_eye_line_mm=None),
    )  # fmt: skip


@pytest.fixture(scope="module")
def weighed(head_and_piece):
    return balance_report(*head_and_piece, HOME, weighing=weight(900.0, at_mm=(0, 40, 30)))


def of(table, key):
    place = [column.key for column in table.columns].index(key)
    return [row[place] for row in table.rows]


def test_tables_of_padding_hold_pads_cases_pieces_and_sets(padded):
    pads, cases, pieces, sets = sheets.padding_tables(padded)
    assert of(pads, "pad") == [pad.name for pad in padded.padding.pads]
    assert sum(of(pads, "share_percent")) == pytest.approx(100, abs=0.1)
    assert max(of(pads, "peak_kpa")) == pytest.approx(padded.padding.peak_kpa)
    assert of(cases, "case") == list(padded.padding.settled)
    worst = min(one.slip_margin for one in padded.padding.settled.values())
    assert min(of(cases, "friction_left_percent")) == pytest.approx(100 * worst)
    assert of(pieces, "piece") == [one.name for one in padded.patterns]
    assert padded.option.name in of(sets, "pad_set")
    for table in (pads, cases, pieces, sets):
        assert len(table_csv(table).splitlines()) == len(table.rows) + 1


def test_tables_of_balance_hold_weights_and_moments(weighed):
    bodies, loads = sheets.balance_tables(weighed)
    assert of(bodies, "mass_g") == [900.0]
    # 0.9 kg · 9.80665 · 5.1 cm ahead of the condyles
    assert of(loads, "forward_n_cm")[0] == pytest.approx(0.9 * 9.80665 * 5.1)
    assert of(loads, "evened_n_cm")[0] == pytest.approx(0, abs=1e-6)


def test_pictures_have_words_for_those_who_cannot_see_them(head_and_piece, padded, weighed):
    pictures = sheets.padding_pictures(head_and_piece[0], padded)
    assert set(pictures) == {"pressure", "patterns", "options"}
    pictures = {**pictures, **sheets.balance_pictures(weighed)}
    for picture in pictures.values():
        assert picture.data.startswith((b"<?xml", b"\x89PNG"))
        assert picture.alternative
        assert picture.caption


def test_parts_say_the_answer_then_what_was_assumed(monkeypatch, padded, weighed):
    monkeypatch.setattr(sheets, "padding_pictures", lambda *_: {})
    asked = SimpleNamespace(wearer=None, padded=padded, balanced=weighed)
    for part, report in (
        (sheets.padding_part(asked), padded),
        (sheets.balance_part(asked), weighed),
    ):
        assert part.sentences[0] == report.words[0]
        assert part.sentences[1 : 1 + len(report.assumed)] == report.assumed
        assert set(report.words) <= set(part.sentences)
        assert part.cautions == report.cautions


class Unpadded:
    @property
    def padded(self):
        msg = "No pad set of this stock can be worn."
        raise BriefError(msg)


def test_what_cannot_be_padded_is_said_in_one_sentence():
    part = sheets.padding_part(Unpadded())
    assert part.sentences == ("No pad set of this stock can be worn.",)
    assert part.tables == ()
    assert not part.pictures
