import numpy as np
import pytest
from scipy.stats import chi2, norm

from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.oddity import ODD_P, foretell, odd_reading
from fitkit.wearer.record import Reading, Record, make_record
from fitkit.wearer.survey import population

GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]
USUAL = dict(zip(SURVEY_KEYS, population("male").mean_mm.round(1).tolist(), strict=True))


def as_read(sex, readings):
    """Return a record without the checks of ``make_record``."""
    return Record(
        name="Ada",
        sex=sex,
        readings={k: Reading(values_mm=(float(v),)) for k, v in readings.items()},
        hair_mm={},
        tape_hair_mm=None,
        glasses=None,
        notes="",
    )


def test_each_single_slip_among_good_readings_is_found_and_named():
    people = population("male")
    precision = np.linalg.inv(people.covariance)
    for i, key in enumerate(SURVEY_KEYS):
        wrong = {**USUAL, key: USUAL[key] - 5.5 / np.sqrt(precision[i, i])}
        odd = odd_reading(as_read("male", wrong))
        assert odd is not None, key
        assert odd.key == key
        assert odd.got_mm == pytest.approx(wrong[key])
        sd = np.sqrt(people.covariance[i, i])
        assert odd.expected_mm == pytest.approx(USUAL[key], abs=0.3 * sd)


def test_the_distance_is_that_of_mahalanobis_with_its_chi_square():
    # Two normal measures in closed form, reading error included.
    readings = {LENGTH: 230.0, BREADTH: 135.0}
    people, error = population("male"), CATALOGUE[LENGTH].repeat_sd ** 2
    miss = np.array(list(readings.values())) - people.mean_mm[1:3]
    cov = people.covariance[1:3, 1:3] + error * np.eye(2)
    square = miss @ np.linalg.inv(cov) @ miss
    odd = odd_reading(as_read("male", readings))
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
    people_drawn = [dict(zip(SURVEY_KEYS, row, strict=True)) for row in work]
    found = sum(odd_reading(as_read("female", drawn)) is not None for drawn in people_drawn)
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
