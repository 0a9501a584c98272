"""All of padding in one call, on a round head: what is assumed is said."""

from __future__ import annotations

import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.errors import BriefError
from fitkit.fit import padding_report as rooms
from fitkit.fit.foam import foam
from fitkit.fit.pad_options import PadBrief
from fitkit.fit.pad_stock import LAYOUTS, Stock
from fitkit.fit.padding import CASES
from fitkit.fit.padding_report import padding_report, usual_stock
from fitkit.fit.pads import Pad
from fitkit.fit.placement import Placement

HOME = Placement()
RING = {"ring and crown": LAYOUTS["ring and crown"]}
SHELF = [Stock(foam=foam("hr 40"), sheets_mm=(6, 10))]


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


@pytest.fixture(scope="module")
def chosen(head_and_piece):
    return padding_report(
        *head_and_piece, HOME, weighing=weight(500.0), layouts=RING,
        brief=PadBrief(most_eye_line_mm=8.0),
    )  # fmt: skip


def test_pads_are_chosen_from_the_usual_stock_and_that_is_said(chosen):
    assert "No pads were given" in chosen.assumed[0]
    assert f"from {len(chosen.rows)} sets" in chosen.assumed[0]
    for pad in chosen.padding.pads:
        assert f"{pad.name} {pad.thickness_mm:g} mm" in chosen.assumed[0]
    assert chosen.option.pads == chosen.padding.pads
    stock = {one.foam.name: one.thicknesses_mm() for one in usual_stock()}
    for pad in chosen.padding.pads:
        assert pad.thickness_mm in stock[pad.foam.name]


def test_the_answer_is_that_of_the_settled_cases(chosen):
    settled = chosen.padding.settled
    assert set(settled) == {case.name for case in CASES}
    least = min(one.slip_margin for one in settled.values())
    assert chosen.padding.holds
    assert chosen.missed == ()
    assert f"{100 * least:.0f} % of the friction" in chosen.words[0]
    assert f"{chosen.padding.peak_kpa:.1f} kPa" in chosen.words[1]
    assert chosen.doubt.peak_kpa.value == pytest.approx(chosen.padding.peak_kpa)
    assert chosen.doubt.words[0] in chosen.words
    for pad in chosen.padding.pads:
        assert any(one.name.startswith(pad.name) for one in chosen.patterns)


def test_pads_are_taken_as_given_and_densities_that_nobody_gave_are_said(
    head_and_piece, monkeypatch
):
    taken = weight(800.0), ("No densities were given.",)
    monkeypatch.setattr(rooms, "weighed_piece", lambda *_, **__: taken)
    pads = ring_of_pads()
    got = padding_report(*head_and_piece, HOME, pads=pads)
    assert got.rows == ()
    assert got.option is None
    assert got.assumed == ("No densities were given.",)
    assert list(got.padding.pads) == pads


def test_a_pad_that_cannot_be_laid_flat_costs_its_pattern_only(head_and_piece):
    crumb = Pad(name="crumb", foam=foam("hr 40"), thickness_mm=20, centre_mm=(60, 60, 0),
                radius_mm=3)  # fmt: skip
    pads = [*ring_of_pads(), crumb]
    patterns, uncut = rooms._patterns(*head_and_piece, HOME, pads, 40.0)
    assert [one.name for one in patterns] == [pad.name for pad in ring_of_pads()]
    assert uncut == ("crumb has no piece over 100 mm²: too small to cut.",)


def test_a_brief_that_cannot_be_met_is_said_first(head_and_piece):
    got = padding_report(
        *head_and_piece, HOME, weighing=weight(500.0), layouts=RING, stock=SHELF,
        brief=PadBrief(most_peak_kpa=0.2),
    )  # fmt: skip
    assert any("peak pressure" in words for words in got.missed)
    assert got.words[0].startswith("No set meets all that was asked")


def test_stock_of_which_nothing_reaches_the_head_is_named_with_its_cure(head_and_piece):
    thin = [Stock(foam=foam("hr 40"), sheets_mm=(3,), most_layers=1)]
    with pytest.raises(
        BriefError, match=r"No pad set of this stock can be worn\. .* at least"
    ):
        padding_report(*head_and_piece, HOME, weighing=weight(500.0), layouts=RING,
                       stock=thin)  # fmt: skip


def test_nothing_is_called_safe(chosen):
    said = " ".join((*chosen.words, *chosen.cautions, *chosen.assumed))
    assert "safe" not in said
    assert "a guide to comfort" in said
