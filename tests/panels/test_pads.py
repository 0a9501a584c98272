"""Pad sets side by side: what may be asked for, what each gives, when it goes."""

from __future__ import annotations

import pytest

from fitkit.errors import FitkitError
from fitkit.fit.foam import foam
from fitkit.fit.pad_options import COMPARED
from fitkit.fit.pad_stock import LAYOUTS, Stock, make_options
from fitkit.fit.padding import GUIDE_KPA, pad_out
from fitkit.panels.controller import MOST_KEPT
from fitkit.panels.pad_compare import PadComparison, cards_message, pad_fields
from fitkit.panels.pads import pad_card, pad_choice
from fitkit.panels.questions import NO_FIT
from fitkit.piece.mass import Materials, weigh

LONG_S = 600.0
TYPED = {
    "name": "",
    "foam": "hr 40",
    "layout": "ring",
    "squeeze_percent": "20",
    "sheets_mm": "6 10 15",
    "wall_g_cm3": "0,4",
}


def choice(**changes):
    return pad_choice(**{**TYPED, **changes})


@pytest.fixture
def comparison(session):
    session.edit(size_percent=106.0)
    session.keep_pads(choice())
    return PadComparison(session)


# -- what may be asked for ----------------------------------------------------------------


def test_a_set_is_read_as_typed():
    one = choice(sheets_mm=" 15; 6 10 6", squeeze_percent="12,5")
    assert one.sheets_mm == (6.0, 10.0, 15.0)
    assert one.squeeze_percent == 12.5
    assert one.wall_g_cm3 == 0.4
    assert one.name == "hr 40, ring, 12.5 %"


@pytest.mark.parametrize(
    ("box", "text", "said"),
    [
        ("foam", "hr40", "Did you mean 'hr 40'?"),
        ("layout", "rings", "Did you mean 'ring'?"),
        ("squeeze_percent", "200", "Write a number of 0 to 80 %."),
        ("squeeze_percent", "much", "got 'much'"),
        ("sheets_mm", "", "A sheet must be a number"),
        ("sheets_mm", "0.6", "did you mean 15.2 mm?"),
        ("sheets_mm", "3 4 5 6 7 8 9 10 11", "must be 1 to 8 thicknesses"),
        ("sheets_mm", None, "must be 1 to 8 thicknesses"),
        ("wall_g_cm3", "400", "That reads like kg/m³: did you mean 0.4 g/cm³?"),
        ("wall_g_cm3", "nan", "Wall must be"),
    ],
)
def test_what_cannot_be_used_is_told_with_its_cure(box, text, said):
    with pytest.raises(FitkitError) as caught:
        choice(**{box: text})
    assert said in str(caught.value)


def test_every_choice_that_is_offered_can_be_taken():
    fields = pad_fields()
    for name in fields["foams"]:
        assert choice(foam=name, **fields["start"]).foam == name
    for name in fields["layouts"]:
        assert choice(layout=name).layout == name


# -- sets put aside -----------------------------------------------------------------------


def test_sets_are_put_aside_dropped_and_undone(session):
    state = session.keep_pads(choice())
    assert [one.foam for one in state.inputs.pads] == ["hr 40"]
    assert "there already" in session.keep_pads(choice(name="again")).message
    assert session.drop_pads(0).inputs.pads == ()
    assert len(session.undo().inputs.pads) == 1


def test_no_more_sets_are_put_aside_than_can_be_compared(session):
    for squeeze in range(MOST_KEPT + 1):
        state = session.keep_pads(choice(squeeze_percent=10 + squeeze))
    assert len(state.inputs.pads) == MOST_KEPT
    assert "drop one first" in state.message


def test_putting_a_set_aside_keeps_the_answer(session):
    before = session.state.answer
    assert session.keep_pads(choice()).answer is before


# -- what each gives ----------------------------------------------------------------------


def test_a_card_holds_the_librarys_figures(session):
    state = session.edit(size_percent=106.0)
    at = state.wearer, state.piece, state.placement
    card = pad_card(*at, choice())
    stock = Stock(foam=foam("hr 40"), sheets_mm=(6, 10, 15))
    (option,) = make_options(
        *at, stock=[stock], layouts={"ring": LAYOUTS["ring"]}, squeezes=[0.2]
    )
    weighing = weigh(
        state.piece, materials=Materials(wall_g_cm3=0.4), size=state.placement.size
    )
    padding = pad_out(*at, pads=option.pads, weighing=weighing, cases=COMPARED)
    figures = dict(card.figures)
    assert figures["Peak pressure"].startswith(f"{padding.peak_kpa:.1f} kPa")
    assert figures["Weight"].startswith(f"{padding.mass.mass_g:.0f} g")
    assert padding.holds
    assert padding.peak_kpa < GUIDE_KPA
    assert card.good
    assert card.verdict == "It holds"
    assert card.picture.startswith(b"\x89PNG")
    for pad in option.pads:
        parts = figures[pad.name.capitalize()].removesuffix(" mm").split(" + ")
        assert sum(map(float, parts)) == pad.thickness_mm


def test_a_set_that_presses_beyond_the_guide_is_not_called_good(session):
    state = session.edit(size_percent=106.0)
    hard = choice(foam="eva 90")
    card = pad_card(state.wearer, state.piece, state.placement, hard)
    peak = float(dict(card.figures)["Peak pressure"].split(" kPa")[0])
    assert peak > GUIDE_KPA
    assert card.verdict == "It holds, but presses hard"
    assert not card.good


def test_a_set_that_cannot_be_worn_says_why_and_stops_no_other(comparison, session):
    session.edit(size_percent=133.0)
    session.keep_pads(choice(sheets_mm="2", squeeze_percent=0))
    comparison.compare()
    cards = comparison.wait(LONG_S)
    bad = cards[session.state.inputs.pads[1]]
    assert bad.verdict == "It cannot be worn"
    assert bad.cautions
    assert len(cards) == 2


# -- when it goes -------------------------------------------------------------------------


def test_only_what_is_missing_is_worked_out(comparison, session):
    comparison.compare()
    first = comparison.wait(LONG_S)
    session.keep_pads(choice(layout="ring and crown"))
    told = []
    comparison.watch(lambda work: told.append(work.words))
    comparison.compare()
    cards = comparison.wait(LONG_S)
    assert len(cards) == 2
    assert cards[choice()] is first[choice()]
    assert "Set 1 of 1: hr 40, ring and crown, 20 %." in told


def test_cards_go_when_the_fit_is_another_and_stay_while_cuts_move(comparison, session):
    comparison.compare()
    assert comparison.wait(LONG_S)
    session.edit(side_cut_mm=4.0)
    assert comparison.cards
    session.edit(size_percent=107.0)
    assert comparison.cards == {}


def test_a_comparison_that_was_stopped_leaves_what_was_done(comparison, session):
    session.keep_pads(choice(layout="ring and crown"))
    comparison.watch(lambda work: "Set 2" in work.words and comparison.stop())
    comparison.compare()
    assert len(comparison.wait(LONG_S)) == 1
    assert comparison.work.stage == "idle"


def test_without_a_fit_nothing_is_compared(comparison, session):
    session.edit(size_percent="x")
    assert comparison.compare() == NO_FIT


def test_the_browser_is_told_of_every_set_also_before_it_is_compared(comparison, session):
    (card,) = cards_message(session.state, {})["cards"]
    assert (card["verdict"], card["known"], card["picture"]) == (
        "Not compared yet",
        False,
        b"",
    )
    comparison.compare()
    (card,) = cards_message(session.state, comparison.wait(LONG_S))["cards"]
    assert card["known"]
    assert card["picture"]
