import csv
from pathlib import Path

import numpy as np
import pytest

from fitkit.errors import MeasureError
from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.record import Reading, Record, make_record
from fitkit.wearer.slips import check_record, ellipse_mm, refusals
from fitkit.wearer.survey import population

GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]
USUAL = dict(zip(SURVEY_KEYS, population("male").mean_mm.round(1).tolist(), strict=True))


def doubts():
    path = Path(__file__).parents[1] / "reference" / "survey_doubts.csv"
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def unchecked(**readings):
    """Return a record without the checks of ``make_record``."""
    return Record(
        name="Ada",
        sex=None,
        readings={k: Reading(values_mm=(float(v),)) for k, v in readings.items()},
        hair_mm={},
        tape_hair_mm=None,
        glasses=None,
        notes="",
    )


def slips(**given):
    return {slip.key: slip for slip in check_record(make_record(**given))}


def test_an_ordinary_person_raises_no_doubt():
    assert check_record(make_record(sex="male", **USUAL)) == ()


def test_readings_out_of_range_refuse_a_record_made_by_hand():
    (slip,) = check_record(unchecked(head_length_mm=19.95))
    assert (slip.key, slip.severity, slip.mended_mm) == (LENGTH, "refuse", 199.5)
    assert "That reads like centimetres: did you mean 199.5 mm?" in slip.message


def test_refusals_come_before_doubts():
    record = unchecked(head_length_mm=160, head_breadth_mm=190, mouth_opening_mm=79)
    assert [s.severity for s in check_record(record)][:2] == ["refuse", "doubt"]
    assert [s.key for s in refusals(record)] == [BREADTH]


@pytest.mark.parametrize("row", doubts(), ids=lambda r: f"{r['sex']}-{r['readings_given']}")
def test_real_people_are_hardly_ever_doubted_and_never_refused(row):
    assert float(row["doubted_percent"]) < 1
    assert float(row["refused_percent"]) == 0


# --- repeats


def test_repeats_within_their_error_raise_no_doubt():
    assert slips(head_circumference_mm=[572, 576, 574]) == {}


def test_repeats_beyond_their_error_are_doubted_with_their_spread():
    slip = slips(head_length_mm=[190, 196])[LENGTH]
    assert slip.severity == "doubt"
    assert "6 mm apart (190, 196), where 1 mm is their usual SD" in slip.message


def test_repeats_far_apart_refuse_the_record():
    with pytest.raises(MeasureError, match="18 mm apart"):
        make_record(head_length_mm=[190, 208])


@pytest.mark.parametrize("values", [[574, 547], [547, 574], [574, 575, 547]])
def test_swapped_digits_in_a_repeat_are_recognised(values):
    (slip,) = [s for s in check_record(_repeated(values)) if s.key == GIRTH]
    assert "have two digits swapped" in slip.message
    assert slip.severity == "refuse"
    assert slip.mended_mm in ((574,) if len(values) == 3 else (574, 547))


def _repeated(values):
    record = unchecked()
    reading = Reading(values_mm=tuple(float(v) for v in values))
    return Record(**{**vars(record), "readings": {GIRTH: reading}})


def test_one_in_a_thousand_pairs_of_honest_repeats_is_doubted():
    rng = np.random.default_rng(8)
    sd = CATALOGUE[GIRTH].repeat_sd
    pairs = 574 + rng.normal(0, sd, size=(20_000, 2))
    doubted = sum(bool(check_record(_repeated(pair))) for pair in pairs)
    assert 5 <= doubted <= 40  # 20 expected, 4.5 its SD


# --- swapped


@pytest.mark.parametrize(
    ("larger", "smaller", "a", "b"),
    [
        (LENGTH, BREADTH, 195, 152),
        ("ear_length_mm", "ear_breadth_mm", 52, 40),
        ("neck_base_circumference_mm", "neck_circumference_mm", 430, 395),
    ],
)
def test_swapped_measures_are_refused_with_both_values(larger, smaller, a, b):
    with pytest.raises(MeasureError) as caught:
        make_record(**{larger: b, smaller: a})
    assert f"Were they swapped: {larger} {a}, {smaller} {b}?" in str(caught.value)


