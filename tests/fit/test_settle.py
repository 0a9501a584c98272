"""Rest on foam against closed forms: a sphere, four springs, weight held by friction."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import bed, rest_on

from fitkit.fit._contact import lines, rotation_of, springs
from fitkit.fit.foam import foam, linear_foam

FOUR = np.array([[-60.0, -50, 0], [60, -50, 0], [-60, 50, 0], [60, 50, 0]])
SPRING = linear_foam(name="spring", modulus_kpa=50.0)


def test_a_sphere_in_a_winkler_bed_sinks_as_the_closed_form_says():
    # F = π K δ² (R − δ/3), K = E/h: R 90, h 15 mm, E 50 kPa, δ 3 mm gives 8.38805 N,
    # radius of contact 23.0434 mm and 10.0 kPa at most
    count, radius = 40_000, 30.0
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    out = radius * np.sqrt((np.arange(count) + 0.5) / count)
    points = np.column_stack([out * np.cos(turn), out * np.sin(turn),
                              np.sqrt(90**2 - out**2)])  # fmt: skip
    area = np.pi * radius**2 / count
    contacts, walls = bed(points, area, foam=SPRING, thickness_mm=15)
    walls.wall[:, 2] = 90 + 15.0  # one flat plate, touching the pole
    rest = rest_on(contacts, walls, force_n=(0, 0, -8.38805), centre_mm=(0, 0, 120))
    assert rest.rests
    assert rest.pose.shift[2] == pytest.approx(-3.0, abs=1e-3)
    pressed = out[rest.pressing.normal > 0].max()
    assert pressed == pytest.approx(23.0434, abs=0.1)  # spacing of the points
    peak = rest.pressing.normal.max() / area * 1e3
    assert peak == pytest.approx(10.0, abs=5e-3)
    # a thin bed is no half-space: twice the mean (K. L. Johnson, Contact Mechanics, 4.3,
    # for the paraboloid; a sphere has 1.989), not the 1.5 of Hertz
    mean = 8.38805 / (np.pi * 23.0434**2) * 1e3
    assert peak / mean == pytest.approx(1.989, abs=2e-3)


def test_a_weight_on_a_flat_pad_presses_with_weight_over_area():
    # 1.5 kg on 40 cm²: 3.6775 kPa; and an area of 34.479 cm² would meet 4.2663 kPa
    weight = 1.5 * 9.80665
    contacts, walls = bed(FOUR, 1000.0, foam=foam("hr 40"), thickness_mm=20)
    rest = rest_on(contacts, walls, force_n=(0, 0, -weight), centre_mm=(0, 0, 40))
    assert rest.pressing.normal / 1000.0 * 1e3 == pytest.approx(3.6775, abs=5e-5)
    contacts, walls = bed(FOUR, 3447.9 / 4, foam=foam("hr 40"), thickness_mm=20)
    rest = rest_on(contacts, walls, force_n=(0, 0, -weight), centre_mm=(0, 0, 40))
    assert rest.pressing.normal / (3447.9 / 4) * 1e3 == pytest.approx(4.2663, abs=1e-4)


def test_four_springs_share_an_off_centre_load_as_by_hand():
    # W/4 (1 ± x/60 ± y/50): x = 12, y = −10 of ±60, ±50 and W = 10 N, small turns
    contacts, walls = bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20)
    rest = rest_on(contacts, walls, force_n=(0, 0, -10), centre_mm=(12, -10, 0))
    share = [1 - 0.2 + 0.2, 1 + 0.2 + 0.2, 1 - 0.2 - 0.2, 1 + 0.2 - 0.2]
    assert rest.pressing.normal == pytest.approx(2.5 * np.array(share), rel=5e-3)


def test_a_spring_that_would_have_to_pull_lets_go():
    # off centre beyond the kern the far corner lifts; the others still balance by hand
    contacts, walls = bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20)
    rest = rest_on(contacts, walls, force_n=(0, 0, -6), centre_mm=(40, 30, 0))
    assert rest.rests
    assert rest.pressing.normal[0] == 0
    assert np.all(rest.pressing.normal >= 0)
    assert rest.pressing.normal.sum() == pytest.approx(6, rel=1e-3)


def four_plates(mass_kg):
    # four upright pads of 5 N each, two across and two along: as in a clamp
    ways = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
    contacts, walls = bed(-80 * ways, 2000.0, foam=SPRING, thickness_mm=20, away=ways,
                          gap_mm=19.0)  # fmt: skip
    weight = mass_kg * 9.80665
    return rest_on(contacts, walls, force_n=(0, 0, -weight), centre_mm=(0, 0, 0))


def test_four_pads_of_5_n_hold_what_friction_can_hold_and_no_more():
    # 4 · 5 N · 0.32 / g = 0.6526 kg
    holds, slides = four_plates(0.6525), four_plates(0.6530)
    assert holds.rests
    assert holds.pressing.normal == pytest.approx(5.0)
    assert not slides.rests


def test_energy_falls_in_every_round():
    rest = four_plates(0.6)
    for trace in rest.energies:
        assert np.all(np.diff(trace) <= 0)
    contacts, walls = bed(FOUR, 4000.0, foam=foam("pe 33"), thickness_mm=12)
    rest = rest_on(contacts, walls, force_n=(1, 0, -30), centre_mm=(30, 20, 60))
    assert sum(map(len, rest.energies)) > len(rest.energies)
    for trace in rest.energies:
        assert np.all(np.diff(trace) <= 0)


def test_springs_resist_as_their_lines_say():
    rng = np.random.default_rng(3)
    arm, stiff = rng.normal(size=(9, 3)), rng.uniform(1, 2, 9)
    by_lines = sum(
        (lines(np.tile(way, (9, 1)), arm) * stiff[:, None]).T
        @ lines(np.tile(way, (9, 1)), arm)
        for way in np.eye(3)
    )
    assert springs(arm, stiff) == pytest.approx(by_lines)


def test_rotation_vectors_turn_right_handed():
    turn = rotation_of(np.array([0.0, 0.0, np.pi / 2]))
    assert turn @ [1, 0, 0] == pytest.approx([0, 1, 0])
    small = rotation_of(np.array([1e-10, 0, 0]))
    assert small @ small.T == pytest.approx(np.eye(3), abs=1e-12)
