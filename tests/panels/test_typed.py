"""Boxes of the record form: what typed text means, and which slips are told."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fitkit.errors import FitkitError
from fitkit.panels.typed import (
    GLASSES_BOXES,
    HAIR_BOXES,
    TypedRecord,
    box_text,
    check_typed,
    split_repeats,
    typed_from_record,
    with_box,
)
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import make_record


def typed_in(**boxes: str) -> TypedRecord:
    typed = TypedRecord()
    for box, text in boxes.items():
        typed = with_box(typed, box, text)
    return typed


def slips_of(typed: TypedRecord, box: str):
    return [slip for slip in check_typed(typed).slips if slip.key == box]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("558", [558.0]),
        ("557 559 558", [557.0, 559.0, 558.0]),
        ("557;559", [557.0, 559.0]),
        ("557, 559", [557.0, 559.0]),
        ("557,559", [557.0, 559.0]),
        ("557,5", [557.5]),
        ("557,5 558,5", [557.5, 558.5]),
        ("55,8 cm", ["55,8cm"]),
        ("  ", []),
    ],
)
def test_repeats_are_parted_as_a_maker_writes_them(text, expected):
    assert split_repeats("head_circumference_mm", text) == expected


@pytest.mark.parametrize(
    ("text", "mended_mm"),
    [("55.8", 558.0), ("22", 558.8), ("0.558", 558.0), ("5580", 558.0), ("58 cm", 580.0)],
)
def test_a_slip_of_unit_is_refused_and_mended(text, mended_mm):
    checked = check_typed(typed_in(head_circumference_mm=text))
    assert checked.record is None
    (slip,) = checked.slips
    assert slip.key == "head_circumference_mm"
    assert slip.mended_mm == pytest.approx(mended_mm)


def test_a_reading_that_contradicts_the_others_is_doubted_but_usable():
    typed = typed_in(
        head_circumference_mm="560", head_length_mm="190", bitragion_chin_arc_mm="400"
    )
    checked = check_typed(typed)
    assert checked.record is not None
    assert [slip.severity for slip in slips_of(typed, "bitragion_chin_arc_mm")] == ["doubt"]


def test_swapped_length_and_breadth_refuse_the_record():
    typed = typed_in(head_length_mm="150", head_breadth_mm="190")
    assert check_typed(typed).record is None
    assert any(slip.severity == "refuse" for slip in slips_of(typed, "head_breadth_mm"))


def test_one_wrong_box_leaves_the_means_of_the_others():
    checked = check_typed(typed_in(head_length_mm="190 192", head_breadth_mm="abc"))
    assert checked.record is None
    assert checked.means["head_length_mm"] == pytest.approx((191.0, 2**0.5))
    assert "head_breadth_mm" not in checked.means


def test_an_empty_form_says_where_to_start():
    checked = check_typed(TypedRecord())
    assert checked.record is None
    assert "head circumference" in checked.slips[0].message


def test_glasses_half_given_say_what_is_missing():
    typed = typed_in(head_length_mm="190", glasses_width_mm="140")
    (slip,) = slips_of(typed, "glasses_width_mm")
    assert "depth_mm, height_mm" in slip.message


def test_every_box_keeps_what_is_typed_and_lets_it_be_cleared():
    plain = ("name", "sex", "age_years", "notes", "tape_hair_mm")
    for box in (*plain, *CATALOGUE, *HAIR_BOXES, *GLASSES_BOXES):
        typed = with_box(TypedRecord(), box, "7")
        assert box_text(typed, box) == "7"
        assert box_text(with_box(typed, box, ""), box) == ""


def test_an_unknown_box_is_refused():
    with pytest.raises(FitkitError, match="no box 'shoe_size'"):
        with_box(TypedRecord(), "shoe_size", "39")


FULL = make_record(
    name="Ada",
    sex="female",
    age_years=44,
    head_circumference_mm=[560, 561.5],
    head_length_mm=191,
    hair_mm={"crown": 4.5},
    tape_hair_mm=1,
    glasses={"width_mm": 140, "depth_mm": 18, "height_mm": 40},
    notes="left ear pierced",
    unknown={"shoe_size": 39},
)


def test_a_record_comes_back_from_the_form_as_it_went_in():
    assert check_typed(typed_from_record(FULL)).record == FULL


@example("head_circumference_mm", ";")
@given(st.sampled_from([*CATALOGUE, *HAIR_BOXES, "age_years"]), st.text(max_size=30))
def test_nothing_that_can_be_typed_breaks_the_form(box, text):
    checked = check_typed(with_box(typed_from_record(FULL), box, text))
    refused = any(slip.severity == "refuse" for slip in checked.slips)
    assert (checked.record is None) == refused
