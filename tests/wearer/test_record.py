import math
import pickle
from statistics import fmean

import numpy as np
import pytest

from fitkit.errors import MeasureError, RecordError
from fitkit.wearer.record import HAIR_ZONES, Glasses, Reading, make_record
from fitkit.wearer.zones import SCALP_ZONES, ZONES


def test_repeats_are_kept_and_averaged():
    reading = make_record(head_circumference_mm=[574, 576, 575.5]).readings[
        "head_circumference_mm"
    ]
    assert reading.values_mm == (574, 576, 575.5)
    assert reading.mean_mm == pytest.approx(fmean([574, 576, 575.5]))


def test_scatter_of_a_pair_is_the_technical_error_of_measurement():
    # TEM = sqrt(sum of squared differences / 2N), the anthropometrist's definition
    # ("Anthropometry, Apparel Sizing and Design", 2014, p. 38); one pair here.
    a, b = 574.0, 577.0
    assert Reading(values_mm=(a, b)).scatter_mm == pytest.approx(
        math.sqrt((a - b) ** 2 / 2)
    )


def test_one_reading_has_no_scatter():
    assert Reading(values_mm=(574.0,)).scatter_mm is None


def test_nothing_needs_to_be_given():
    record = make_record()
    assert record.readings == {}
    assert record.sex is None
    assert record.glasses is None


def test_a_reading_left_as_none_was_not_taken():
    assert make_record(head_length_mm=None).readings == {}


@pytest.mark.parametrize("repeats", [(190, 191), [190, 191], np.array([190.0, 191.0])])
def test_repeats_may_come_as_tuple_list_or_array(repeats):
    assert make_record(head_length_mm=repeats).readings["head_length_mm"].mean_mm == 190.5


def test_readings_come_in_the_order_of_the_catalogue():
    record = make_record(head_length_mm=190, head_circumference_mm=570)
    assert list(record.readings) == ["head_circumference_mm", "head_length_mm"]


def test_an_unknown_name_is_refused_with_the_nearest():
    with pytest.raises(RecordError, match="Did you mean 'head_breadth_mm'"):
        make_record(head_bredth_mm=150)


def test_every_problem_is_told_at_once():
    with pytest.raises(MeasureError) as caught:
        make_record(head_length_mm=19.9, head_breadth_mm="15 cm", sex="F", hair_mm=-3)
    lines = str(caught.value).split("\n")
    assert [line.split()[0] for line in lines[:3]] == [
        "sex",
        "head_length_mm",
        "head_breadth_mm",
    ]
    assert all(line.startswith("hair_") for line in lines[3:])


def test_the_wrong_repeat_is_named():
    with pytest.raises(
        MeasureError, match=r"head_length_mm \(repeat 2\) must be 140 to 250"
    ):
        make_record(head_length_mm=[190, 19.0])


@pytest.mark.parametrize("repeats", [[], [190] * 101])
def test_the_number_of_repeats_is_bounded(repeats):
    with pytest.raises(MeasureError, match="must have 1 to 100 repeats"):
        make_record(head_length_mm=repeats)


@pytest.mark.parametrize(
    ("got", "meant"),
    [("F", "female"), ("woman", "female"), ("Male", "male"), ("M", "male")],
)
def test_sex_in_other_words_is_refused_with_the_right_one(got, meant):
    with pytest.raises(MeasureError, match=f"Did you mean '{meant}'"):
        make_record(sex=got)


@pytest.mark.parametrize("got", ["x", 1, True, ["female"]])
def test_sex_that_means_nothing_here_may_be_left_out(got):
    with pytest.raises(MeasureError, match="Leave it out"):
        make_record(sex=got)


def test_one_number_for_hair_covers_the_scalp():
    assert make_record(hair_mm=12).hair_mm == dict.fromkeys(SCALP_ZONES, 12.0)


def test_hair_may_grow_anywhere_but_on_eyes_and_nose():
    assert set(ZONES) - set(HAIR_ZONES) == {"eye_left", "eye_right", "nose"}
    record = make_record(hair_mm=dict.fromkeys(HAIR_ZONES, 3))
    assert set(record.hair_mm) == set(HAIR_ZONES)


@pytest.mark.parametrize(
    ("zone", "meant"), [("left_temple", "temple_left"), ("temple_rigth", "temple_right")]
)
def test_an_unknown_zone_is_refused_with_the_nearest(zone, meant):
    with pytest.raises(RecordError, match=f"Did you mean '{meant}'"):
        make_record(hair_mm={zone: 5})


@pytest.mark.parametrize(
    ("field", "low", "high"), [("tape_hair_mm", 0, 30), ("age_years", 0, 120)]
)
def test_hair_under_the_tape_and_age_have_a_range(field, low, high):
    assert getattr(make_record(**{field: low}), field) == low
    assert getattr(make_record(**{field: high}), field) == high
    for wrong in (low - 1, high + 1, float("nan"), True, "3"):
        with pytest.raises(MeasureError, match=f"{field} must be"):
            make_record(**{field: wrong})


def test_glasses_come_as_names_or_as_themselves():
    sizes = {"width_mm": 140, "depth_mm": 18, "height_mm": 42}
    record = make_record(glasses=sizes)
    assert record.glasses == Glasses(width_mm=140, depth_mm=18, height_mm=42)
    assert make_record(glasses=record.glasses).glasses == record.glasses


def test_half_a_pair_of_glasses_is_refused():
    with pytest.raises(MeasureError, match="glasses needs depth_mm, height_mm too"):
        make_record(glasses={"width_mm": 140})


def test_glasses_in_centimetres_are_refused_with_the_cure():
    with pytest.raises(MeasureError, match=r"glasses_width_mm.*did you mean 140 mm"):
        make_record(glasses={"width_mm": 14, "depth_mm": 18, "height_mm": 42})


@pytest.mark.parametrize("got", [3, "round", [140, 18, 42]])
def test_glasses_without_names_are_refused(got):
    with pytest.raises(MeasureError, match="glasses must be width_mm, depth_mm, height_mm"):
        make_record(glasses=got)


@pytest.mark.parametrize("name", [None, 3, "x" * 20_001])
def test_a_name_is_a_bounded_text(name):
    with pytest.raises(MeasureError, match="name must be a text"):
        make_record(name=name)


def test_a_record_that_contradicts_itself_is_refused():
    with pytest.raises(MeasureError, match="Were they swapped"):
        make_record(head_length_mm=150, head_breadth_mm=190)


def test_a_record_survives_being_sent_to_another_process():
    record = make_record(head_length_mm=[190, 191], hair_mm=5, unknown={"shoe": 39})
    assert pickle.loads(pickle.dumps(record)) == record
