from types import SimpleNamespace

import pytest

from fitkit.errors import BriefError
from fitkit.fit.brief import GLASSES_AIR_MM, PADDED_MASK, Brief, Ease, Weights, brief_for
from fitkit.wearer.zones import ZONES


def test_every_zone_is_in_a_brief_that_names_one():
    brief = Brief(ease={"crown": Ease(least_mm=3)})
    assert set(brief.ease) == set(ZONES)
    assert brief.ease["crown"].least_mm == 3
    assert brief.ease["back"] == PADDED_MASK["back"]


def test_a_pair_stands_for_both_sides():
    ease = Brief(ease={"temple": Ease(least_mm=1)}).ease
    assert ease["temple_left"] == ease["temple_right"] == Ease(least_mm=1)


def test_unknown_zone_is_refused_with_the_nearest_right_name():
    with pytest.raises(
        BriefError, match="no zone 'tempel_left'; did you mean 'temple_left'"
    ):
        Brief(ease={"tempel_left": Ease(least_mm=1)})


def test_number_for_an_ease_is_refused_with_the_right_form():
    with pytest.raises(BriefError, match=r"Did you mean Ease\(least_mm=4\)"):
        Brief(ease={"crown": 4})


def test_least_above_most_is_refused_with_both_swapped():
    with pytest.raises(BriefError, match="Try least_mm=5, most_mm=9"):
        Ease(least_mm=9, most_mm=5)


def test_pressing_beyond_twenty_mm_is_refused():
    with pytest.raises(BriefError, match="least_mm must be -20 to 80 mm; got -21"):
        Ease(least_mm=-21)


def test_reversed_sizes_are_refused_with_both_swapped():
    with pytest.raises(BriefError, match=r"Try size_least=0\.9, size_most=1\.1"):
        Brief(size_least=1.1, size_most=0.9)


def test_percent_for_a_size_is_refused_with_the_cure():
    with pytest.raises(BriefError, match=r"size_most must be 0\.5 to 2; got 110.*factors"):
        Brief(size_most=110)


def test_unknown_move_is_refused_with_the_nearest_right_name():
    with pytest.raises(BriefError, match="no move 'pich'; did you mean 'pitch'"):
        Brief(free=("pich",))


def test_moves_are_kept_in_their_own_order():
    assert Brief(free=("pitch", "front")).free == ("front", "pitch")


@pytest.mark.parametrize(
    "bad",
    [
        {"aim": "best"},
        {"distortion_percent": -1},
        {"eye_margin_mm": float("nan")},
        {"hinge_tolerance_mm": 500},
    ],
)
def test_what_has_no_meaning_is_refused(bad):
    with pytest.raises(BriefError):
        Brief(**bad)


def test_a_weight_of_nothing_is_refused():
    with pytest.raises(BriefError, match="hinge_mm must be"):
        Weights(hinge_mm=0)


def test_glasses_ask_for_their_depth_and_some_air_at_both_eyes():
    record = SimpleNamespace(glasses=SimpleNamespace(depth_mm=19.0))
    ease = brief_for(record).ease
    assert ease["eye_left"].least_mm == ease["eye_right"].least_mm == 19 + GLASSES_AIR_MM


def test_glasses_never_lessen_what_was_asked():
    record = SimpleNamespace(glasses=SimpleNamespace(depth_mm=6.0))
    brief = Brief(ease={"eye": Ease(least_mm=30)})
    assert brief_for(record, brief).ease["eye_left"].least_mm == 30


def test_bare_eyes_leave_the_brief_as_it_was():
    brief = Brief()
    assert brief_for(SimpleNamespace(glasses=None), brief) is brief