def test_a_head_hardly_broader_than_long_is_doubted_not_refused():
    slip = slips(head_length_mm=168, head_breadth_mm=170)[BREADTH]
    assert slip.severity == "doubt"
    assert slip.mended_mm == 168


# --- girth


def test_ellipse_perimeter_matches_the_tabulated_elliptic_integral():
    # Abramowitz & Stegun, table 17.1: E(m = 0.50) = 1.35064 3881.
    got = ellipse_mm(length_mm=200.0, breadth_mm=200.0 * np.sqrt(0.5))
    assert got == pytest.approx(2 * 200 * 1.350643881, abs=1e-6)
    assert ellipse_mm(length_mm=100, breadth_mm=200) == ellipse_mm(
        length_mm=200, breadth_mm=100
    )


def test_a_girth_that_cannot_go_round_the_head_is_refused():
    # No convex line through all four sides of a box is shorter than twice its diagonal.
    with pytest.raises(MeasureError, match="at least 502 mm to go round a head 199 long"):
        make_record(head_circumference_mm=495, head_length_mm=199, head_breadth_mm=153)


def test_a_girth_shorter_than_the_ellipse_is_doubted_as_a_slipped_tape():
    slip = slips(head_circumference_mm=535, head_length_mm=199, head_breadth_mm=153)[GIRTH]
    assert slip.severity == "doubt"
    assert "Did the tape slip up or run askew?" in slip.message


def test_a_girth_too_long_is_doubted_as_taken_over_hair():
    slip = slips(
        sex="male", head_circumference_mm=606, head_length_mm=199, head_breadth_mm=154
    )[GIRTH]
    assert slip.severity == "doubt"
    assert "thick or pinned-up hair" in slip.message
    assert "tape_hair_mm" in slip.message


# --- the rest


def test_readings_beyond_everyone_in_the_survey_are_doubted():
    slip = slips(sex="male", head_circumference_mm=640)[GIRTH]
    assert "within 516 to 633 mm" in slip.message


def test_a_measure_outside_the_survey_is_held_to_the_literature():
    slip = slips(sex="female", bigonial_breadth_mm=150)["bigonial_breadth_mm"]
    assert "far from the usual 109 mm (SD 9)" in slip.message


def test_places_from_the_tragion_must_add_up_to_the_face_and_the_head():
    found = slips(
        sex="male",
        menton_sellion_mm=123,
        head_length_mm=199,
        menton_height_mm=120,
        sellion_height_mm=22,
        menton_depth_mm=83,
        sellion_depth_mm=95,
        back_of_head_depth_mm=75,
    )
    assert "make it 143 mm" in found["menton_sellion_mm"].message
    assert "make it 170 mm" in found[LENGTH].message


@pytest.mark.parametrize(
    ("hair", "words"),
    [
        ({"temple_left": 20}, "has temple_left but no temple_right"),
        ({"cheek_right": 9}, "has cheek_right but no cheek_left"),
        ({"temple_left": 3, "temple_right": 25}, "Were they swapped or misread?"),
    ],
)
def test_hair_unlike_on_the_two_sides_is_doubted_saying_whose_left_is_meant(hair, words):
    slip = slips(hair_mm=hair)["hair_mm"]
    assert words in slip.message
    assert "the wearer's own" in slip.message


def test_hair_alike_on_both_sides_raises_no_doubt():
    assert slips(hair_mm=20) == {}


def test_more_hair_under_the_tape_than_beside_it_is_doubted():
    assert "tape_hair_mm" in slips(hair_mm=3, tape_hair_mm=12)
    assert slips(hair_mm=12, tape_hair_mm=5) == {}
    assert slips(tape_hair_mm=12) == {}


@pytest.mark.parametrize(("age", "word"), [(9, "child"), (71, "grow with age")])
def test_an_age_outside_the_survey_is_doubted(age, word):
    slip = slips(age_years=age)["age_years"]
    assert "adults of 17 to 58" in slip.message
    assert word in slip.message


@pytest.mark.parametrize("age", [17, 58])
def test_an_age_within_the_survey_raises_no_doubt(age):
    assert slips(age_years=age) == {}
