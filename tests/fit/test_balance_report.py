"""The weight on the neck in one call: what is assumed is said, what evens it evens it."""

from __future__ import annotations

import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.errors import DesignError
from fitkit.fit import balance_report as rooms
from fitkit.fit.balance_report import balance_report
from fitkit.fit.pads import pad_bodies
from fitkit.fit.placement import Placement
from fitkit.piece.mass import Body, Weighing, point_mass

HOME = Placement()


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


def report(head_and_piece, **given):
    return balance_report(*head_and_piece, HOME, **given)


def test_a_front_heavy_piece_is_evened_behind_the_head(head_and_piece):
    # 800 g, 31 mm ahead of the condyles: 800 · 31 / (arm behind) at 20 mm off the ball
    got = report(head_and_piece, weighing=weight(800.0, at_mm=(0, 20, 20)))
    assert got.counterweight.at_mm[1] == pytest.approx(-105, abs=1.0)
    arm = -got.counterweight.at_mm[1] - 11
    assert got.counterweight.mass_g == pytest.approx(800 * 31 / arm, rel=1e-6)
    after = got.counterweight.after.loads["upright"].forward_n_cm
    assert after == pytest.approx(0, abs=1e-9)
    assert f"{got.counterweight.mass_g:.0f} g put" in got.words[1]


def test_a_piece_heavy_behind_is_evened_before_the_face(head_and_piece):
    got = report(head_and_piece, weighing=weight(800.0, at_mm=(0, -45, 20)))
    assert got.counterweight.at_mm[1] > 80


def test_an_even_piece_needs_nothing(head_and_piece):
    got = report(head_and_piece, weighing=weight(800.0, at_mm=(0, -11, 20)))
    assert got.counterweight is None
    assert "no counterweight is needed" in got.words[1]


def test_pads_weigh_in_and_leaving_them_out_is_said(head_and_piece):
    wearer, _ = head_and_piece
    bare = report(head_and_piece, weighing=weight(800.0))
    padded = report(head_and_piece, weighing=weight(800.0), pads=ring_of_pads())
    grams = sum(b.mass.mass_g for b in pad_bodies(wearer, ring_of_pads(), HOME))
    added = padded.balance.piece.mass_g - bare.balance.piece.mass_g
    assert added == pytest.approx(grams)
    assert "Pads are not weighed here" in bare.assumed[0]
    assert padded.assumed == ()


def test_horns_that_come_off_are_said_with_what_changes(head_and_piece):
    both = Weighing(bodies=(
        Body(name="shell", kind="part", mass=point_mass(mass_g=700, at_mm=(0, 0, 20))),
        Body(name="horns", kind="part", mass=point_mass(mass_g=300, at_mm=(0, 40, 170))),
    ))  # fmt: skip
    got = report(head_and_piece, weighing=both, detachable=("horns",))
    assert got.without.mass_g == pytest.approx(300)
    assert "Without horns it is 300 g lighter" in got.words[-1]
    # 30 % of 1000 g at (40, 170): the centre goes 12 mm back and 45 mm down
    assert "12.0 mm back and 45.0 mm down" in got.words[-1]
    with pytest.raises(DesignError, match="Did you mean 'horns'"):
        report(head_and_piece, weighing=both, detachable=("horn",))


def test_densities_that_nobody_gave_are_said(head_and_piece, monkeypatch):
    taken = weight(500.0), ("No densities were given.",)
    monkeypatch.setattr(rooms, "weighed_piece", lambda *_, **__: taken)
    assert report(head_and_piece).assumed[0] == "No densities were given."
