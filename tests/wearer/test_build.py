"""From a record to a wearer: what was read is met, what was not is completed and told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from heads import plain_record
from scipy.spatial import ConvexHull

from fitkit.errors import MeasureError
from fitkit.geometry.crossings import crossing_faces
from fitkit.geometry.sections import hull_girth_mm, section
from fitkit.wearer.build import as_by_hand, head_model, wearer_from_record
from fitkit.wearer.hair import USUAL_TAPE_HAIR_MM
from fitkit.wearer.jaw import CONDYLE_AHEAD_MM, POLE_FROM_CONDYLE_MM
from fitkit.wearer.measures import SURVEY_KEYS
from fitkit.wearer.reading import MESH_KEYS
from fitkit.wearer.record import make_record
from fitkit.wearer.record_files import read_record
from fitkit.wearer.surface import PROMISED_MM
from fitkit.wearer.survey import complete
from fitkit.wearer.zones import ZONES

WEARERS = sorted((Path(__file__).parents[2] / "sample_heads" / "wearers").glob("*.json"))
TEMPLATE, _ = head_model()
GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]
FEW = {GIRTH: 575.0, LENGTH: 199.0, BREADTH: 155.0}


@pytest.fixture(scope="module")
def few():
    return wearer_from_record(make_record(sex="male", **FEW))


# --- what was read -------------------------------------------------------------------


@pytest.mark.parametrize("path", WEARERS, ids=lambda p: p.stem)
def test_sample_wearers_read_as_recorded(path):
    record = read_record(path)
    wearer = wearer_from_record(record)
    for key in set(record.readings) & set(MESH_KEYS):
        got, wanted = wearer.measures_mm[key], record.readings[key].mean_mm
        assert got == pytest.approx(wanted, abs=PROMISED_MM), key
    assert wearer.head.is_closed
    assert len(crossing_faces(wearer.head)) == 0
    assert wearer.record is record


def test_sample_wearers_are_there():
    assert 3 <= len(WEARERS) <= 5


def test_measures_outside_the_survey_are_met_too():
    record = make_record(
        sex="female",
        head_circumference_mm=560.0,
        bitragion_coronal_arc_mm=352.0,
        bigonial_breadth_mm=112.0,
        menton_height_mm=95.0,
        sellion_depth_mm=93.0,
        tape_hair_mm=3.0,
    )
    wearer = wearer_from_record(record)
    for key, reading in record.readings.items():
        assert wearer.measures_mm[key] == pytest.approx(reading.mean_mm, abs=PROMISED_MM)


def test_repeats_count_as_their_mean():
    once = wearer_from_record(make_record(head_circumference_mm=571.0))
    twice = wearer_from_record(make_record(head_circumference_mm=[570.0, 572.0]))
    off = np.abs(once.head.vertices - twice.head.vertices)
    assert off.max() < 1.0  # two repeats weigh more against what the survey expects
    assert twice.measures_mm[GIRTH] == pytest.approx(571.0, abs=PROMISED_MM)


def test_missing_measures_are_what_the_survey_expects(few):
    expected = complete(few.record)
    for key in set(SURVEY_KEYS) - set(FEW):
        assert few.measures_mm[key] == pytest.approx(
            expected.value_mm(key), abs=PROMISED_MM
        )
    assert few.completion.given == frozenset(FEW)


def test_same_record_gives_the_same_wearer(few):
    again = wearer_from_record(make_record(sex="male", **FEW))
    assert np.array_equal(few.head.vertices, again.head.vertices)
    assert np.array_equal(few.spread, again.spread)
    assert np.array_equal(few.hair_mm, again.hair_mm)


def test_a_wearer_is_complete(few):
    n = TEMPLATE.n_vertices
    assert len(few.head.vertices) == n
    assert few.zone.shape == few.hair_mm.shape == (n,)
    assert few.spread.shape == (len(few.spread_names), n, 3)
    assert set(few.measures_mm) == set(MESH_KEYS)
    wanted = {"tragion_left", "tragion_right", "sellion", "glabella", "menton", "stomion"}
    wanted |= {"opisthocranion", "vertex", "pronasale", "gonion_left", "cheilion_right"}
    assert wanted <= set(few.landmarks)
    for place in few.landmarks.values():
        assert place.shape == (3,)


def test_back_and_top_are_this_heads_own(few):
    vertices = few.head.vertices
    assert few.landmarks["vertex"][2] == pytest.approx(vertices[:, 2].max(), abs=1e-9)
    away = np.linalg.norm(few.landmarks["opisthocranion"] - few.landmarks["glabella"])
    assert away == pytest.approx(few.measures_mm[LENGTH], abs=4.0)
    lips = few.landmarks["stomion_upper"], few.landmarks["stomion_lower"]
    np.testing.assert_allclose(few.landmarks["stomion"], np.mean(lips, axis=0))


# --- what was not --------------------------------------------------------------------


def test_circumference_alone_is_enough_and_told():
    wearer = wearer_from_record(make_record(head_circumference_mm=585.0))
    assert wearer.measures_mm[GIRTH] == pytest.approx(585.0, abs=PROMISED_MM)
    assert any("Only 1 of 14" in said for said in wearer.cautions)
    assert any("Hair under the tape" in said for said in wearer.cautions)


def test_any_one_reading_will_do():
    wearer = wearer_from_record(make_record(sex="female", menton_sellion_mm=120.0))
    assert wearer.measures_mm["menton_sellion_mm"] == pytest.approx(120.0, abs=PROMISED_MM)


def test_an_unstated_sex_lies_between_and_is_less_sure():
    by_sex = {
        sex: wearer_from_record(make_record(sex=sex, head_circumference_mm=568.0))
        for sex in ("female", "male", None)
    }
    for key in ("menton_sellion_mm", "bizygomatic_breadth_mm", "neck_circumference_mm"):
        values = [by_sex[sex].measures_mm[key] for sex in ("female", None, "male")]
        assert values == sorted(values)
    size = {s: np.linalg.norm(w.spread.astype(np.float64)) for s, w in by_sex.items()}
    assert size[None] > max(size["female"], size["male"])


def test_a_full_record_has_little_to_warn_of():
    wearer = wearer_from_record(
        make_record(sex="male", hair_mm=5.0, tape_hair_mm=1.0, **FEW)
    )
    assert wearer.cautions == ()


def test_contradictory_readings_are_refused():
    # Made without the checks of make_record, which would catch it first.
    record = plain_record({"menton_sellion_mm": 100.0, "menton_height_mm": 130.0,
                           "sellion_height_mm": 40.0})  # fmt: skip
    with pytest.raises(MeasureError, match=r"menton|sellion"):
        wearer_from_record(record)


# --- hair ----------------------------------------------------------------------------


def test_scalp_lies_under_the_tape_by_two_pi_of_the_hair():
    # Steiner: a convex curve grown by r is longer by 2 pi r.
    bald = wearer_from_record(make_record(sex="male", tape_hair_mm=0.0, **FEW))
    hairy = wearer_from_record(make_record(sex="male", tape_hair_mm=6.0, **FEW))
    girths = []
    for wearer in (bald, hairy):
        ears = [ZONES.index("ear_left"), ZONES.index("ear_right")]
        skin = ~np.isin(wearer.zone, ears)[wearer.head.faces].any(axis=1)
        glabella, back = wearer.landmarks["glabella"], wearer.landmarks["opisthocranion"]
        girths.append(
            hull_girth_mm(
                wearer.head,
                point_mm=glabella,
                normal=np.cross(back - glabella, [1.0, 0, 0]),
                faces=skin,
            )
        )
        assert wearer.measures_mm[GIRTH] == pytest.approx(575.0, abs=PROMISED_MM)
    assert girths[0] == pytest.approx(575.0, abs=1.0)
    assert girths[0] - girths[1] == pytest.approx(2 * np.pi * 6.0, abs=1.0)


def test_tape_laid_over_a_section_grown_by_hair_is_as_long_as_steiner_says(few):
    glabella, back = few.landmarks["glabella"], few.landmarks["opisthocranion"]
    normal = np.cross(back - glabella, [1.0, 0, 0])
    outline = section(few.head, point_mm=glabella, normal=normal)[0]
    first = np.array([1.0, 0, 0])
    second = np.cross(normal / np.linalg.norm(normal), first)
    flat = (outline - glabella) @ np.array([first, second]).T
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    disc = 4.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    grown = (flat[:, None] + disc[None]).reshape(-1, 2)
    longer = ConvexHull(grown).area - ConvexHull(flat).area
    by_hand = as_by_hand({GIRTH: 500.0}, 4.0)[GIRTH] - 500.0
    assert longer == pytest.approx(by_hand, abs=0.05)


def test_arc_over_the_top_turns_half_as_much():
    over = as_by_hand({"bitragion_coronal_arc_mm": 340.0, LENGTH: 200.0}, 2.0)
    assert over["bitragion_coronal_arc_mm"] == pytest.approx(340.0 + 2 * np.pi)
    assert over[LENGTH] == 200.0  # a caliper presses through


def test_a_long_tape_is_laid_to_hair_not_to_the_skull():
    even = wearer_from_record(make_record(sex="male", **FEW))
    long_tape = wearer_from_record(make_record(sex="male", **{**FEW, GIRTH: 590.0}))
    assert long_tape.tape_hair_mm > even.tape_hair_mm
    grown = long_tape.measures_mm[GIRTH] - even.measures_mm[GIRTH]
    hair = 2 * np.pi * (long_tape.tape_hair_mm - even.tape_hair_mm)
    assert grown == pytest.approx(15.0, abs=1.0)
    assert 0 < hair < grown  # some of both
    assert long_tape.hair_mm.max() > even.hair_mm.max()


def test_hair_recorded_as_none_leaves_none():
    wearer = wearer_from_record(
        make_record(sex="female", hair_mm=0.0, tape_hair_mm=0.0, **FEW)
    )
    assert wearer.hair_mm.max() == 0.0
    assert wearer.tape_hair_mm == 0.0


def test_recorded_hair_does_not_change_what_the_survey_expects_of_the_bare_head():
    # A tape over 10 mm of hair is no larger skull: with the hair taken off, both are the
    # same head, so the face must come out the same.
    usual = USUAL_TAPE_HAIR_MM["male"]
    thick = 575.0 + 2 * np.pi * (10.0 - usual)
    one = wearer_from_record(
        make_record(sex="male", tape_hair_mm=usual, head_circumference_mm=575.0)
    )
    other = wearer_from_record(
        make_record(sex="male", tape_hair_mm=10.0, head_circumference_mm=thick)
    )
    np.testing.assert_allclose(one.head.vertices, other.head.vertices, atol=0.3)


# --- eyes and chin -------------------------------------------------------------------


@pytest.mark.parametrize("spacing", [56.0, 63.0, 72.0])
def test_eyes_stand_apart_by_the_interpupillary_breadth(spacing):
    wearer = wearer_from_record(
        make_record(sex="male", head_circumference_mm=575.0, interpupillary_mm=spacing)
    )
    left, right = wearer.eye_left, wearer.eye_right
    apart = np.linalg.norm(right.cornea - left.cornea)
    assert apart == pytest.approx(spacing, abs=PROMISED_MM)
    assert right.cornea[0] > 0 > left.cornea[0]


def test_pupil_and_centre_of_rotation_lie_behind_the_cornea(few):
    # Gullstrand's and Le Grand's eyes, from memory: entrance pupil 3.0 to 3.05 mm
    # behind the cornea, centre of rotation 13 to 14 mm.
    for eye in (few.eye_left, few.eye_right):
        to_pupil = eye.cornea - eye.entrance_pupil
        to_centre = eye.cornea - eye.rotation_centre
        assert 3.0 <= to_pupil[1] <= 3.05
        assert 13.0 <= to_centre[1] <= 14.0
        np.testing.assert_allclose([to_pupil[[0, 2]], to_centre[[0, 2]]], 0)


def test_chin_pole_lies_where_full_opening_was_measured_to_turn(few):
    # Mehl 2025 (doi 10.1007/s00784-025-06619-4): mean finite pole of full opening 32.4
    # +- 7.4 mm below and 0.2 +- 10.8 mm behind the condyle's centre. The condyle: 13 mm
    # ahead of the tragion on the line to the outer eye corner (Beyron, from memory).
    corner = (few.landmarks["ectocanthus_left"] + few.landmarks["ectocanthus_right"]) / 2
    rise = np.arctan2(corner[2], corner[1])
    pole = 13.0 * np.cos(rise) - 0.2, 13.0 * np.sin(rise) - 32.4
    np.testing.assert_allclose(few.chin_pole[1:], pole, atol=1e-6)
    assert few.chin_pole[0] == 0.0
    assert (CONDYLE_AHEAD_MM, POLE_FROM_CONDYLE_MM) == (13.0, (-0.2, -32.4))


def test_chin_pole_lies_inside_the_head_below_the_ear_and_behind_the_chin(few):
    assert few.landmarks["gonion_right"][2] < few.chin_pole[2] < 0
    assert few.chin_pole[1] < few.landmarks["menton"][1]


def test_hair_and_glasses_do_not_move_the_head(few):
    other = wearer_from_record(
        replace(few.record, glasses=None, hair_mm={"crown": 20.0}, tape_hair_mm=None)
    )
    # Only the tape is read differently: its hair is now inferred from the hair recorded.
    assert other.measures_mm[LENGTH] == pytest.approx(FEW[LENGTH], abs=PROMISED_MM)
    assert other.measures_mm[GIRTH] == pytest.approx(FEW[GIRTH], abs=PROMISED_MM)
    assert other.tape_hair_mm == 0.0
