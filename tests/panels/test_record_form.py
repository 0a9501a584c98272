"""What the record form shows: boxes from the catalogue, slips, figures of repeats."""

from __future__ import annotations

import json

import pytest

from fitkit.panels.record_form import file_name, form_fields, form_message
from fitkit.panels.typed import box_text
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import GLASSES_RANGE_MM, HAIR_ZONES


@pytest.fixture(scope="module")
def fields():
    return form_fields()


def boxes_of(fields):
    return {box["box"]: box for group in fields["groups"] for box in group["boxes"]}


def test_every_measure_has_a_box_that_says_how_to_take_it(fields):
    json.dumps(fields)
    boxes = boxes_of(fields)
    for key, entry in CATALOGUE.items():
        assert boxes[key]["title"] == entry.title
        assert entry.how in boxes[key]["how"]
        assert entry.tool in boxes[key]["tool"]
        assert boxes[key]["range"] == f"{entry.low:g} to {entry.high:g} mm"


def test_hair_and_glasses_have_a_box_each(fields):
    boxes = boxes_of(fields)
    assert {f"hair_{zone}_mm" for zone in HAIR_ZONES} < set(boxes)
    assert {f"glasses_{size}" for size in GLASSES_RANGE_MM} < set(boxes)


def test_form_and_state_speak_of_the_same_boxes(fields, session):
    message = form_message(session.state)
    assert set(boxes_of(fields)) == set(message["boxes"])
    typed = session.state.inputs.typed
    for name, box in message["boxes"].items():
        assert box["text"] == box_text(typed, name)


def test_repeats_show_their_mean_and_scatter(session):
    message = form_message(session.type_in("head_length_mm", "190 192"))
    assert message["boxes"]["head_length_mm"]["note"] == "mean 191.0, scatter 1.4"


def test_a_missing_measure_shows_what_is_likely(session):
    state = session.state
    low, high = state.wearer.completion.interval_mm("ear_length_mm", level=0.90)
    note = form_message(state)["boxes"]["ear_length_mm"]["note"]
    assert note == f"likely {low:.0f} to {high:.0f}"


def test_a_slip_stands_at_its_box_in_the_makers_words_with_its_cure(session):
    message = form_message(session.type_in("head_length_mm", "19.1"))
    (slip,) = message["boxes"]["head_length_mm"]["slips"]
    assert slip == {
        "severity": "refuse",
        "message": "Head length must be 140 to 250 mm; got 19.1. That reads like "
        "centimetres: did you mean 191 mm?",
        "mended": "191",
    }
    assert message["summary"] == "Not usable yet."
    assert not message["usable"]


def test_one_of_several_repeats_is_not_mended_by_replacing_all(session):
    message = form_message(session.type_in("head_length_mm", "19.1 191"))
    (slip,) = message["boxes"]["head_length_mm"]["slips"]
    assert "191 mm?" in slip["message"]
    assert slip["mended"] == ""


def test_an_empty_form_says_where_to_start(session):
    for key in ("head_circumference_mm", "head_length_mm", "head_breadth_mm"):
        state = session.type_in(key, "")
    assert "head circumference" in form_message(state)["general"][0]


def test_doubts_are_counted(session):
    session.type_in("bitragion_chin_arc_mm", "400")
    assert form_message(session.state)["summary"] == "4 readings; 1 to look at again."
    session.type_in("bitragion_chin_arc_mm", "")
    assert form_message(session.state)["summary"] == "3 readings; nothing doubtful."


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("Tamsin", "tamsin.json"),
        ("../../etc", "etc.json"),
        ("", "wearer.json"),
        ("Åse Ø", "åse-ø.json"),
        (".." * 40, "wearer.json"),
    ],
)
def test_a_plain_file_name_is_offered(name, file):
    assert file_name(name) == file
