"""Trial fittings in a record: kept beside the readings, refused when they cannot be."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from fitkit.errors import MeasureError, RecordError
from fitkit.wearer.record import make_record
from fitkit.wearer.record_files import (
    read_record,
    record_from_json,
    record_to_json,
    write_record,
)
from fitkit.wearer.record_table import read_records_csv, write_records_csv
from fitkit.wearer.trial_notes import (
    SEAT_NAMES,
    TRIALS_KEY,
    TrialNote,
    trials_from_json,
    trials_to_json,
    with_trial,
)

NOTE = TrialNote(
    date="2026-03-31",
    piece="otter",
    size=(1.01, 1.01, 1.01),
    shift_mm=(0.0, -2.5, 1.0),
    turn_deg=(1.5, 0.0, 0.0),
    gauge_sd_mm=0.5,
    seat_sd=dict.fromkeys(SEAT_NAMES, 1.0),
    gaps_mm={"back_middle_60_above": (18.0, 18.5), "left_ear_ear": (9.0,)},
    notes="hair tied back",
)


def section(**changes):
    """Give the section of one fitting, with some of its keys changed or (None) gone."""
    fitting = {**trials_to_json([NOTE])["fittings"][0], **changes}
    return {
        "version": 1,
        "fittings": [{k: v for k, v in fitting.items() if v is not None}],
    }


def test_a_fitting_comes_back_from_the_file_as_it_went(tmp_path):
    record = make_record(
        name="Ada", head_length_mm=[199, 200], unknown=with_trial({"shoe": 39}, NOTE)
    )
    write_record(record, tmp_path / "ada.json")
    back = read_record(tmp_path / "ada.json")
    assert back.trials == (NOTE,)
    assert back.readings == record.readings
    assert back.unknown["shoe"] == 39
    assert back == record


def test_a_fitting_comes_back_from_a_table(tmp_path):
    record = make_record(name="Ada", unknown=with_trial({}, NOTE))
    write_records_csv([record, make_record(name="Bo")], tmp_path / "cast.csv")
    ada, bo = read_records_csv(tmp_path / "cast.csv")
    assert ada.trials == (NOTE,)
    assert bo.trials == ()


def test_the_section_stands_under_its_versioned_key():
    content = json.loads(record_to_json(make_record(unknown=with_trial({}, NOTE))))
    assert content["fitkit_record"] == 1
    assert content[TRIALS_KEY]["version"] == 1
    (fitting,) = content[TRIALS_KEY]["fittings"]
    assert fitting["gaps_mm"] == {"back_middle_60_above": [18.0, 18.5], "left_ear_ear": 9.0}
    assert fitting["placement"]["size"] == [1.01, 1.01, 1.01]


def test_keys_of_a_fitting_that_are_not_known_are_kept():
    first = {TRIALS_KEY: {**section(fitter="Bo", weather=["rain"]), "hall": 3}}
    both = with_trial(first, replace(NOTE, date="2026-04-02"))
    assert both[TRIALS_KEY]["hall"] == 3
    assert both[TRIALS_KEY]["fittings"][0]["fitter"] == "Bo"
    assert both[TRIALS_KEY]["fittings"][0]["weather"] == ["rain"]
    assert [note.date for note in trials_from_json(both[TRIALS_KEY])] == [
        "2026-03-31",
        "2026-04-02",
    ]


def test_a_later_version_is_kept_untouched_and_not_added_to():
    later = {"version": 2, "visits": [{"x": 1}]}
    record = record_from_json(json.dumps({"fitkit_record": 1, TRIALS_KEY: later}))
    assert record.trials == ()
    assert json.loads(record_to_json(record))[TRIALS_KEY] == later
    with pytest.raises(MeasureError, match="written by a later fitkit"):
        with_trial(record.unknown, NOTE)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([], "must be"),
        ({"fittings": []}, "got version None"),
        ({"version": 1, "fittings": {}}, "a list"),
        ({"version": 1, "fittings": [7]}, "fitting 1 must be an object"),
        ({"version": 1, "fittings": [{}] * 101}, "at most 100"),
        (section(date="31.3.2026"), "date must be like 2026-03-31; got '31.3.2026'"),
        (section(gaps_mm={}), "must name 1 to 500 places"),
        (section(gaps_mm={"left_ear_ear": "9 mm"}), "must be a number"),
        (section(gaps_mm={"left_ear_ear": 900}), "must be -30 to 150"),
        (section(gaps_mm={"left_ear_ear": []}), "1 to 100 repeats"),
        (section(gauge_sd_mm=50), "gauge_sd_mm must be 0.05 to 5"),
        (section(seat_sd={"up_mm": 1}), "seat_sd must name right_mm"),
        (section(placement=None), "size must be three numbers; got None"),
        (section(piece=7), "piece must be a text; got 7"),
    ],
)
def test_a_broken_fitting_is_refused_by_name(given, words):
    with pytest.raises(MeasureError, match=words):
        trials_from_json(given)
    with pytest.raises((MeasureError, RecordError), match=words):
        record_from_json(json.dumps({"fitkit_record": 1, TRIALS_KEY: given}))
