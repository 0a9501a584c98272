import pytest

from fitkit.errors import RecordError
from fitkit.wearer.measures import CATALOGUE, LITERATURE, SURVEY_KEYS, measure
from fitkit.wearer.survey import population, survey_span_mm, usual_mm

# Largest mouth opening by sex, published means: PMC3428458 (n = 894), Stomatology 2018
# 38(8):735, Zanco J Med Sci 2010 (n = 1262), Gallagher et al. (seen second-hand).
OPENINGS_MM = {"male": (51.3, 56.56, 50.56, 43.3), "female": (44.3, 49.55, 48.46, 41.1)}


@pytest.mark.parametrize("key", CATALOGUE)
def test_every_measure_says_how_it_is_taken_and_how_far_to_trust_it(key):
    entry = CATALOGUE[key]
    assert entry.key == key
    assert key.endswith("_" + entry.unit)
    assert len(entry.how) > 30
    assert entry.source.strip()
    assert entry.repeat_source.strip()
    assert entry.landmarks
    assert 0 < entry.repeat_sd < 0.1 * (entry.high - entry.low)


@pytest.mark.parametrize("key", CATALOGUE)
def test_a_measure_is_either_in_the_survey_or_in_the_literature(key):
    assert CATALOGUE[key].survey == (key in population("female").keys)
    assert CATALOGUE[key].survey != (key in LITERATURE)


@pytest.mark.parametrize("key", SURVEY_KEYS)
def test_the_plausible_range_takes_in_everyone_in_the_survey(key):
    least, greatest = survey_span_mm(key)
    assert CATALOGUE[key].low < least
    assert greatest < CATALOGUE[key].high


@pytest.mark.parametrize("sex", ["female", "male"])
@pytest.mark.parametrize("key", LITERATURE)
def test_the_plausible_range_leaves_three_sds_about_the_literature_mean(key, sex):
    mean, sd = usual_mm(key, sex=sex)
    assert CATALOGUE[key].low <= mean - 3 * sd
    assert mean + 3 * sd <= CATALOGUE[key].high


@pytest.mark.parametrize("key", LITERATURE)
def test_figures_from_memory_say_so(key):
    words = LITERATURE[key].source
    assert "from memory" in words or "published studies" in words or "Worked out" in words


@pytest.mark.parametrize("sex", ["female", "male"])
def test_mouth_opening_is_the_mean_of_the_published_studies(sex):
    mean, sd = usual_mm("mouth_opening_mm", sex=sex)
    studies = OPENINGS_MM[sex]
    assert mean == pytest.approx(sum(studies) / len(studies), abs=0.1)
    assert all(abs(study - mean) < 2 * sd for study in studies)


def test_interpupillary_range_is_that_of_nearly_all_adults():
    # Dodgson 2004, Proc. SPIE 5291, 36: nearly all adults within 45 to 80 mm.
    entry = CATALOGUE["interpupillary_mm"]
    assert (entry.low, entry.high) == (45, 80)


def test_remembered_face_height_and_places_from_the_tragion_agree_with_the_survey():
    # The survey's menton-sellion length is an outside check on remembered heights.
    for sex in ("female", "male"):
        down = usual_mm("menton_height_mm", sex=sex)[0]
        up = usual_mm("sellion_height_mm", sex=sex)[0]
        back = (
            usual_mm("sellion_depth_mm", sex=sex)[0]
            - usual_mm("menton_depth_mm", sex=sex)[0]
        )
        length = ((down + up) ** 2 + back**2) ** 0.5
        assert length == pytest.approx(usual_mm("menton_sellion_mm", sex=sex)[0], abs=3)


def test_remembered_depths_add_up_to_the_survey_head_length():
    for sex in ("female", "male"):
        depth = sum(
            usual_mm(key, sex=sex)[0]
            for key in ("back_of_head_depth_mm", "sellion_depth_mm")
        )
        assert depth == pytest.approx(usual_mm("head_length_mm", sex=sex)[0], abs=6)


def test_an_unknown_measure_is_refused_with_the_nearest_name():
    with pytest.raises(RecordError, match="Did you mean 'head_length_mm'"):
        measure("head_lenght_mm")
