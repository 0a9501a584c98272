"""Pad sets side by side: dominance by hand, limits of a brief, what cannot be worn."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import round_head, weight

from fitkit.errors import BriefError
from fitkit.fit import _settle_many, pad_options
from fitkit.fit.foam import foam, linear_foam
from fitkit.fit.pad_options import (
    COMPARED,
    OptionRow,
    PadBrief,
    compare_options,
    suggest,
)
from fitkit.fit.pad_stock import LAYOUTS, PadOption, Stock, make_options
from fitkit.fit.padding import pad_out
from fitkit.fit.placement import Placement

HOME = Placement()
STOCK = Stock(foam=linear_foam(name="soft", modulus_kpa=25), sheets_mm=(6, 10))


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


@pytest.fixture(scope="module")
def options(head_and_piece):
    return make_options(
        *head_and_piece, HOME, stock=[STOCK, Stock(foam=foam("hr 40"), sheets_mm=(6, 10))],
        layouts={"ring and crown": LAYOUTS["ring and crown"]}, squeezes=(0.05, 0.2),
    )  # fmt: skip


@pytest.fixture(scope="module")
def rows(head_and_piece, options):
    return compare_options(*head_and_piece, HOME, options=options, weighing=weight(800.0))


def test_stock_makes_single_sheets_and_pairs():
    assert STOCK.thicknesses_mm() == (6, 10, 12, 16, 20)
    assert STOCK.layers_mm(16) == (6, 10)
    with pytest.raises(BriefError, match="6, 10, 12, 16, 20 mm can"):
        STOCK.layers_mm(14)


def test_pads_are_cut_to_the_gap_and_the_squeeze(options):
    # a gap of 15 mm: 16 mm is nearest to 15/0.95 = 15.8, 20 mm to 15/0.8 = 18.75
    by_squeeze = [[pad.thickness_mm for pad in option.pads] for option in options[:2]]
    assert by_squeeze == [[16] * 5, [20] * 5]
    assert options[0].sheets_mm == ((6, 10),) * 5


def test_the_quick_comparison_agrees_with_the_exact_settling(head_and_piece, options, rows):
    exact = pad_out(*head_and_piece, HOME, pads=options[1].pads, weighing=weight(800.0),
                    cases=COMPARED)  # fmt: skip
    assert rows[1].holds
    assert rows[1].peak_kpa == pytest.approx(exact.peak_kpa, rel=0.1)
    wobble = max(exact.settled["upright"].wobble_deg_per_nm.values())
    assert rows[1].wobble_deg_per_nm == pytest.approx(wobble, rel=0.15)
    margin = min(one.slip_margin for one in exact.settled.values())
    assert rows[1].slip_margin == pytest.approx(margin, abs=0.05)
    shift = exact.settled["upright"].eye_line_shift_mm
    assert rows[1].eye_line_mm == pytest.approx(np.hypot(shift[0], shift[2]), abs=0.3)


def test_sheet_and_weight_follow_from_area_and_layers(rows):
    row = rows[0]
    area = row.sheet_mm2 / 2  # two sheets thick
    assert row.weight_g == pytest.approx(area * 16 * 50e-6, rel=1e-9)


def test_progress_counts_up_to_the_number_of_options(head_and_piece, options):
    seen = []
    compare_options(
        *head_and_piece, HOME, options=options[:2], weighing=weight(800.0),
        progress=lambda done, whole: seen.append((done, whole)),
    )  # fmt: skip
    assert seen == [(1, 2), (2, 2)]


@pytest.mark.parametrize("threads", [1, 3])
def test_rows_do_not_depend_on_how_they_are_shared_out(
    head_and_piece, options, rows, threads
):
    shared = compare_options(
        *head_and_piece, HOME, options=options, weighing=weight(800.0), threads=threads
    )
    for one, other in zip(shared, rows, strict=True):
        assert one.option is other.option
        assert one.costs() == pytest.approx(other.costs(), rel=5e-3, abs=5e-3)


def test_many_at_once_settle_as_each_does_alone(head_and_piece, options, rows, monkeypatch):
    # no looks at the forces: every set is left to the descent of the energy
    monkeypatch.setattr(_settle_many, "LOOKS", 1)
    # pads that are hardly squeezed: others creep on with every wriggle
    alone = compare_options(
        *head_and_piece, HOME, options=options[::2], weighing=weight(800.0)
    )
    for one, other in zip(alone, rows[::2], strict=True):
        assert one.costs() == pytest.approx(other.costs(), rel=5e-3, abs=5e-3)
        assert one.ease_left_mm == pytest.approx(other.ease_left_mm, abs=0.02)


def row_of(name, **figures):
    given = {
        "peak_kpa": 3.0, "slip_margin": 0.5, "wobble_deg_per_nm": 2.0, "eye_line_mm": 1.0,
        "ease_left_mm": 5.0, "weight_g": 60.0, "sheet_mm2": 1e5, "holds": True,
        "problem": "", "dominated_by": "", "why": "",
    }  # fmt: skip
    option = PadOption(name=name, pads=(), sheets_mm=())
    return OptionRow(option=option, **{**given, **figures})


def test_an_option_beaten_in_everything_says_by_which_and_in_what():
    rows = [row_of("good"), row_of("hard", peak_kpa=4.0, weight_g=70.0),
            row_of("light", peak_kpa=3.5, weight_g=40.0),
            row_of("loose", peak_kpa=1.0, holds=False)]  # fmt: skip
    got = tuple(pad_options._with_dominance(rows))
    assert [row.dominated_by for row in got] == ["", "good", "", ""]
    assert got[1].why == "no better in anything, and worse in pressure and weight"


def test_a_brief_names_what_is_missed():
    asked = PadBrief(most_peak_kpa=2.0, least_slip_margin=0.6, most_eye_line_mm=None)
    words = [words for words, _ in asked.missed(row_of("a"))]
    assert words == [
        "peak pressure 3 kPa where 2 was asked",
        "slip margin 0.5 where 0.6 was asked",
    ]
    assert PadBrief().missed(row_of("a")) == ()


def test_the_suggestion_presses_least_of_those_that_meet_the_brief(
    head_and_piece, options, rows
):
    got = suggest(*head_and_piece, HOME, options=options, weighing=weight(800.0),
                  brief=PadBrief(least_slip_margin=0.0))  # fmt: skip
    assert got.option is not None
    assert got.missed == ()
    best = min(row.peak_kpa for row in rows if row.holds and row.slip_margin > 0.05)
    assert got.row.peak_kpa == pytest.approx(best, rel=0.1)


def test_a_brief_that_cannot_be_met_says_which_demand(head_and_piece, options):
    got = suggest(*head_and_piece, HOME, options=options, weighing=weight(800.0),
                  brief=PadBrief(most_peak_kpa=0.2, least_slip_margin=0))  # fmt: skip
    assert got.option is None
    assert any("peak pressure" in words for words in got.missed)


def test_an_option_that_cannot_be_worn_stops_no_other(head_and_piece, options):
    thin = make_options(
        *head_and_piece, HOME, stock=[Stock(foam=foam("hr 40"), sheets_mm=(3,),
        most_layers=1)], layouts={"ring": LAYOUTS["ring"]}, squeezes=(0.1,),
    )  # fmt: skip
    got = compare_options(*head_and_piece, HOME, options=(*thin, options[0]),
                          weighing=weight(800.0))  # fmt: skip
    assert "No pad touches the head" in got[0].problem
    assert np.isnan(got[0].peak_kpa)
    assert got[1].holds


def test_pressures_in_mmhg_are_refused():
    with pytest.raises(BriefError, match="1 kPa is 7"):
        PadBrief(most_peak_kpa=70)
