"""A trial fitting as a picture: one row a reading, the flagged ones with their note."""

from __future__ import annotations

import pytest

from fitkit.fit.trial import learn_from_trial, trial_points
from fitkit.views.trials import trial_view
from fitkit.wearer.zones import ZONES


@pytest.fixture(scope="module")
def answer(tight):
    points = trial_points(tight.wearer, tight.piece, tight.placement, count=12)
    gaps = {point.key: round(point.ease_mm, 1) for point in points}
    slip = max(points, key=lambda point: point.ease_mm / point.sd_mm).key
    gaps[slip] = round(gaps[slip] / 10, 2)
    return learn_from_trial(
        tight.wearer, tight.piece, tight.placement, gaps, day="2026-03-31"
    )


def test_every_reading_has_its_row_zone_by_zone(answer):
    view = trial_view(answer)
    by_key = {one.point.key: one for one in answer.readings}
    assert sorted(row.key for row in view.rows) == sorted(by_key)
    zones = [ZONES.index(by_key[row.key].point.zone) for row in view.rows]
    assert zones == sorted(zones)
    for row in view.rows:
        one = by_key[row.key]
        assert (row.gap_mm, row.foretold_mm) == (one.gap_mm, one.point.ease_mm)
        assert row.after_high_mm - row.after_mm == pytest.approx(1.96 * one.after_sd_mm)
    assert answer.wearer.record.name in view.title


def test_a_slip_is_left_out_with_what_it_likely_meant(answer):
    out = [row for row in trial_view(answer).rows if row.look == "left out"]
    assert len(out) == 1
    assert out[0].note.endswith("mm?")
    assert all(not row.note for row in trial_view(answer).rows if row.look == "within")
