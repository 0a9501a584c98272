import json

import pytest

from fitkit.errors import BriefError
from fitkit.fit.brief import Brief, Ease, Weights
from fitkit.sheets.brief_file import brief_from_json, brief_json, read_brief


def text(**content):
    return json.dumps({"fitkit_brief": 1, **content})


def test_a_brief_comes_back_as_it_was():
    brief = Brief(
        ease={"crown": Ease(least_mm=4.5, most_mm=22), "ear": Ease(least_mm=-1)},
        size_least=0.9,
        size_most=1.07,
        distortion_percent=3,
        eye_margin_mm=2.5,
        hinge_tolerance_mm=None,
        free=("front", "pitch"),
        aim="snug",
        weights=Weights(hinge_mm=9.0),
    )
    assert brief_from_json(brief_json(brief)) == brief


def test_what_a_brief_leaves_out_keeps_its_default():
    brief = brief_from_json(text(size_most=1.1))
    assert brief == Brief(size_most=1.1)


def test_a_number_for_a_zone_is_its_least_and_a_pair_name_means_both_sides():
    brief = brief_from_json(text(ease={"cheek": 7}))
    assert brief.ease["cheek_left"] == brief.ease["cheek_right"] == Ease(least_mm=7)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"size_mots": 1.1}, "did you mean 'size_most'"),
        ({"ease": {"crwon": 5}}, "did you mean 'crown'"),
        ({"ease": {"crown": {"least": 5}}}, "did you mean 'least_mm'"),
        ({"ease": {"crown": {"most_mm": 5}}}, "must give least_mm"),
        ({"ease": {"crown": "5"}}, "least_mm of ease of crown must be a number; got '5'"),
        ({"ease": [5]}, "ease must be names and values in braces"),
        ({"size_most": True}, "size_most must be a number; got True"),
        ({"size_most": 110}, "factors, not percent"),
        ({"hinge_tolerance_mm": "12"}, "hinge_tolerance_mm must be a number"),
        ({"free": "front"}, "free must be a list of names"),
        ({"aim": "tight"}, "aim must be"),
        ({"weights": {"hinge": 3}}, "did you mean 'hinge_mm'"),
        ({"fitkit_brief": 3}, "fitkit_brief must be 1; got 3"),
    ],
)
def test_a_slip_is_refused_with_its_cure(content, words):
    with pytest.raises(BriefError, match=words):
        brief_from_json(text(**content))


def test_a_file_that_is_no_brief_is_named(tmp_path):
    path = tmp_path / "wishes.json"
    path.write_text("[]", encoding="utf-8")
    with pytest.raises(BriefError, match=r"wishes\.json: is no brief"):
        read_brief(path)
