"""Pads laid flat, and pads worn in, on a round head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.errors import BriefError
from fitkit.fit.foam import foam
from fitkit.fit.pad_patterns import cutting_list, pad_patterns
from fitkit.fit.pad_wear import wear_in
from fitkit.fit.padding import CASES, pad_out
from fitkit.fit.pads import Pad, pad_area_mm2
from fitkit.fit.placement import Placement

HOME = Placement()


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


def patch(radius_mm, at=(0, 0, 85)):
    return Pad(name="patch", foam=foam("pe 33"), thickness_mm=15, centre_mm=at,
               radius_mm=radius_mm)  # fmt: skip


def shoelace(outline):
    x, y = outline.T
    return abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2


def test_a_patch_is_cut_to_the_size_of_its_middle(head_and_piece):
    # a cap on the head of 85 mm grows by (92.5/85)² halfway to the wall of 100 mm
    wearer, _ = head_and_piece
    pad = patch(45)
    got = pad_patterns(*head_and_piece, HOME, pads=[pad], most_stretch_percent=30)
    assert len(got) == 1
    on_head = pad_area_mm2(wearer, pad)
    assert got[0].area_mm2 == pytest.approx(on_head * (92.5 / 85) ** 2, rel=0.03)
    assert shoelace(got[0].outlines_mm[0]) == pytest.approx(got[0].area_mm2, rel=1e-6)


def test_a_pad_over_the_bound_is_split_and_then_keeps_it(head_and_piece):
    pad = patch(75)
    whole = pad_patterns(*head_and_piece, HOME, pads=[pad], most_stretch_percent=40)
    parts = pad_patterns(*head_and_piece, HOME, pads=[pad], most_stretch_percent=5)
    assert len(whole) == 1
    assert whole[0].worst_stretch_percent > 5
    assert len(parts) > 1
    assert [part.name for part in parts[:2]] == ["patch 1", "patch 2"]
    assert all(part.keeps_bound for part in parts)
    areas = sum(part.area_mm2 for part in parts)
    assert areas == pytest.approx(whole[0].area_mm2, rel=0.05)


def test_the_grain_of_a_standing_pad_points_up_the_head(head_and_piece):
    wearer, _ = head_and_piece
    brow = Pad(name="brow", foam=foam("hr 40"), thickness_mm=15, zones=("brow",))
    got = pad_patterns(*head_and_piece, HOME, pads=[brow], most_stretch_percent=40)[0]
    outline = got.outlines_mm[0]
    # the brow zone is wider than high and the same on both sides
    across, up = np.ptp(outline, axis=0)
    under = wearer.head.vertices[brow.covers(wearer)]
    assert got.grain == "up"
    assert across > up
    assert np.ptp(under[:, 0]) > np.ptp(under[:, 2])
    middle = outline[:, 0].min() / 2 + outline[:, 0].max() / 2
    assert middle == pytest.approx(got.grain_at_mm[0], abs=1.5)


def turning_deg(outline):
    steps = np.roll(outline, -1, axis=0) - outline
    angle = np.degrees(np.arctan2(steps[:, 1], steps[:, 0]))
    return np.abs((np.diff(angle, append=angle[:1]) + 180) % 360 - 180)


def test_outlines_have_no_teeth(head_and_piece):
    brow = Pad(name="brow", foam=foam("hr 40"), thickness_mm=15, zones=("brow",))
    got = pad_patterns(*head_and_piece, HOME, pads=[brow], most_stretch_percent=40)[0]
    assert turning_deg(got.outlines_mm[0]).max() < 45


def test_an_outline_is_no_longer_than_that_of_a_clean_patch(head_and_piece):
    # a cap cut at a chord c from the pole of a ball: rim 2 π c √(1 − (c/2R)²), c = 50 on
    # the head, grown by 92.5/85; teeth of the triangles would make it longer
    got = pad_patterns(*head_and_piece, HOME, pads=[patch(50)], most_stretch_percent=40)
    outline = got[0].outlines_mm[0]
    length = np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).sum()
    area = pad_area_mm2(head_and_piece[0], patch(50))
    round_one = 2 * np.sqrt(np.pi * area) * 92.5 / 85
    assert length < 1.06 * round_one
    rim = 2 * np.pi * 50 * np.sqrt(1 - (50 / 170) ** 2) * 92.5 / 85
    assert length == pytest.approx(rim, rel=0.08)


def test_a_split_runs_straight_through_the_triangles(head_and_piece):
    parts = pad_patterns(*head_and_piece, HOME, pads=[patch(75)], most_stretch_percent=8)
    assert len(parts) == 2
    for part in parts:  # a half disc: its longest straight run is the seam, rounded off
        ring = part.outlines_mm[0]
        far = np.linalg.norm(ring[:, None] - ring[None], axis=-1)
        first, last = np.unravel_index(far.argmax(), far.shape)
        way = (ring[last] - ring[first]) / far.max()
        off = (ring - ring[first]) @ [-way[1], way[0]]
        nearest = min(abs(off.min()), abs(off.max()))
        assert nearest < 0.12 * far.max()


def test_the_cutting_list_adds_up_by_foam_and_thickness(head_and_piece):
    pads = [patch(30), patch(30, at=(0, 85, 0)), replace(patch(30), thickness_mm=10)]
    got = pad_patterns(*head_and_piece, HOME, pads=pads, most_stretch_percent=40)
    thick, thin = cutting_list(got)
    assert (thick.foam, thick.thickness_mm, thick.pieces) == ("pe 33", 15, 2)
    assert (thin.foam, thin.thickness_mm, thin.pieces) == ("pe 33", 10, 1)
    assert thick.area_mm2 == pytest.approx(got[0].area_mm2 + got[1].area_mm2)


def test_a_pad_too_small_to_cut_is_named(head_and_piece):
    with pytest.raises(BriefError, match="too small to cut"):
        pad_patterns(*head_and_piece, HOME, pads=[patch(4)])


@pytest.fixture(scope="module")
def padding(head_and_piece):
    pads = [replace(pad, foam=foam("pe 33"), thickness_mm=16.5) for pad in ring_of_pads()]
    return pad_out(*head_and_piece, HOME, pads=pads, weighing=weight(1500.0),
                   cases=CASES[:1])  # fmt: skip


def test_wear_thins_pads_by_the_set_of_their_compression(head_and_piece, padding):
    got = wear_in(*head_and_piece, HOME, padding=padding, weighing=weight(1500.0), hours=48)
    made = foam("pe 33")
    for pad, state in zip(padding.pads, padding.settled["upright"].pads, strict=False):
        # to 20 % compression: 7 % of the thickness after 48 h, in proportion
        share = 0.07 / 0.20 * min(state.mean_strain, 0.2)
        assert got.lost_mm[pad.name] == pytest.approx(pad.thickness_mm * share, rel=1e-6)
        assert float(made.lasting_set(state.mean_strain, hours=48)) == pytest.approx(share)
    assert got.worn.holds
    assert "After 48 h" in got.words[0]
    for name, thick in got.thicken_to_mm.items():
        pad = next(pad for pad in padding.pads if pad.name == name)
        assert thick * (1 - got.lost_mm[name] / pad.thickness_mm) == pytest.approx(
            pad.thickness_mm
        )


def test_no_wear_changes_nothing(head_and_piece, padding):
    got = wear_in(*head_and_piece, HOME, padding=padding, weighing=weight(1500.0), hours=0)
    assert got.sinks_mm == pytest.approx(0, abs=1e-6)
    assert got.wobble_ratio == pytest.approx(1, rel=1e-4)
    assert not got.thicken_to_mm


def test_wear_needs_the_upright_case(head_and_piece, padding):
    bare = replace(padding, settled={})
    with pytest.raises(BriefError, match="'upright'"):
        wear_in(*head_and_piece, HOME, padding=bare, weighing=weight(1500.0), hours=1)
