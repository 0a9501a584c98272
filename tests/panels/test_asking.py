"""What is asked of the fit, typed into number boxes."""

from __future__ import annotations

import pytest

from fitkit.fit.brief import Brief, Ease, brief_for
from fitkit.panels.asking import ASK_BOXES, ASKED_ZONES, asked_brief, asked_values
from fitkit.panels.boxes import box_value
from fitkit.wearer.zones import ZONES


def test_every_zone_has_one_box_and_pairs_share_theirs():
    assert set(ASKED_ZONES) == {zone.split("_")[0] for zone in ZONES}
    for box in ASK_BOXES.values():
        assert box.low <= box.slider_low < box.slider_high <= box.high


def test_nothing_typed_asks_what_is_usual():
    usual = Brief(ease={"crown": Ease(least_mm=9)}, hinge_tolerance_mm=None)
    assert asked_brief(usual, {}) == (usual, {})


def test_boxes_hold_what_the_brief_asks():
    values = asked_values(Brief(ease={"ear_left": Ease(least_mm=7)}, size_most=1.1))
    assert set(values) == set(ASK_BOXES)
    assert values["ear_least_mm"] == 7.0  # the greater of the two
    assert values["crown_least_mm"] == Brief().ease["crown"].least_mm
    assert values["size_most_percent"] == pytest.approx(110.0)
    for name, value in values.items():
        assert box_value(name, value, ASK_BOXES)[1] == ""


def test_a_typed_box_changes_both_sides_and_nothing_else():
    brief, problems = asked_brief(Brief(), {"temple_least_mm": "11,5", "eye_margin_mm": 3})
    assert problems == {}
    changed = {z for z in ZONES if brief.ease[z] != Brief().ease[z]}
    assert changed == {"temple_left", "temple_right"}
    assert brief.ease["temple_left"].least_mm == 11.5
    assert brief.eye_margin_mm == 3
    assert brief.size_most == Brief().size_most


@pytest.mark.parametrize(
    ("typed", "name", "said"),
    [
        ({"crown_least_mm": "thick"}, "crown_least_mm", "Crown must be a number"),
        ({"crown_least_mm": 60}, "crown_least_mm", "most_mm must be at least least_mm"),
        ({"size_least_percent": 1.1}, "size_least_percent", "did you mean 110 %?"),
        ({"size_least_percent": 130}, "size_least_percent", "size_least must not exceed"),
    ],
)
def test_what_cannot_be_asked_is_told_at_its_box(typed, name, said):
    brief, problems = asked_brief(Brief(), typed)
    assert brief == Brief()
    assert set(problems) == {name}
    assert said in problems[name]


def test_asking_for_more_changes_verdict_and_asked_figures(session):
    before = session.edit(size_percent=102.0)
    least = before.answer.ease.by_zone["crown"].least_mm
    after = session.edit(crown_least_mm=least + 5.0)
    crown = after.answer.ease.by_zone["crown"]
    assert crown.least_mm == least
    assert crown.short_mm == pytest.approx(5.0)
    assert after.answer.verdict == "does not fit"


def test_a_wrong_box_of_the_brief_leaves_no_old_answer(session):
    state = session.edit(crown_least_mm="thick")
    assert "crown_least_mm" in state.problems
    assert state.answer is None


def test_an_empty_box_goes_back_to_the_usual(session):
    session.edit(crown_least_mm=20.0)
    state = session.edit(crown_least_mm="")
    assert state.inputs.asked == {}
    assert state.brief == brief_for(state.checked.record)


def test_a_brief_given_in_code_empties_the_boxes(session):
    session.edit(crown_least_mm=20.0)
    state = session.ask(Brief(ease={"back": Ease(least_mm=12)}))
    assert state.inputs.asked == {}
    assert state.brief.ease["crown"].least_mm == Brief().ease["crown"].least_mm


def test_less_room_than_the_glasses_need_can_be_asked_on_purpose(session):
    for name, text in (("width", "140"), ("depth", "20"), ("height", "40")):
        state = session.type_in(f"glasses_{name}_mm", text)
    assert state.brief.ease["eye_left"].least_mm > 20
    state = session.edit(eye_least_mm=15.0)
    assert state.brief.ease["eye_left"].least_mm == 15.0
