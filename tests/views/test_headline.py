from dataclasses import replace

import numpy as np
import pytest

from fitkit.views.eyes import eye_views
from fitkit.views.headline import headline


def figures(assessment):
    return {answer.title: answer for answer in headline(assessment).answers}


def test_a_fit_is_told_with_size_ease_chance_and_eye_line(roomy):
    top = headline(roomy)
    assert top.fits
    assert top.verdict == "Fits"
    assert top.title == f"=shell on {roomy.wearer.record.name}"
    assert list(figures(roomy)) == ["Size", "Tightest ease", "How sure", "Eye line"]
    assert figures(roomy)["Size"].figure == "102.0 %"
    assert "master 0.4 % larger" in figures(roomy)["Size"].note


def test_the_tightest_ease_comes_with_zone_and_interval(tight):
    answer = figures(tight)["Tightest ease"]
    zone, sure = tight.ease.tightest, tight.uncertainty.interval
    assert answer.figure == f"\N{MINUS SIGN}{-zone.least_mm:.1f} mm"
    assert zone.zone in answer.note
    assert f"{-sure.low_mm:.1f}" in answer.note


def test_a_miss_says_its_worst_demand_and_how_many_more(tight):
    top = headline(tight)
    assert top.verdict == "Does not fit"
    assert (
        top.sentence == f"{tight.reasons[0]} {len(tight.reasons) - 1} more demands missed."
    )


def test_three_sizes_are_told_when_the_axes_differ(tight):
    at = replace(tight.placement, size=np.array([1.0, 1.05, 0.98]))
    answer = figures(replace(tight, placement=at))["Size"]
    assert answer.figure == "100.0 × 105.0 × 98.0 %"
    assert "across, front to back, in height" in answer.note


def test_the_eye_line_is_that_of_the_worse_eye(tight):
    margins = {side: check.margin_mm for side, check in tight.sight.items()}
    answer = figures(tight)["Eye line"]
    assert answer.figure == f"{min(margins.values()):.1f} mm inside"


def test_each_eye_sees_its_opening_about_the_line(tight):
    views = eye_views(tight.wearer, tight.piece, tight.placement, tight.sight)
    assert [view.side for view in views] == ["left", "right"]
    for view in views:
        closest = np.linalg.norm(view.outline, axis=1).min()
        assert view.margin_mm == pytest.approx(closest, abs=1.0)
        assert np.array_equal(view.outline[0], view.outline[-1])
