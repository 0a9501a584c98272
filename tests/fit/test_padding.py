"""A padded piece at rest on a round head: balance, symmetry, no pull, words."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.errors import BriefError
from fitkit.fit.balance import CONDYLES_MM
from fitkit.fit.foam import foam, linear_foam
from fitkit.fit.padding import CASES, Case, band_kpa, pad_out, placement_of
from fitkit.fit.pads import Pad, coverage, pad_area_mm2, pad_bodies
from fitkit.fit.placement import Placement, rotation_matrix
from fitkit.piece.mass import combined, point_mass
from fitkit.wearer.zones import ZONES

G = 9.80665


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


@pytest.fixture(scope="module")
def padded(head_and_piece):
    wearer, piece = head_and_piece
    return pad_out(wearer, piece, Placement(), pads=ring_of_pads(), weighing=weight(800.0))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_forces_and_moments_balance(padded, case):
    got = padded.settled[case.name]
    assert got.holds
    kilograms = padded.mass.mass_g / 1000
    centre = got.placement.to_head(padded.mass.centre_mm)
    # by hand: weight along gravity of the tilted head, and inertia about the condyles
    spin = np.array([-case.nod_rad_s2, 0, case.turn_rad_s2])
    seat = padded.settled["upright"].placement.to_head(padded.mass.centre_mm)
    pushed = np.cross(spin, seat - CONDYLES_MM) / 1000
    force = kilograms * (G * case.posture.down - pushed)
    inertia = padded.mass.inertia_g_mm2 * 1e-6
    moment = np.cross(centre, force) - inertia @ spin
    # inertia is taken where it sits, which upright rest is within microns of
    assert np.linalg.norm(got.force_n + force) < 5e-4 * np.linalg.norm(force)
    assert np.linalg.norm(got.moment_n_mm + moment) < 2e-2 * np.linalg.norm(force)
    assert got.residual < 1e-6


@pytest.mark.parametrize("case", CASES[:4], ids=lambda case: case.name)
def test_balance_in_any_posture_holds_to_one_part_in_a_million(padded, case):
    got = padded.settled[case.name]
    force = padded.mass.mass_g / 1000 * G * case.posture.down
    centre = got.placement.to_head(padded.mass.centre_mm)
    scale = np.linalg.norm(force)
    assert np.linalg.norm(got.force_n + force) < 1e-6 * scale
    off = got.moment_n_mm + np.cross(centre, force)
    assert np.linalg.norm(off) < 1e-6 * scale * 100


def test_nothing_pulls_and_shares_add_up(padded):
    for got in padded.settled.values():
        assert np.all(got.pressure_kpa >= 0)
        assert all(pad.force_n >= 0 for pad in got.pads)
        assert sum(pad.share for pad in got.pads) == pytest.approx(1)
        assert got.peak_kpa == pytest.approx(max(pad.peak_kpa for pad in got.pads))


def test_energy_falls_along_every_round(padded):
    for got in padded.settled.values():
        for trace in got.energies_n_mm:
            assert np.all(np.diff(trace) <= 1e-9)


def test_a_symmetric_piece_settles_symmetrically(padded):
    got = padded.settled["upright"]
    by_name = {pad.name: pad for pad in got.pads}
    left, right = by_name["temple_left"], by_name["temple_right"]
    assert left.force_n == pytest.approx(right.force_n, rel=0.02)
    assert got.placement.shift_mm[0] == pytest.approx(0, abs=0.02)
    assert abs(got.placement.yaw_deg) < 0.05
    assert abs(got.placement.roll_deg) < 0.05


def test_a_moved_wearer_settles_alike(head_and_piece, padded):
    # the same head and piece carried sideways by a shift of the placement
    wearer, piece = head_and_piece
    off = Placement(shift_mm=(0.8, 0, 0))
    got = pad_out(wearer, piece, off, pads=ring_of_pads(), weighing=weight(800.0),
                  cases=CASES[:1])  # fmt: skip
    one, other = got.settled["upright"], padded.settled["upright"]
    assert one.placement.shift_mm == pytest.approx(other.placement.shift_mm, abs=0.5)


def test_stiffer_pads_wobble_less_and_press_harder(head_and_piece, padded):
    wearer, piece = head_and_piece
    stiff = pad_out(wearer, piece, Placement(), pads=ring_of_pads(modulus_kpa=90),
                    weighing=weight(800.0), cases=CASES[:1])  # fmt: skip
    one, other = stiff.settled["upright"], padded.settled["upright"]
    assert one.peak_kpa > other.peak_kpa
    for axis in ("pitch", "yaw", "roll"):
        assert one.wobble_deg_per_nm[axis] < other.wobble_deg_per_nm[axis]


def test_a_heavy_piece_on_a_crown_pad_alone_sinks_by_its_weight(head_and_piece):
    # all the weight goes through the one pad; the sides are free
    wearer, piece = head_and_piece
    crown = Pad(name="crown", foam=foam("hr 40"), thickness_mm=20, zones=("crown",))
    got = pad_out(wearer, piece, Placement(), pads=[crown],
                  weighing=weight(1500.0, at_mm=(0, 0, -30)), cases=CASES[:1])  # fmt: skip
    state = got.settled["upright"].pads[0]
    assert state.share == pytest.approx(1.0)
    assert state.force_n > 0.9 * 1.5 * G


def test_poses_become_placements_and_back():
    for pitch, yaw, roll in ((3, -7, 11), (-20, 5, -4)):
        pose = Placement(pitch_deg=pitch, yaw_deg=yaw, roll_deg=roll)
        got = placement_of(
            type("P", (), {"turn": rotation_matrix(pitch, yaw, roll), "shift": (1, 2, 3)}),
            np.ones(3),
        )
        assert (got.pitch_deg, got.yaw_deg, got.roll_deg) == pytest.approx(
            (pitch, yaw, roll)
        )
        assert got.rotation == pytest.approx(pose.rotation)


def test_a_strap_presses_with_tension_over_radius_and_width():
    # 5 N over a radius of 90 mm, 25 mm wide: 2.2222 kPa
    got = band_kpa(tension_n=5, radius_mm=90, width_mm=25)
    assert got == pytest.approx(2.2222, abs=5e-5)


def test_pads_weigh_their_volume(head_and_piece):
    wearer, _ = head_and_piece
    pad = Pad(name="crown", foam=foam("pe 33"), thickness_mm=10, zones=("crown",))
    body = pad_bodies(wearer, [pad], Placement())[0]
    volume = pad_area_mm2(wearer, pad) * 10
    assert body.mass.mass_g == pytest.approx(volume * 33e-6)
    # a round patch of 25 mm chord on a ball of 85 mm: its area is π 25²
    patch = Pad(name="patch", foam=foam("pe 33"), thickness_mm=10, centre_mm=(0, 0, 85),
                radius_mm=25)  # fmt: skip
    assert pad_area_mm2(wearer, patch) == pytest.approx(np.pi * 25**2, rel=0.25)


def test_coverage_counts_every_spot_once_and_the_foam_on_it(head_and_piece):
    wearer, _ = head_and_piece
    made = foam("pe 33")
    upper = np.nonzero(wearer.head.vertices[:, 2] > 30)[0]
    painted = Pad(name="painted", foam=made, thickness_mm=12, painted=tuple(upper.tolist()))
    crown = Pad(name="crown", foam=made, thickness_mm=10, zones=("crown",))
    got = coverage(wearer, [painted, crown])
    # a cap of height 55 on a ball of 85 mm: 2 π · 85 · 55 (vertices 5 mm apart)
    assert got.area_mm2["painted"] == pytest.approx(2 * np.pi * 85 * 55, rel=0.06)
    assert got.volume_mm3["painted"] == pytest.approx(12 * got.area_mm2["painted"])
    both = np.union1d(upper, np.nonzero(crown.covers(wearer))[0])
    alone = Pad(name="both", foam=made, thickness_mm=5, painted=tuple(both.tolist()))
    assert sum(got.area_mm2.values()) == pytest.approx(pad_area_mm2(wearer, alone))
    whole = [Pad(name="all", foam=made, thickness_mm=5, zones=ZONES)]
    assert coverage(wearer, whole).share_percent == pytest.approx(100)


def test_a_drawn_patch_and_the_same_painted_settle_alike(head_and_piece):
    wearer, piece = head_and_piece
    drawn = Pad(name="top", foam=foam("hr 40"), thickness_mm=20, centre_mm=(0, 0, 85),
                radius_mm=50)  # fmt: skip
    under = tuple(np.nonzero(drawn.covers(wearer))[0].tolist())
    painted = Pad(name="top", foam=foam("hr 40"), thickness_mm=20, painted=under)
    one, other = (
        pad_out(wearer, piece, Placement(), pads=[pad],
                weighing=weight(900.0, at_mm=(0, 0, -40)), cases=CASES[:1]).peak_kpa
        for pad in (drawn, painted)
    )  # fmt: skip
    assert one == pytest.approx(other)


def settle_upright(wearer, piece, pads, mass_g):
    low = weight(mass_g, at_mm=(0, 0, -40))
    got = pad_out(wearer, piece, Placement(), pads=pads, weighing=low, cases=CASES[:1])
    settled = got.settled["upright"]
    return settled.pads, " ".join(settled.cautions)


def test_a_pad_that_is_squashed_beyond_its_curve_is_named(head_and_piece):
    crown = Pad(name="crown", foam=foam("pu 35 soft"), thickness_mm=18, zones=("crown",))
    (state, _), said = settle_upright(*head_and_piece, [crown], 14000.0)
    assert state.bottomed
    assert state.most_strain > crown.foam.most_strain
    assert "crown is pressed to" in said
    assert "beyond its foam's curve" in said


def test_a_pad_that_does_not_touch_is_named(head_and_piece):
    made = foam("hr 40")
    pads = [Pad(name="crown", foam=made, thickness_mm=18, zones=("crown",)),
            Pad(name="brow", foam=made, thickness_mm=5, zones=("brow",))]  # fmt: skip
    (crown, brow, _), said = settle_upright(*head_and_piece, pads, 600.0)
    assert brow.lost
    assert brow.force_n == 0
    assert not crown.lost
    assert "brow hardly touches: make it thicker" in said


def test_a_bare_wall_that_presses_is_named():
    # 8 mm of room, and a small soft pad that 4 kg squash to less
    wearer, piece = round_head(wall_mm=93.0)
    small = Pad(name="small", foam=foam("pu 35 soft"), thickness_mm=9,
                centre_mm=(0, 0, 85), radius_mm=20)  # fmt: skip
    (_, bare), said = settle_upright(wearer, piece, [small], 4000.0)
    assert bare.name == "bare wall"
    assert bare.force_n > 0
    assert "The bare wall presses" in said


def pads_of(thickness_mm, made=None):
    made = made or foam("hr 40")
    return [Pad(name="crown", foam=made, thickness_mm=thickness_mm, zones=("crown",))]


@pytest.mark.parametrize(
    ("pads", "says"),
    [
        ([], "at least one pad"),
        (pads_of(8), "Make it at least 1"),
        (pads_of(95), "Take .* mm or thinner"),
    ],
)
def test_pads_that_cannot_work_are_named_with_their_cure(head_and_piece, pads, says):
    wearer, piece = head_and_piece
    with pytest.raises(BriefError, match=says):
        pad_out(wearer, piece, Placement(), pads=pads, weighing=weight(800.0))


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"zones": ("brwo",)}, "Did you mean 'brow'"),
        ({"zones": ("brow",), "painted": (1, 2)}, "got 2 of them"),
        ({}, "got 0 of them"),
        ({"zones": ("brow",), "thickness_mm": 0.8}, "2 to 100 mm"),
    ],
)
def test_pads_without_a_clear_region_are_refused(fields, says):
    given = {"name": "p", "foam": linear_foam(name="f", modulus_kpa=20)}
    with pytest.raises(BriefError, match=says):
        Pad(**{**given, "thickness_mm": 10, **fields})


def test_accelerations_and_speeds_beyond_reach_are_refused():
    with pytest.raises(BriefError, match="rad/s²"):
        Case(name="whiplash", nod_rad_s2=900)
    with pytest.raises(BriefError, match=r"1 rad/s is 57\.3 deg/s"):
        Case(name="glance", turn_rad_s=200)


def test_a_turning_head_throws_the_piece_outward():
    # m ω² r: 1 kg, 0.1 m from the axis, 10 rad/s: 10 N
    ahead = point_mass(mass_g=1000, at_mm=np.add(CONDYLES_MM, (0, 100, 0)))
    above = point_mass(mass_g=1000, at_mm=np.add(CONDYLES_MM, (0, 0, 100)))
    turn = Case(name="turn", turn_rad_s=10.0).load(ahead, Placement())
    assert turn.force == pytest.approx([0, 10, -G])
    nod = Case(name="nod", nod_rad_s=-10.0).load(above, Placement())
    assert nod.force == pytest.approx([0, 0, 10 - G])
    assert nod.torque == pytest.approx(np.zeros(3))


def test_a_body_is_thrown_as_its_points_are():
    case = Case(name="both", nod_rad_s2=12.0, turn_rad_s2=-20.0, nod_rad_s=3.0,
                turn_rad_s=6.0)  # fmt: skip
    points = [point_mass(mass_g=m, at_mm=at)
              for m, at in ((300, (60, 90, 20)), (500, (-40, -30, 110)))]  # fmt: skip
    whole = case.load(combined(points), Placement(pitch_deg=8))
    parts = [case.load(point, Placement(pitch_deg=8)) for point in points]
    places = [Placement(pitch_deg=8).rotation @ point.centre_mm for point in points]
    centre = Placement(pitch_deg=8).rotation @ combined(points).centre_mm
    assert whole.force == pytest.approx(sum(part.force for part in parts))
    moment = sum(np.cross(at - centre, part.force)
                 for at, part in zip(places, parts, strict=True))  # fmt: skip
    assert whole.torque == pytest.approx(moment)
