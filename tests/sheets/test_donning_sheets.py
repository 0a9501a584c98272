"""On and off on the sheets: words and tables say what the report says."""

from dataclasses import replace
from types import MappingProxyType

import numpy as np
import pytest
from donned import WEARER, heron, report, seat

from fitkit.assess import assess
from fitkit.fit.donning import DonningBrief
from fitkit.fit.donning_ways import DonningWay
from fitkit.sheets.donning import donning_part, donning_tables, donning_words
from fitkit.wearer.record import Glasses


def refused():
    way = DonningWay(
        kind="size", amount=1.1, unit="times", found=True, checked=True, head_scale=0.9,
        words="Make the piece 10 % larger, layers as they are.",
    )  # fmt: skip
    path = replace(
        report().path,
        moves=np.zeros((0, 6)),
        gap_mm=np.zeros(0),
        between_mm=np.zeros(0),
        zone_ease_mm=MappingProxyType({}),
    )
    no = replace(way, kind="jaw", found=False, words="Pull the jaw clear; not enough.")
    return replace(
        report(), goes_on=False, path=path, ways=(way, no), largest_head_scale=0.9
    )


@pytest.fixture(scope="module")
def part():
    return donning_part(assess(WEARER, heron(), seat()))


def test_part_says_it_goes_on_with_its_room_and_draws_it(part):
    assert part.name == "donning"
    assert part.sentences[0].startswith("It goes on")
    assert f"{report().path.least_mm:.1f} mm are left" in part.sentences[0]
    assert part.pictures["way"].data.startswith(b"<?xml")
    assert any("Never lock" in word for word in part.cautions)


def test_tables_hold_the_way_and_every_zone(part):
    way, zones = part.tables
    assert way.rows[-1][:3] == (0.0, 0.0, 0.0)
    assert min(row[3] for row in way.rows) == pytest.approx(report().path.least_mm)
    ease = report().path.zone_ease_mm
    assert {row[0] for row in zones.rows} == {zone.replace("_", " ") for zone in ease}
    assert [row[1] for row in zones.rows] == sorted(ease.values())


def test_press_between_poses_is_told_where_it_cannot_be_ruled_out():
    path = report().path
    between = path.between_mm.copy()
    between[3] = -0.34
    told = donning_words(replace(report(), path=replace(path, between_mm=between)))[0]
    assert "press by up to 0.3 mm" in told
    sure = replace(path, between_mm=np.abs(path.between_mm))
    assert "press by" not in donning_words(replace(report(), path=sure))[0]


def test_refusal_names_the_place_the_largest_head_and_what_lets_it_on():
    said = donning_words(refused())
    assert said[0] == "No way on was found."
    assert said[1] == report().tight.words
    assert "90 %" in said[2]
    assert "Make the piece 10 % larger, layers as they are." in said
    assert not any("not enough" in word for word in said)
    (table,) = donning_tables(refused())
    assert [row[1] for row in table.rows] == ["yes", "no"]


def test_glasses_in_the_way_are_told_and_the_rest_answered_without(part):
    glasses = Glasses(width_mm=185, depth_mm=40, height_mm=60)
    wearer = replace(WEARER, record=replace(WEARER.record, glasses=glasses))
    told = donning_part(assess(wearer, heron(), seat()))
    assert "at the glasses" in told.sentences[0]
    assert told.sentences[1] == "What follows is for a head without them."
    assert told.sentences[2:] == part.sentences


def test_seat_in_clash_is_one_sentence():
    low = replace(seat(), shift_mm=seat().shift_mm - [0, 0, 25.0])
    told = donning_part(assess(WEARER, heron(), low), brief=DonningBrief())
    assert len(told.sentences) == 1
    assert "seat itself is in clash" in told.sentences[0]
    assert not told.pictures
