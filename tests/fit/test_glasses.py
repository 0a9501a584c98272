"""Glasses inside a piece: room for them, and what their rims hide."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from plates import PUPIL_MM, ellipse, faceless, plate_piece

from fitkit.fit.brief import brief_for
from fitkit.fit.glasses import BRIDGE_MM, RIM_MM, check_glasses, glasses_gap
from fitkit.fit.placement import Placement
from fitkit.fit.size import solve_size
from fitkit.fit.verdict import judge
from fitkit.fit.visual_fields import ReferenceField
from fitkit.wearer.record import Glasses

WORN = SimpleNamespace(width_mm=138.0, depth_mm=16.0, height_mm=42.0)


def plate(distance_mm=60.0, lining_mm=0.0):
    """A wall across the front with one round window before each eye."""
    holes = [ellipse(25, 25, at=(right, 0)) for right in (-32, 32)]
    return plate_piece(
        holes, distance_mm=distance_mm, wall_mm=0.01, half_mm=9000, lining_mm=lining_mm
    )


def test_wearer_without_glasses_gets_no_figures_and_no_caution():
    check = check_glasses(faceless(), plate(), Placement())
    assert not check.worn
    assert np.isnan(check.clearance_mm)
    assert check.cautions == ()


@pytest.mark.parametrize(("lining_mm", "gap_mm"), [(0, 40.95), (5, 35.95)])
def test_clearance_is_from_the_front_of_the_lens_to_the_finished_wall(lining_mm, gap_mm):
    check = check_glasses(faceless(glasses=WORN), plate(lining_mm=lining_mm), Placement())
    # cornea 3.05 ahead of the pupil, lens 16 ahead of that, wall at 60
    assert check.clearance_mm == pytest.approx(60 - PUPIL_MM - 16 - lining_mm, abs=0.01)
    assert check.clearance_mm == pytest.approx(gap_mm, abs=0.01)
    assert check.part == "rim"
    assert check.at[1] == pytest.approx(PUPIL_MM + 16)
    assert check.cautions == ()


def test_glasses_that_touch_the_wall_are_cautioned_about():
    check = check_glasses(faceless(glasses=WORN), plate(distance_mm=17.5), Placement())
    assert check.clearance_mm == pytest.approx(17.5 - PUPIL_MM - 16, abs=0.01)
    assert "stand 1.6 mm in" in check.cautions[0]


def test_wide_open_view_loses_about_the_solid_angle_of_the_rims():
    wide = ReferenceField(
        name="wide", up_deg=80, down_deg=80, nasal_deg=80, temporal_deg=80, source="none"
    )
    open_piece = plate_piece([ellipse(390, 390)], distance_mm=60, wall_mm=0.01, half_mm=400)
    check = check_glasses(faceless(glasses=WORN), open_piece, Placement(), reference=wide)
    # the two straight sides and the two level sides of a rim, seen from 19 mm behind
    half = (WORN.width_mm - BRIDGE_MM) / 4
    area = 4 * RIM_MM * (half + WORN.height_mm / 2)
    rough = 100 * area * 19 / 35**3 / (2 * np.pi * (1 - np.cos(np.radians(75))))
    for side in ("left", "right"):
        assert 0.5 * rough < check.hidden_percent[side] < 3 * rough


def test_small_windows_hide_the_rims_before_the_rims_hide_anything():
    check = check_glasses(faceless(glasses=WORN), plate(distance_mm=200), Placement())
    assert max(check.hidden_percent.values()) < 1


def test_a_size_that_is_found_clears_the_glasses_and_one_too_small_is_judged(tight):
    # Wide glasses in the test shell: at the size that suits the bare head they touch.
    glasses = Glasses(width_mm=155, depth_mm=20, height_mm=45)
    record = replace(tight.wearer.record, glasses=glasses)
    wearer = replace(tight.wearer, record=record)
    brief = brief_for(record, replace(tight.brief, size_least=0.8, size_most=1.4))
    bare = solve_size(tight.wearer, tight.piece, brief)
    answer = solve_size(wearer, tight.piece, brief)
    assert answer.feasible
    gap, _, _ = glasses_gap(wearer, tight.piece, answer.placement)
    assert gap > -0.02
    touching, _, part = glasses_gap(wearer, tight.piece, tight.placement)
    assert touching < 0.0
    reasons = judge(wearer, tight.piece, tight.placement, brief).reasons
    assert (
        f"Glasses: their {part} stands {-touching:.1f} mm in the finished wall." in reasons
    )
    assert glasses_gap(wearer, tight.piece, bare.placement)[0] < gap
