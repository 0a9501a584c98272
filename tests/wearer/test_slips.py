import numpy as np
import pytest
from scipy.stats import chi2, norm

from fitkit.errors import MeasureError
from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.oddity import ODD_P, foretell, odd_reading
from fitkit.wearer.record import Reading, Record, make_record
from fitkit.wearer.slips import check_record, ellipse_mm, refusals
from fitkit.wearer.survey import population

GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]
USUAL = dict(zip(SURVEY_KEYS, population("male").mean_mm.round(1).tolist(), strict=True))


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


def test_the_girth_expected_is_the_survey_regression():
    # Least squares on the public rows of NATICK/TR-15/007, men, computed apart from
    # this code: 44.0 + 1.711 length + 1.225 breadth, residual SD 6.2 mm.
    record = make_record(
        sex="male", head_circumference_mm=590, head_length_mm=205, head_breadth_mm=150
    )
    expected, departure = foretell(record, GIRTH, from_keys=(LENGTH, BREADTH))
    assert expected == pytest.approx(44.0 + 1.711 * 205 + 1.225 * 150, abs=1.0)
    sd = np.sqrt(6.2**2 + 2.5**2 + 1.711**2 + 1.225**2)  # with the readings' own errors
    assert departure == pytest.approx((590 - expected) / sd, rel=0.02)


# --- against the others


def test_each_single_slip_among_good_readings_is_found_and_named():
    people = population("male")
    precision = np.linalg.inv(people.covariance)
    for i, key in enumerate(SURVEY_KEYS):
        wrong = {**USUAL, key: USUAL[key] - 5.5 / np.sqrt(precision[i, i])}
        odd = odd_reading(unchecked_man(wrong))
        assert odd is not None, key
        assert odd.key == key
        assert odd.got_mm == pytest.approx(wrong[key])
        sd = np.sqrt(people.covariance[i, i])
        assert odd.expected_mm == pytest.approx(USUAL[key], abs=0.3 * sd)


def unchecked_man(readings):
    return Record(**{**vars(unchecked(**readings)), "sex": "male"})


def test_the_distance_is_that_of_mahalanobis_with_its_chi_square():
    # Two normal measures in closed form, reading error included.
    readings = {LENGTH: 230.0, BREADTH: 135.0}
    people, error = population("male"), CATALOGUE[LENGTH].repeat_sd ** 2
    miss = np.array(list(readings.values())) - people.mean_mm[1:3]
    cov = people.covariance[1:3, 1:3] + error * np.eye(2)
    square = miss @ np.linalg.inv(cov) @ miss
    odd = odd_reading(unchecked_man(readings))
    assert odd.distance == pytest.approx(np.sqrt(square))
    assert odd.p_value == pytest.approx(chi2.sf(square, 2))
    assert odd.departure_p == pytest.approx(
        1 - (1 - 2 * norm.sf(abs(odd.departure_sd))) ** 2
    )


def test_few_people_drawn_from_the_survey_are_called_odd():
    people = population("female")
    mean, cov = people.working
    rng = np.random.default_rng(4)
    work = rng.multivariate_normal(mean, cov, size=4000)
    log = np.isfinite(people.log_origin_mm)
    work[:, log] = people.log_origin_mm[log] + np.exp(work[:, log])
    found = sum(
        odd_reading(
            Record(
                **{
                    **vars(unchecked(**dict(zip(SURVEY_KEYS, row, strict=True)))),
                    "sex": "female",
                }
            )
        )
        is not None
        for row in work
    )
    assert found <= 20  # at most twice one in a thousand: 8 expected, 2.8 its SD


def test_nothing_read_is_not_odd():
    assert odd_reading(make_record()) is None
    assert odd_reading(make_record(mouth_opening_mm=50)) is None


def test_a_lone_reading_far_out_is_odd_by_itself():
    odd = odd_reading(make_record(sex="female", head_circumference_mm=640))
    assert odd.key == GIRTH
    assert odd.expected_mm == pytest.approx(560.7, abs=0.1)
    assert "far from the usual 561 mm" in odd.message


def test_an_unstated_sex_is_given_the_nearer_one():
    record = make_record(neck_circumference_mm=320, head_length_mm=188)
    assert odd_reading(record) is None
    stated = make_record(sex="male", neck_circumference_mm=290, head_length_mm=201)
    assert odd_reading(stated).key == "neck_circumference_mm"


def test_a_stricter_limit_finds_less():
    record = make_record(sex="male", head_length_mm=210, head_breadth_mm=140)
    found = odd_reading(record, p_limit=1.0)
    assert found.chance > ODD_P
    assert odd_reading(record) is None


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
