"""Number boxes: what typed numbers mean, and the placement they describe."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitkit.fit.placement import Placement
from fitkit.panels.boxes import BOXES, PLACING, box_value, numbers_of, placement_of


@pytest.mark.parametrize(
    ("name", "typed", "value"),
    [
        ("front_mm", "12", 12.0),
        ("front_mm", "-3,5 mm", -3.5),
        ("front_mm", "−3.5", -3.5),
        ("pitch_deg", "4°", 4.0),
        ("pitch_deg", "4 deg", 4.0),
        ("size_percent", "104,5 %", 104.5),
        ("size_percent", 99, 99.0),
    ],
)
def test_numbers_are_understood_as_a_maker_writes_them(name, typed, value):
    assert box_value(name, typed) == (value, "")


def test_a_factor_typed_for_a_percentage_is_told():
    value, problem = box_value("size_percent", "1.04")
    assert value is None
    assert problem == (
        "Size must be 50 to 200 %; got 1.04. That reads like a factor: did you mean 104 %?"
    )


def test_a_number_out_of_range_names_box_range_and_unit():
    assert box_value("pitch_deg", 400.0)[1] == (
        "Pitch must be -90 to 90 deg; got 400.0. Write a number of -90 to 90 deg."
    )


@pytest.mark.parametrize("typed", ["", "12.x", "nan", "inf", "1e999", "--3", "mm"])
def test_what_is_no_number_is_refused_with_the_name_of_the_box(typed):
    value, problem = box_value("front_mm", typed)
    assert value is None
    assert problem.startswith("Front must be")


def test_every_slider_lies_within_what_its_box_accepts():
    for box in BOXES.values():
        assert box.low <= box.slider_low < box.slider_high <= box.high
        assert box.slider_low <= box.start <= box.slider_high
        assert box_value(box.name, box.start) == (box.start, "")


factors = st.floats(0.76, 1.3)
shifts = st.floats(-100, 100)
angles = st.floats(-60, 60)


@given(st.tuples(factors, factors, factors), st.tuples(shifts, shifts, shifts),
       st.tuples(angles, angles, angles))  # fmt: skip
def test_a_placement_comes_back_from_the_boxes(size, shift, turn):
    pitch, yaw, roll = turn
    before = Placement(
        size=size, shift_mm=shift, pitch_deg=pitch, yaw_deg=yaw, roll_deg=roll
    )
    numbers = numbers_of(before)
    assert set(numbers) == set(PLACING)
    np.testing.assert_allclose(placement_of(numbers).matrix, before.matrix, atol=1e-9)


def test_a_uniform_size_stays_uniform_through_the_boxes():
    assert placement_of(numbers_of(Placement(size=1.0837))).is_uniform
