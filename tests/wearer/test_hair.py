"""Hair under a tape and under a shell."""

from __future__ import annotations

import numpy as np
import pytest
from heads import plain_record

from fitkit.wearer.build import head_model
from fitkit.wearer.hair import (
    TAPE_HAIR_SD_MM,
    TAPE_SHARE,
    USUAL_TAPE_HAIR_MM,
    TapeHair,
    shell_hair_mm,
    tape_hair,
)
from fitkit.wearer.oddity import foretell
from fitkit.wearer.survey import population
from fitkit.wearer.zones import NECK, SCALP_ZONES, ZONES

GIRTH, LENGTH, BREADTH = "head_circumference_mm", "head_length_mm", "head_breadth_mm"
TEMPLATE, _ = head_model()
NONE = TapeHair(mean_mm=0.0, sd_mm=0.0, origin="recorded")


def usual_readings(sex="male", **change):
    people = population(sex)
    mean = dict(zip(people.keys, people.mean_mm.tolist(), strict=True))
    return {key: mean[key] + change.get(key, 0.0) for key in (GIRTH, LENGTH, BREADTH)}


def test_what_is_recorded_is_taken():
    record = plain_record(usual_readings(), tape_hair_mm=4.0, hair_mm={"crown": 30.0})
    hair = tape_hair(record)
    assert (hair.mean_mm, hair.sd_mm, hair.origin) == (4.0, 0.0, "recorded")


def test_no_hair_recorded_under_the_tape_is_not_the_same_as_nothing_recorded():
    assert tape_hair(plain_record({}, tape_hair_mm=0.0)).mean_mm == 0.0
    assert tape_hair(plain_record({})).mean_mm == USUAL_TAPE_HAIR_MM[None]


def test_hair_under_the_shell_leaves_its_share_under_the_tape():
    every = dict.fromkeys(("brow", "temple_left", "temple_right", "back"), 10.0)
    hair = tape_hair(plain_record({}, hair_mm=every))
    assert hair.mean_mm == pytest.approx(10.0 * TAPE_SHARE)
    assert hair.sd_mm > 0
    half = tape_hair(plain_record({}, hair_mm={"temple_left": 10.0, "back": 10.0}))
    assert half.mean_mm == pytest.approx(5.0 * TAPE_SHARE)  # brow and one temple bare
    crown = tape_hair(plain_record({}, hair_mm={"crown": 40.0}))
    assert crown.mean_mm == 0.0  # the tape does not run over the crown


@pytest.mark.parametrize("sex", ["female", "male", None])
def test_without_calipers_hair_is_usual(sex):
    for readings in ({}, {GIRTH: 600.0}, {LENGTH: 200.0, BREADTH: 155.0}):
        hair = tape_hair(plain_record(readings, sex=sex))
        assert (hair.mean_mm, hair.sd_mm) == (USUAL_TAPE_HAIR_MM[sex], TAPE_HAIR_SD_MM[sex])


def test_women_have_more_hair_under_the_tape_than_men():
    # ANSUR II means: women's tape exceeds the ellipse of length and breadth by 5.4 %,
    # men's by 2.9 %; 2.5 % of 561 mm over 2 pi is 2.2 mm more.
    more = USUAL_TAPE_HAIR_MM["female"] - USUAL_TAPE_HAIR_MM["male"]
    assert more == pytest.approx(2.2, abs=0.5)


def test_a_tape_that_reads_long_for_the_calipers_ran_over_more_hair():
    hairs = [
        tape_hair(plain_record(usual_readings(**{GIRTH: extra}), sex="male"))
        for extra in (-15.0, -5.0, 0.0, 5.0, 15.0)
    ]
    means = [hair.mean_mm for hair in hairs]
    assert means == sorted(means)
    assert means[0] < USUAL_TAPE_HAIR_MM["male"] < means[-1]
    assert means[2] == pytest.approx(USUAL_TAPE_HAIR_MM["male"], abs=0.01)
    for hair in hairs:
        assert hair.mean_mm >= 0
        assert hair.sd_mm <= TAPE_HAIR_SD_MM["male"]


