"""Intervals of pressure and hold: closed forms of a pressed cap, friction by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.fit.foam import linear_foam
from fitkit.fit.pad_spread import padding_doubt
from fitkit.fit.padding import CASES, pad_out
from fitkit.fit.pads import Pad
from fitkit.fit.placement import Placement

HOME = Placement()


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


def doubt_of(head_and_piece, pads, mass):
    padding = pad_out(*head_and_piece, HOME, pads=pads, weighing=mass, cases=CASES[:2])
    doubt = padding_doubt(*head_and_piece, HOME, padding=padding, weighing=mass)
    return padding, doubt


def test_a_cap_under_a_given_weight_presses_with_the_root_of_its_stiffness(head_and_piece):
    # paraboloid in a Winkler bed: F = π K R δ², p = K δ, so p = √(K F / (π R)): a batch
    # 30 % firmer or softer changes the peak by √1.3 and √0.7, not by 30 %
    soft = replace(linear_foam(name="soft", modulus_kpa=80.0), spread_percent=30.0)
    crown = Pad(name="crown", foam=soft, thickness_mm=16, centre_mm=(0, 0, 85),
                radius_mm=80)  # fmt: skip
    low = weight(300.0, at_mm=(0, 0, -60))
    padding = pad_out(*head_and_piece, HOME, pads=[crown], weighing=low, cases=CASES[:1])
    doubt = padding_doubt(*head_and_piece, HOME, padding=padding, weighing=low)
    peak = doubt.peak_kpa
    assert peak.high / peak.value == pytest.approx(1.3**0.5, rel=0.04)
    assert peak.low / peak.value == pytest.approx(0.7**0.5, rel=0.04)
    assert doubt.spread_percent == 30


def test_less_friction_leaves_less_of_it(head_and_piece):
    # no spread of foam: the force wanted is the same, so its share of the limit goes as
    # 0.32 / 0.30 and 0.32 / 0.34
    padding, doubt = doubt_of(head_and_piece, ring_of_pads(), weight(800.0))
    used = 1 - doubt.slip_margin.value
    assert 1 - doubt.slip_margin.low == pytest.approx(used * 0.32 / 0.30, rel=0.03)
    assert 1 - doubt.slip_margin.high == pytest.approx(used * 0.32 / 0.34, rel=0.03)
    assert doubt.slip_margin.value == min(
        one.slip_margin for one in padding.settled.values()
    )


def test_words_give_the_interval_and_say_when_it_may_slide(head_and_piece):
    pads = [
        replace(pad, foam=replace(pad.foam, spread_percent=15)) for pad in ring_of_pads()
    ]
    _, doubt = doubt_of(head_and_piece, pads, weight(800.0))
    low, high = doubt.peak_kpa.low, doubt.peak_kpa.high
    assert low < doubt.peak_kpa.value < high
    assert f"{low:.1f} to {high:.1f} kPa" in doubt.words[0]
    assert doubt.always_holds
    heavy = [pad for pad in pads if pad.name == "crown"]
    padding, loose = doubt_of(head_and_piece, heavy, weight(900.0, at_mm=(0, 0, 60)))
    assert not padding.holds
    assert not loose.always_holds
    assert "does not come to rest" in loose.words[1]
