"""Clearance of fixings from the head, against the ease that the head itself has."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.fit.ease import ease
from fitkit.fit.fixings import fixing_clearance
from fitkit.fit.placement import Placement
from fitkit.piece.fixings import Fixing, check_fixings

PLACE = Placement(size=1.02, pitch_deg=4.0)


def top(**more) -> Fixing:
    numbers = {"hole_mm": 6.0, "foot_mm": 6.0, **more}
    return Fixing(name="bolt", kind="switch", at_mm=(0, -20, 157), **numbers)


def gap(wearer, piece, **more):
    fixed = check_fixings(piece, [top(**more)], size=PLACE.size)
    (one,) = fixing_clearance(wearer, piece, PLACE, fixed=fixed)
    return one


def test_a_flat_small_fixing_has_the_gap_of_the_wall_there(wearer, piece):
    one = gap(wearer, piece)
    assert one.zone == "crown"
    near = np.linalg.norm(wearer.head.vertices - one.at_mm, axis=1).argmin()
    # the wall's gap at the head's nearest vertex, a few mm to the side
    assert one.gap_mm == pytest.approx(ease(wearer, piece, PLACE).ease_mm[near], abs=1.0)


def test_what_stands_out_comes_nearer_by_as_much(wearer, piece):
    flat, tall = gap(wearer, piece), gap(wearer, piece, inside_mm=5.0)
    assert flat.gap_mm - tall.gap_mm == pytest.approx(5.0, abs=0.3)


def test_a_wide_foot_is_looked_at_to_its_edge(wearer, piece):
    small, wide = gap(wearer, piece), gap(wearer, piece, foot_mm=80.0)
    assert wide.gap_mm < small.gap_mm


def test_what_does_not_clear_the_head_is_told(wearer, piece):
    near = gap(wearer, piece, inside_mm=gap(wearer, piece).spare_mm + 2.0)
    assert near.spare_mm < 0 < near.gap_mm
    assert "from the head at the crown, where" in near.problem
    into = gap(wearer, piece, inside_mm=gap(wearer, piece).gap_mm + 3.0)
    assert into.gap_mm < 0
    assert "mm into the head at the crown" in into.problem


def test_what_clears_the_head_has_no_problem(wearer, piece):
    one = gap(wearer, piece)
    assert (one.spare_mm >= 0) == (one.problem == "")
