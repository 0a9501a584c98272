"""Blankets, hollow casts and mixes against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from shells import as_mesh, ball, box

from fitkit.errors import DesignError
from fitkit.piece.pours import hollow_cast, mixes, silicone_blanket
from fitkit.piece.quantities import Weight

#: A ball of 192 sides is short of a round one by this share.
CHORDS = 1e-3


@pytest.fixture(scope="module")
def ball_of_120():
    return as_mesh(ball(120, segments=192))


def sphere_cm3(radius):
    return 4 / 3 * np.pi * radius**3 / 1000


def test_a_blanket_over_a_ball(ball_of_120):
    blanket = silicone_blanket(ball_of_120, thickness_mm=10, waste_percent=10)
    volume = sphere_cm3(130) - sphere_cm3(120)
    assert blanket.volume_cm3 == pytest.approx(volume, rel=CHORDS)
    assert blanket.weight.net_g == pytest.approx(1.2 * volume, rel=CHORDS)
    assert blanket.weight.weigh_g == np.ceil(blanket.weight.net_g * 1.1)


def test_a_blanket_over_a_box_has_steiners_volume():
    # S r + M r² + 4 pi r³ / 3 by hand, M = pi (a + b + c)
    blanket = silicone_blanket(as_mesh(box(200, 150, 230)), thickness_mm=10)
    volume = 221_000 * 10 + np.pi * 580 * 100 + 4 / 3 * np.pi * 1000
    assert blanket.volume_cm3 == pytest.approx(volume / 1000, rel=1e-6)


def test_a_hollow_cast_reaches_its_wall_coat_by_coat(ball_of_120):
    cast = hollow_cast(ball_of_120, wall_mm=3.5, coat_mm=1.0, density_g_cm3=1.06)
    assert [coat.thickness_mm for coat in cast.coats] == pytest.approx([1, 1, 1, 0.5])
    whole = sphere_cm3(120) - sphere_cm3(116.5)
    assert cast.net_g == pytest.approx(1.06 * whole, rel=CHORDS)
    first, second = cast.coats[:2]
    assert first.weight.net_g == pytest.approx(
        1.06 * (sphere_cm3(120) - sphere_cm3(119)), rel=CHORDS
    )
    assert second.area_m2 == pytest.approx(4 * np.pi * 0.119**2, rel=CHORDS)


def test_coats_that_fill_the_wall_exactly_are_not_one_too_many(ball_of_120):
    assert len(hollow_cast(ball_of_120, wall_mm=3.0, coat_mm=0.6).coats) == 5


def test_mixes_are_used_up_within_the_pot_life():
    # 6 min of pot life less 1 of mixing at 100 g/min: 500 g a mix; 1100 g are three mixes
    total = Weight(net_g=1000, waste_percent=10, scale_step_g=1)
    found = mixes(total=total, pot_life_min=6, mixing_min=1, pour_g_per_min=100)
    assert found.most_g == 500
    assert found.count == 3
    assert found.each_g == 367  # 366.67 rounded up
    assert found.minutes == pytest.approx(3 * 1 + 11)


def test_a_cup_can_be_the_limit():
    total = Weight(net_g=1000, waste_percent=0, scale_step_g=1)
    found = mixes(total=total, pot_life_min=60, mixing_min=1, pour_g_per_min=100, cup_g=250)
    assert (found.count, found.each_g) == (4, 250)


def test_a_pot_life_shorter_than_the_mixing_is_refused_with_the_cure():
    total = Weight(net_g=1000, waste_percent=0, scale_step_g=1)
    with pytest.raises(DesignError, match=r"below the pot life of 2 min; got 3\. .*slower"):
        mixes(total=total, pot_life_min=2, mixing_min=3, pour_g_per_min=100)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"wall_mm": -3, "coat_mm": 1}, "wall_mm must be 0.5 to 30 mm; got -3"),
        ({"wall_mm": 3, "coat_mm": 0}, "coat_mm must be 0.2 to 30 mm"),
        ({"wall_mm": 3, "coat_mm": 1, "density_g_cm3": 1060}, "did you mean 1.06 g/cm³"),
    ],
)
def test_a_cast_beyond_belief_is_refused(ball_of_120, numbers, words):
    with pytest.raises(DesignError, match=words):
        hollow_cast(ball_of_120, **numbers)


def test_a_blanket_beyond_belief_is_refused(ball_of_120):
    with pytest.raises(DesignError, match="thickness_mm must be 3 to 50 mm; got 1"):
        silicone_blanket(ball_of_120, thickness_mm=1)
