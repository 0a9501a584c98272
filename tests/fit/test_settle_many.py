"""Many beds of foam settled at once, against the closed forms of each."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import STILL, bed, rest_on

from fitkit.fit._hold import slip_margin, wobble_deg_per_nm
from fitkit.fit._settle import Load
from fitkit.fit._settle_many import beds_of, settle_many, stacked_loads, stacked_poses
from fitkit.fit.foam import foam, linear_foam

FOUR = np.array([[-60.0, -50, 0], [60, -50, 0], [-60, 50, 0], [60, 50, 0]])
SPRING = linear_foam(name="spring", modulus_kpa=50.0)


def all_at_once(each, *, balanced=1e-6):
    """Settle (contacts, walls, force, centre) side by side."""
    loads = [Load(np.array(f, float), np.zeros(3), np.array(c, float))
             for _, _, f, c in each]  # fmt: skip
    beds = beds_of([(contacts, walls) for contacts, walls, _, _ in each])
    pose = stacked_poses([STILL] * len(each))
    return settle_many(beds, stacked_loads(loads), pose, balanced=balanced)


def cap(count, foam_of, thickness):
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    up = 1 - 0.75 * (np.arange(count) + 0.5) / count
    out = np.sqrt(1 - up**2)
    way = np.column_stack([out * np.cos(turn), out * np.sin(turn), up])
    area = 2 * np.pi * 90**2 * 0.75 / count
    return bed(90 * way, area, foam=foam_of, thickness_mm=thickness, away=-way,
               gap_mm=0.9 * thickness)  # fmt: skip


def plates(mass_kg):
    ways = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
    contacts, walls = bed(-80 * ways, 2000.0, foam=SPRING, thickness_mm=20, away=ways,
                          gap_mm=19.0)  # fmt: skip
    return contacts, walls, (0, 0, -mass_kg * 9.80665), (0, 0, 0)


def test_springs_caps_and_plates_side_by_side_rest_as_by_hand():
    springs = (*bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20), (0, 0, -10), (12, -10, 0))
    lifted = (*bed(FOUR, 4000.0, foam=SPRING, thickness_mm=20), (0, 0, -6), (40, 30, 0))
    found = all_at_once([springs, plates(0.60), lifted])
    assert found.residual.max() < 1e-6
    # W/4 (1 ± x/60 ± y/50); 5 N each of four pads; a far corner that lets go
    share = [1 - 0.2 + 0.2, 1 + 0.2 + 0.2, 1 - 0.2 - 0.2, 1 + 0.2 - 0.2]
    normal = found.pressing.normal
    assert normal[0] == pytest.approx(2.5 * np.array(share), rel=5e-3)
    assert normal[1] == pytest.approx(5.0)
    assert normal[2][0] == 0
    assert normal.min() >= 0
    # 0.60 kg of the 0.6526 kg that friction can hold
    wanted = np.full(4, 0.60 * 9.80665 / 4)
    assert slip_margin(wanted, found.grip)[1] == pytest.approx(1 - 0.60 / 0.6526, abs=1e-4)


def test_what_friction_cannot_hold_is_left_unbalanced():
    found = all_at_once([plates(0.6525), plates(0.6530)])
    assert found.residual[0] < 1e-6
    assert found.residual[1] > 1e-4


def test_beds_of_unlike_number_and_foam_rest_where_each_does_alone():
    beds = [cap(300, foam("hr 40"), 20.0), cap(500, foam("pu 35 firm"), 15.0),
            cap(420, foam("pe 33"), 10.0)]  # fmt: skip
    forces, centre = ((1, 0, -9), (0, 2, -15), (0, 0, -30)), (5, 20, 40)
    found = all_at_once([(*one, f, centre) for one, f in zip(beds, forces, strict=True)])
    assert found.residual.max() < 1e-6
    wobbles = wobble_deg_per_nm(found.stiffness)
    for index, ((contacts, walls), force) in enumerate(zip(beds, forces, strict=True)):
        alone = rest_on(contacts, walls, force_n=force, centre_mm=centre)
        assert found.pose.shift[index] == pytest.approx(alone.pose.shift, abs=1e-4)
        assert found.pose.turn[index] == pytest.approx(alone.pose.turn, abs=1e-6)
        mine = found.pressing.normal[index, : len(contacts)]
        assert mine == pytest.approx(alone.pressing.normal, rel=1e-4, abs=1e-5)
        assert wobbles[index] == pytest.approx(wobble_deg_per_nm(alone.stiffness), rel=1e-4)
