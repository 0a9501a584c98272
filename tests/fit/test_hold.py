"""Friction that a load needs, and rocking, against statics by hand."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import bed, rest_on

from fitkit.fit._hold import grip_wanted, slip_margin, wobble_deg_per_nm
from fitkit.fit.foam import linear_foam

SPRING = linear_foam(name="spring", modulus_kpa=50.0)
FOUR = np.array([[-60.0, -50, 0], [60, -50, 0], [-60, 50, 0], [60, 50, 0]])


def test_four_plates_share_a_weight_and_leave_the_rest_of_their_friction():
    # 5 N on each of four upright plates at 0.32 hold 0.6526 kg; 0.60 kg uses 0.60/0.6526
    ways = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
    contacts, walls = bed(-80 * ways, 2000.0, foam=SPRING, thickness_mm=20, away=ways,
                          gap_mm=19.0)  # fmt: skip
    weight = 0.60 * 9.80665
    rest = rest_on(contacts, walls, force_n=(0, 0, -weight), centre_mm=(0, 0, 0))
    wanted = grip_wanted(contacts, rest.pressing, rest.grip)
    assert wanted == pytest.approx(weight / 4, rel=1e-5)
    assert slip_margin(wanted, rest.grip) == pytest.approx(1 - 0.60 / 0.6526, abs=1e-4)


def test_a_plate_that_turns_about_its_middle_pulls_its_corners_around():
    # a moment about up on a level plate of four equal pads: T / (4 r) at each, r = 78.1
    contacts, walls = bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20)
    rest = rest_on(contacts, walls, force_n=(0, 0, -20), centre_mm=(0, 0, 0),
                   torque_n_mm=(0, 0, 200))  # fmt: skip
    wanted = grip_wanted(contacts, rest.pressing, rest.grip)
    assert wanted == pytest.approx(200 / (4 * np.hypot(60, 50)), rel=1e-4)


def test_four_springs_rock_as_their_levers_say():
    # k = E A / h = 10 N/mm each: 4 k y² = 100 N m/rad in pitch, 4 k x² = 144 in roll
    contacts, walls = bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20, friction=0.0)
    rest = rest_on(contacts, walls, force_n=(0, 0, -20), centre_mm=(0, 0, 0))
    pitch, _, roll = wobble_deg_per_nm(rest.stiffness)
    assert pitch == pytest.approx(np.degrees(1 / 100), rel=1e-3)
    assert roll == pytest.approx(np.degrees(1 / 144), rel=1e-3)
