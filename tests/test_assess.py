from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from stand_ins import ball, only, piece_of, round_opening, same_everywhere, wearer_of

from fitkit.assess import GENERAL_CAUTIONS, Assessment, assess, fit
from fitkit.fit.brief import Brief, Ease
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import BuildUp

HEAD = wearer_of(ball(75, 97, 115))
SHELL = ball(100, 125, 141, segments=96)


def shell(**changes):
    eyes = [
        round_opening(f"eye_{side}", centre=(right, 122, 9), radius_mm=14)
        for side, right in (("left", -33), ("right", 33))
    ]
    return piece_of(SHELL, openings=eyes, hinge_mm=(8, -42), **changes)


def test_piece_that_meets_the_brief_fits_and_is_told_how_to_make_it():
    got = fit(HEAD, shell())
    assert (got.verdict, got.fits, got.reasons) == ("fits", True, ())
    assert got.size_answer.feasible
    assert got.changes[0].startswith("Make it at ")
    assert got.changes[1].startswith("Pad it to sit ")


def test_piece_too_small_does_not_fit_and_is_told_the_ways_out():
    got = fit(HEAD, shell(), same_everywhere(30, size_most=1.0))
    assert (got.verdict, got.fits) == ("does not fit", False)
    assert got.changes[0] == got.size_answer.ways_out[0].words
    assert any("short of the 30 mm asked" in words for words in got.reasons)


def test_worst_reason_comes_first():
    brief = only({"crown": Ease(least_mm=40), "chin": Ease(least_mm=30)})
    got = assess(HEAD, shell(), Placement(), brief)
    assert [words.split(":")[0] for words in got.reasons] == ["Crown", "Chin"]
    short = got.ease.by_zone["crown"].short_mm
    assert f"{short:.1f} mm short of the 40 mm asked" in got.reasons[0]


def test_clash_is_called_a_clash():
    got = assess(HEAD, shell(), Placement(size=0.7), Brief(size_least=0.5))
    assert any("the wall presses in by" in words for words in got.reasons)


def test_given_placement_is_assessed_as_it_is():
    placement = Placement(size=1.02, shift_mm=(0, 1, 2), pitch_deg=1)
    got = assess(HEAD, shell(), placement)
    assert got.placement is placement
    assert got.size_answer is None


@pytest.mark.parametrize(
    ("placement", "said"),
    [
        (Placement(shift_mm=(0, 0, 40)), "straight-ahead line passes"),
        (Placement(shift_mm=(0, 25, 0)), "the hinge lies"),
        (Placement(size=1.3), "Size: 130.0 % is outside"),
        (Placement(size=(1.05, 1, 1)), "the axes differ by 5.0 %"),
    ],
)
def test_every_kind_of_demand_can_be_the_reason(placement, said):
    got = assess(HEAD, shell(), placement)
    assert any(said in words for words in got.reasons)
    assert not got.fits


def test_pad_that_cannot_reach_is_a_reason():
    brief = only({"crown": Ease(least_mm=0, most_mm=20)})
    got = assess(HEAD, shell(), Placement(), brief)
    assert any("more than the 20 mm that its pad should bridge" in w for w in got.reasons)


def test_solver_and_assessment_agree_on_every_brief():
    for least in (3, 8, 12, 16):
        for aim in ("drawn", "snug"):
            brief = same_everywhere(least, aim=aim, size_most=1.02)
            got = fit(HEAD, shell(), brief)
            assert got.fits == got.size_answer.feasible


def test_shrinkage_enlarges_the_master():
    piece = replace(shell(), build_up=BuildUp(shrink_percent=(1.0,)))
    got = fit(HEAD, piece)
    assert got.master_percent == pytest.approx(100 * got.placement.mean_size / 0.99)
    assert f"make the master at {got.master_percent:.1f} %" in got.changes[0]


def test_general_cautions_close_the_list_of_every_assessment():
    for got in (fit(HEAD, shell()), assess(HEAD, shell(), Placement(size=0.8))):
        assert got.cautions[-len(GENERAL_CAUTIONS) :] == GENERAL_CAUTIONS


def test_cautions_name_sight_stairs_breath_heat_getting_out_and_what_it_is_not():
    said = " ".join(GENERAL_CAUTIONS).lower()
    for word in ("sight", "stairs", "breath", "heat", "getting out", "local rules"):
        assert word in said
    assert "it sizes costumes; it is not protective equipment" in said


def test_cautions_of_wearer_and_piece_are_passed_on():
    wearer = replace(HEAD, cautions=("Only one reading.",))
    piece = replace(shell(), cautions=("A hole was left.",))
    said = assess(wearer, piece, Placement()).cautions
    assert {"Only one reading.", "A hole was left."} <= set(said)


def test_glasses_are_given_room_unless_the_brief_says_otherwise():
    glasses = SimpleNamespace(width_mm=140.0, depth_mm=20.0, height_mm=40.0)
    record = SimpleNamespace(name="stand-in", glasses=glasses, readings={})
    wearer = replace(HEAD, record=record)
    assert fit(wearer, shell()).brief.ease["eye_left"].least_mm == 22
    got = fit(wearer, shell(), Brief())
    assert any("glasses stand 20 mm" in words for words in got.cautions)


def test_doubt_is_told_with_its_interval():
    out = HEAD.head.vertices / np.linalg.norm(HEAD.head.vertices, axis=1)[:, None]
    wearer = replace(HEAD, spread=np.float32([2.0 * out]), spread_names=("shape",))
    got = assess(wearer, shell(), Placement())
    sure = got.uncertainty.interval
    assert any(
        f"90 % between {sure.low_mm:.1f} and {sure.high_mm:.1f} mm" in words
        for words in got.cautions
    )
    assert isinstance(got, Assessment)


def test_hinge_off_the_pole_is_told_which_way_to_move():
    got = assess(HEAD, shell(), Placement(shift_mm=(0, 5, 0)))
    # The pole lies at front 5, up -40; the hinge is now at front 13, up -42.
    assert any(
        "the chin pole lies 8.0 mm back and 2.0 mm up of it" in w for w in got.changes
    )


def test_eye_opening_off_the_line_is_told_where_its_centre_belongs():
    got = assess(HEAD, shell(), Placement(shift_mm=(0, 0, 9)))
    moves = [words for words in got.changes if "eye opening" in words]
    assert len(moves) == 2
    assert all("down" in words for words in moves)
