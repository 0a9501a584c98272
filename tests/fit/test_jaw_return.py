import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jaws import chin_about, fittings, jaw_piece, strap

sys.path.append(str(Path(__file__).parents[1] / "wearer"))
from jaw_figures import SPAN, within

from fitkit.errors import BriefError
from fitkit.fit.jaw_parts import hang
from fitkit.fit.jaw_return import (
    choose_strap,
    close_jaw,
    cord_tension_n,
    gravity_opening_nmm,
    in_series_n_per_mm,
)
from fitkit.fit.jaw_travel import Contact, follow_chin
from fitkit.fit.placement import Placement

HINGE = (0.0, -20.0)


def hung_with(*straps, mass_g=250.0, centre=(0.0, 110.0, -20.0), stops=(0.0, 25.0), **more):
    piece = jaw_piece(hinge_at=HINGE, stops=stops)
    kept = fittings(mass_g=mass_g, centre_mm=centre, straps=straps, **more)
    return hang(piece, Placement(), fittings=kept)


def test_weight_of_a_jaw_about_its_hinge():
    moment = gravity_opening_nmm(hung_with(), np.array([0.0]), nod_deg=0.0)[0]
    assert within("jaw_moment", moment)
    assert SPAN["cord_on_30_mm"][0] <= moment / 30 <= SPAN["cord_on_30_mm"][1]


def test_cord_on_an_arm_of_thirty_millimetres_just_holds_that_weight():
    # Pull of 8.9894 N square to a 30 mm arm: knot 30 mm ahead, shell end straight above.
    low, high = SPAN["cord_on_30_mm"]
    pull = (low + high) / 2
    cord = strap(
        jaw_mm=(0, 30, -20), shell_mm=(0, 30, 80), free_mm=80, stiffness_n_per_mm=pull / 20
    )
    closing = close_jaw(
        hung_with(cord), turn_deg=np.array([0.0]), postures_deg={"upright": 0}
    )
    assert closing.straps[0].tension_n[0] == pytest.approx(pull)
    assert closing.margin == pytest.approx(1.0, abs=1e-5)
    assert closing.net_nmm["upright"][0] == pytest.approx(0.0, abs=0.01)


def test_cord_by_the_spring_law_and_slack_never_pushes():
    pull = cord_tension_n(length_mm=[90, 60, 40], free_mm=60, stiffness_n_per_mm=0.2)
    assert pull.tolist() == [SPAN["cord_60_to_90"][0], 0.0, 0.0]


def test_cords_in_series_and_side_by_side():
    assert within("cord_series", in_series_n_per_mm([0.2, 0.2]))
    side = sum(
        cord_tension_n(length_mm=[90], free_mm=60, stiffness_n_per_mm=0.2)[0] for _ in "ab"
    )
    assert within("cord_parallel", side)


@given(st.floats(10, 200), st.floats(0.01, 3), st.floats(0, 400))
def test_no_cord_ever_pushes(free, stiffness, length):
    assert cord_tension_n(length_mm=length, free_mm=free, stiffness_n_per_mm=stiffness) >= 0


def test_slack_cord_gives_no_moment_and_is_named():
    closing = close_jaw(hung_with(strap(free_mm=400)))
    assert not closing.strap_nmm.any()
    assert not closing.closes
    assert closing.straps[0].slack_from_deg == 0.0
    assert any("slack" in word for word in closing.cautions)


def test_bowed_head_opens_the_jaw_less_and_a_lying_one_closes_it():
    hung, turn = hung_with(), np.array([0.0])
    upright, bowed, prone = (
        gravity_opening_nmm(hung, turn, nod_deg=nod)[0] for nod in (0.0, 60.0, 100.0)
    )
    assert bowed == pytest.approx(upright * 0.5)  # cos 60
    assert prone < 0 < bowed < upright


def test_moment_is_the_slope_of_the_energy_of_weight():
    hung = hung_with(centre=(5.0, 70.0, -60.0))
    turns = np.linspace(0, 25, 2001)
    at = (hung.swing.matrix(turns) @ np.append(hung.centre_mm, 1.0))[:, :3]
    energy = 0.25 * 9.80665 * at[:, 2]  # N mm
    moment = gravity_opening_nmm(hung, turns, nod_deg=0.0)
    slope = -np.gradient(energy, np.radians(turns))
    assert moment[1:-1] == pytest.approx(slope[1:-1], rel=1e-5)


