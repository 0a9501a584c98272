"""Neck loads against statics by hand."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import BriefError, DesignError
from fitkit.fit.balance import (
    CONDYLES_MM,
    POSTURES,
    Posture,
    balance,
    balance_of,
    counterweight,
    head_mass,
    neck_load,
    on_and_off,
)
from fitkit.fit.placement import Placement
from fitkit.piece.mass import Body, Weighing, point_mass


def mass_at(mass_g, *from_condyles_mm):
    at = np.add(CONDYLES_MM, from_condyles_mm)
    return point_mass(mass_g=mass_g, at_mm=at)


def weighing_of(**masses):
    return Weighing(
        bodies=tuple(
            Body(name=name, kind="part", mass=mass) for name, mass in masses.items()
        )
    )


def test_moments_upright_and_bowed_are_those_of_statics():
    # 1.5 kg, 40 mm ahead of and 60 mm above the joint, g = 9.80665:
    # 1.5 g · 4.0 cm = 58.840 N cm; bowed 30°: 1.5 g (4 cos 30° + 6 sin 30°) = 95.087 N cm
    loads = balance_of(mass_at(1500, 0, 40, 60)).loads
    assert loads["upright"].forward_n_cm == pytest.approx(58.840, abs=5e-4)
    assert loads["bowed"].forward_n_cm == pytest.approx(95.087, abs=5e-4)
    assert loads["bowed"].right_n_cm == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("ahead", "mass"), [(40, 3416), (60, 2277), (80, 1708)])
def test_the_guidance_moment_allows_the_tabled_mass(ahead, mass):
    load = neck_load(mass_at(mass, 0, ahead, 0), Posture())
    assert load.forward_n_cm == pytest.approx(134.0, rel=5e-4)


def test_tilting_right_pulls_right_and_looking_up_pulls_back():
    loads = balance_of(mass_at(1000, 0, 0, 100)).loads
    weight = 9.80665 * 10
    assert loads["tilted"].right_n_cm == pytest.approx(weight * np.sin(np.radians(20)))
    up = loads["looking up"].forward_n_cm
    assert up == pytest.approx(-weight * np.sin(np.radians(30)))


def test_a_mirrored_piece_loads_the_other_side():
    one = balance_of(mass_at(800, 30, 20, 50)).loads
    other = balance_of(mass_at(800, -30, 20, 50)).loads
    for name in ("upright", "bowed", "looking up"):
        assert one[name].forward_n_cm == pytest.approx(other[name].forward_n_cm)
        assert one[name].right_n_cm == pytest.approx(-other[name].right_n_cm)


def test_head_and_piece_together_have_the_mean_centre():
    # lever of the head 19 mm ahead, 57 mm up; with 1.5 kg at (40, 60): (24.25, 57.75)
    both = balance_of(mass_at(1500, 0, 40, 60)).with_head
    from_condyles = both.centre_mm - CONDYLES_MM
    assert from_condyles == pytest.approx([0, 24.25, 57.75])


def test_the_heads_nodding_inertia_is_that_of_its_radius_of_gyration():
    # 4.5 kg × 0.0718² = 0.02320 kg m²
    nod = head_mass().inertia_g_mm2[0, 0] / 1e9
    assert nod == pytest.approx(0.02320, abs=5e-6)


def test_a_counterweight_evens_the_piece_and_adds_its_mass():
    # 1.5 kg at +40 is evened by 0.600 kg at −100
    found = counterweight(
        weighing_of(shell=mass_at(1500, 0, 40, 60)),
        at_mm=np.add(CONDYLES_MM, (0, -100, 20)),
    )
    assert found.mass_g == pytest.approx(600.0)
    assert found.after.loads["upright"].forward_n_cm == pytest.approx(0, abs=1e-9)
    assert found.after.piece.mass_g == pytest.approx(2100)


def test_a_counterweight_holds_in_a_turned_placement():
    pose = Placement(shift_mm=(0, 12, 3), pitch_deg=9, yaw_deg=4)
    found = counterweight(
        weighing_of(beak=point_mass(mass_g=700, at_mm=(5, 90, 20))), pose,
        at_mm=(0, -105, 10),
    )  # fmt: skip
    assert found.after.loads["upright"].forward_n_cm == pytest.approx(0, abs=1e-9)


def test_a_counterweight_on_the_heavy_side_is_refused():
    with pytest.raises(BriefError, match="behind the condyles"):
        counterweight(weighing_of(a=mass_at(1500, 0, 40, 0)), at_mm=(0, 80, 0))


def test_taking_horns_off_says_what_changes():
    both = weighing_of(shell=mass_at(900, 0, 10, 60), horns=mass_at(300, 0, 50, 200))
    change = on_and_off(both, names=("horns",))
    assert change.mass_g == pytest.approx(300)
    assert change.centre_shift_mm == pytest.approx([0, -10, -35])
    assert change.off.loads["bowed"].total_n_cm < change.on.loads["bowed"].total_n_cm
    with pytest.raises(DesignError, match="Did you mean 'horns'"):
        on_and_off(both, names=("horn",))


def test_figures_of_others_are_context_and_heavy_pieces_get_a_word():
    light = balance(weighing_of(cap=mass_at(200, 0, 5, 50)))
    heavy = balance(weighing_of(bull=mass_at(3000, 40, 60, 90)))
    assert light.cautions == ()
    said = " ".join(heavy.cautions)
    for words in ("plan breaks", "When bowed it pulls", "heavier on the wearer's right"):
        assert words in said
    assert "context, not a pass" in light.context[0]
    assert set(heavy.loads) == set(POSTURES)
    assert heavy.worst in ("bowed", "tilted")


def test_a_posture_in_radians_or_beyond_reach_is_refused():
    with pytest.raises(BriefError, match="-90 to 90 deg"):
        Posture(pitch_deg=120)
