"""The quick answer says the same as a full assessment, but for what takes time."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.assess import assess
from fitkit.fit.brief import Brief, Ease, brief_for
from fitkit.fit.placement import Placement
from fitkit.panels.answer import quick_answer, zone_title

PLACEMENTS = {
    "roomy": Placement(size=1.02),
    "small": Placement(size=0.84),
    "pushed": Placement(size=1.0, shift_mm=(6, -9, 4)),
    "turned": Placement(size=1.02, pitch_deg=14.0),
    "huge": Placement(size=1.3),
    "stretched": Placement(size=(1.0, 1.05, 1.1)),
}


@pytest.mark.parametrize("name", PLACEMENTS)
def test_verdict_and_figures_equal_those_of_the_assessment(wearer, piece, name):
    brief, placement = brief_for(wearer.record), PLACEMENTS[name]
    full = assess(wearer, piece, placement, brief)
    quick = quick_answer(wearer, piece, placement, brief)
    assert quick.verdict == full.verdict
    assert len(quick.reasons) == len(full.reasons)
    np.testing.assert_array_equal(quick.ease.ease_mm, full.ease.ease_mm)
    assert quick.sight["left"].margin_mm == full.sight["left"].margin_mm


def test_reasons_come_worst_first_with_their_figures(wearer, piece):
    brief = Brief(ease={"crown": Ease(least_mm=40), "back": Ease(least_mm=70)})
    quick = quick_answer(wearer, piece, Placement(size=1.02), brief)
    zones = quick.ease.by_zone
    assert quick.reasons[0] == f"Back: {zones['back'].short_mm:.1f} mm short of 70 mm."
    assert quick.reasons[1] == f"Crown: {zones['crown'].short_mm:.1f} mm short of 40 mm."


def test_zones_are_named_for_people():
    assert zone_title("eye_right") == "Right eye"
    assert zone_title("brow") == "Brow"
