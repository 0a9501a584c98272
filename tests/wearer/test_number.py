import math

import numpy as np
import pytest

from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.number import number_problem
from fitkit.wearer.survey import population, usual_mm


def problem(key, got):
    entry = CATALOGUE[key]
    return number_problem(key, got, low=entry.low, high=entry.high, usual=usual_mm(key)[0])


@pytest.mark.parametrize("key", SURVEY_KEYS)
@pytest.mark.parametrize(
    ("unit", "mm"),
    [("centimetres", 10), ("inches", 25.4), ("tenths", 0.1), ("metres", 1000)],
)
def test_the_usual_value_in_another_unit_is_named_and_mended(key, unit, mm):
    usual = float(population("male").mean_mm[SURVEY_KEYS.index(key)])
    message, mended = problem(key, usual / mm)
    assert unit in message
    assert mended == pytest.approx(usual, abs=0.06)


def test_the_message_names_range_unit_slip_and_cure():
    assert problem("head_length_mm", 19.95) == (
        "head_length_mm must be 140 to 250 mm; got 19.95. That reads like centimetres: "
        "did you mean 199.5 mm?",
        199.5,
    )


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("57.4 cm", 574),
        ("57,4cm", 574),
        ("574 mm", 574),
        ("22.6 in", 574),
        ('22.6"', 574),
        ("574", 574),
        ("0.574 m", 574),
    ],
)
def test_a_number_with_its_unit_is_refused_with_the_plain_number(text, mm):
    message, mended = problem("head_circumference_mm", text)
    assert "must be a number, in mm" in message
    assert mended == pytest.approx(mm, abs=0.1)
    assert message.endswith(f"Write {mended:g}.")


@pytest.mark.parametrize(
    "got", [True, None, "long", "57.4 ells", [574], {"mm": 574}, 3 + 4j]
)
def test_what_is_no_number_is_refused_with_the_range(got):
    message, mended = problem("head_circumference_mm", got)
    assert "Write a plain number of 470 to 700." in message
    assert mended is None


@pytest.mark.parametrize("got", [math.nan, math.inf, -math.inf, 10**400, np.nan])
def test_what_is_not_finite_is_refused(got):
    message, mended = problem("head_circumference_mm", got)
    assert "Leave a reading out" in message
    assert mended is None
    assert len(message) < 200


@pytest.mark.parametrize("got", [470, 700, 574.25, np.float64(574), np.int64(574)])
def test_a_number_in_range_is_taken_ends_included(got):
    assert problem("head_circumference_mm", got) is None


def test_no_unit_is_guessed_for_what_no_unit_explains():
    message, mended = problem("head_circumference_mm", 333)
    assert mended is None
    assert "Take the reading again." in message