def test_long_calipers_at_the_same_tape_mean_less_hair():
    usual = tape_hair(plain_record(usual_readings(), sex="female"))
    long_head = tape_hair(
        plain_record(usual_readings("female", **{LENGTH: 8.0}), sex="female")
    )
    level = tape_hair(plain_record(usual_readings("female"), sex="female"))
    assert long_head.mean_mm < level.mean_mm
    assert usual.sd_mm < TAPE_HAIR_SD_MM["female"]


def test_correction_is_that_of_two_normals_seen_through_their_sum():
    # Tape = bare girth + 2 pi hair. Of a surplus with variance V, hair explains its
    # share 2 pi sd^2 / V; what is left of its variance is sd^2 (1 - (2 pi sd)^2 / V).
    record = plain_record(usual_readings(**{GIRTH: 9.0}), sex="male")
    expected, departure = foretell(record, GIRTH, from_keys={LENGTH, BREADTH})
    surplus = record.readings[GIRTH].mean_mm - expected
    variance = (surplus / departure) ** 2
    sd = TAPE_HAIR_SD_MM["male"]
    hair = tape_hair(record)
    gained = 2 * np.pi * sd**2 / variance * surplus
    assert hair.mean_mm == pytest.approx(USUAL_TAPE_HAIR_MM["male"] + gained)
    assert hair.sd_mm**2 == pytest.approx(sd**2 * (1 - (2 * np.pi * sd) ** 2 / variance))


# --- under the shell -----------------------------------------------------------------


def blended(hair_by_zone, tape=NONE):
    return shell_hair_mm(plain_record({}, hair_mm=hair_by_zone), TEMPLATE.zone_blend, tape)


def zone(name):
    return TEMPLATE.zone == ZONES.index(name)


def test_hair_of_a_zone_lies_in_it_and_nowhere_far():
    hair = blended({"back": 20.0})
    assert hair.shape == (TEMPLATE.n_vertices,)
    assert np.quantile(hair[zone("back")], 0.7) == pytest.approx(20.0, abs=0.5)
    for bare in ("nose", "mouth", "brow", "eye_left", "chin"):
        assert hair[zone(bare)].max() < 0.01
    assert hair.max() <= 20.05
    assert hair.min() >= 0


def test_same_hair_all_over_the_scalp_is_even_across_its_borders():
    hair = blended(dict.fromkeys(SCALP_ZONES, 12.0))
    for one, two in (("crown", "back"), ("crown", "temple_left"), ("back", "nape")):
        border = TEMPLATE.faces[
            zone(one)[TEMPLATE.faces].any(1)
            & zone(two)[TEMPLATE.faces].any(1)
            & np.isin(TEMPLATE.zone[TEMPLATE.faces],
                      [ZONES.index(one), ZONES.index(two)]).all(1)
        ]  # fmt: skip
        # Beside them lies bare brow, neck or cheek, which thins the hair out near it.
        assert np.median(hair[border]) == pytest.approx(12.0, abs=1.0)


def test_hair_changes_gently_from_vertex_to_vertex():
    hair = blended({"back": 20.0, "crown": 5.0})
    edge = np.vstack([TEMPLATE.faces[:, :2], TEMPLATE.faces[:, 1:]])
    assert np.abs(np.diff(hair[edge], axis=1)).max() < 0.5 * 20.0


def test_left_and_right_are_the_wearers():
    hair = blended({"temple_left": 15.0})
    assert hair[zone("temple_left")].mean() > 8
    assert hair[zone("temple_right")].max() < 0.01
    right = TEMPLATE.mean_mm[: TEMPLATE.n_vertices, 0]
    assert (right[hair > 1.0] < 0).all()


def test_unrecorded_hair_is_what_would_leave_the_tape_its_share():
    tape = TapeHair(mean_mm=3.0, sd_mm=1.0, origin="usual")
    hair = blended({}, tape)
    assert np.quantile(hair[zone("crown")], 0.7) == pytest.approx(3.0 / TAPE_SHARE, abs=0.1)
    assert hair[zone("nose")].max() < 0.01
    assert hair[TEMPLATE.zone == NECK].mean() < 0.5


def test_recorded_hair_counts_as_none_where_it_names_no_zone():
    tape = TapeHair(mean_mm=3.0, sd_mm=1.0, origin="usual")
    hair = blended({"nape": 4.0}, tape)
    assert hair[zone("crown")].max() < 0.05