def test_moment_of_a_strap_is_the_slope_of_its_energy():
    hung = hung_with(strap(jaw_mm=(-40, 60, -50), shell_mm=(-30, -15, 25), free_mm=50))
    turns = np.linspace(0, 25, 2001)
    travel = close_jaw(hung, turn_deg=turns).straps[0]
    energy = 0.5 * 0.2 * (travel.length_mm - 50) ** 2
    slope = np.gradient(energy, np.radians(turns))
    assert travel.moment_nmm[1:-1] == pytest.approx(slope[1:-1], rel=1e-4)


def test_friction_is_taken_from_what_closes():
    bare, rough = (close_jaw(hung_with(strap(), friction_nmm=f)) for f in (0.0, 50.0))
    for name in bare.net_nmm:
        assert rough.net_nmm[name] == pytest.approx(bare.net_nmm[name] - 50.0)
    assert rough.margin < bare.margin


def test_force_of_the_chin_times_its_arm_is_what_the_straps_leave():
    hung = hung_with(strap(stiffness_n_per_mm=1.0), mass_g=50.0)
    closing = close_jaw(hung)
    at = np.array([0.0, 80.0, -20.0])
    pad = Contact(name="pad", at_mm=at, outward=np.array([0.0, 0, -1]))
    chin = chin_about(HINGE, full_deg=20.0)
    travel = follow_chin(chin, hung, [pad], closing=closing)
    left = np.interp(travel.jaw_deg, closing.jaw_deg, closing.net_nmm["upright"])
    assert (left > 0).all()
    assert travel.chin_force_n * 80.0 == pytest.approx(left)


def test_cord_to_buy_closes_with_the_margin_and_leaves_the_chin_least():
    hung = hung_with(
        strap(name="left"), strap(name="right", jaw_mm=(40, 40, -50), shell_mm=(40, 20, 30))
    )
    choice = choose_strap(hung, margin=1.5)
    assert choice.possible
    straps = [
        strap(name=n, jaw_mm=(s * 40, 40, -50), shell_mm=(s * 40, 20, 30),
              stiffness_n_per_mm=choice.stiffness_n_per_mm, free_mm=choice.free_mm)
        for n, s in (("left", -1), ("right", 1))
    ]  # fmt: skip
    closing = close_jaw(hung_with(*straps))
    assert closing.closes
    assert closing.margin == pytest.approx(1.5, abs=1e-3)  # no more than asked
    assert all(np.isnan(travel.slack_from_deg) for travel in closing.straps)
    assert closing.straps[0].strain_percent <= 100.0 + 1e-6
    for change in (0.97, 1.03):  # a shorter cord pulls more, a longer one too little
        other = [{**one, "free_mm": one["free_mm"] * change} for one in straps]
        got = close_jaw(hung_with(*other))
        assert got.margin < 1.5 or got.strap_nmm.max() > closing.strap_nmm.max()


def test_anchors_that_pull_the_jaw_open_have_no_cord():
    # from below the hinge: the pull opens
    choice = choose_strap(hung_with(strap(shell_mm=(-40, 40, -120))))
    assert not choice.possible
    assert np.isnan(choice.free_mm)
    assert "opens the jaw" in choice.words


def test_bad_briefs_are_refused():
    with pytest.raises(BriefError, match="No anchors"):
        choose_strap(hung_with())
    with pytest.raises(BriefError, match="margin must be 1 to 5"):
        choose_strap(hung_with(strap()), margin=0.5)
    with pytest.raises(BriefError, match="at least one posture"):
        close_jaw(hung_with(strap()), postures_deg={})
    with pytest.raises(BriefError, match="posture handstand must be -120 to 120 deg"):
        close_jaw(hung_with(strap()), postures_deg={"handstand": 180})


def test_jaw_without_straps_says_that_nothing_closes_it():
    closing = close_jaw(hung_with())
    assert not closing.closes
    assert "nothing closes the jaw" in closing.cautions[0]
