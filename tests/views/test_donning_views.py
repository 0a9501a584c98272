"""What a drawing of a way on shows: heads where the report says, cut through the middle."""

from dataclasses import replace

import numpy as np
import pytest
from donned import WEARER, heron, report, seat

from fitkit.fit.donning import DonningBrief
from fitkit.views.donnings import POSES, donning_view

BRIEF = DonningBrief()


def viewed(answer):
    return donning_view(WEARER, heron(), seat(), answer, brief=BRIEF)


def test_heads_are_drawn_from_outside_to_the_seat_with_the_tightest_among_them():
    view = viewed(report())
    assert view.goes_on
    assert POSES <= len(view.heads) <= POSES + 1
    assert list(view.lifts_mm) == sorted(view.lifts_mm, reverse=True)
    assert view.lifts_mm[-1] == 0.0
    tightest = report().path.moves[report().path.gap_mm.argmin(), 2]
    assert view.lifts_mm[view.tight] == tightest


def test_head_outside_hangs_below_the_wall_by_the_lift():
    view = viewed(report())
    top = [max(line[:, 1].max() for line in head) for head in view.heads]
    assert np.diff(top).min() > 0
    assert top[-1] - top[0] == pytest.approx(view.lifts_mm[0], abs=25.0)  # it is tilted


def test_without_a_way_the_head_is_drawn_where_it_stops_and_at_its_seat():
    tight = replace(report().tight, move=np.array([0, 5.0, 90.0, -6.0, 0, 0]), room_mm=-3.0)
    path = replace(
        report().path, moves=np.zeros((0, 6)), gap_mm=np.zeros(0), between_mm=np.zeros(0)
    )
    view = viewed(replace(report(), goes_on=False, tight=tight, path=path))
    assert not view.goes_on
    assert view.lifts_mm == (90.0, 0.0)
    assert (view.tight, view.room_mm) == (0, -3.0)
