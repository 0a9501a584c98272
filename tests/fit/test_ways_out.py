from dataclasses import replace

import numpy as np
import pytest
from stand_ins import ball, only, piece_of, round_opening, same_everywhere, wearer_of

from fitkit.fit.brief import Brief, Ease
from fitkit.fit.ease import ease
from fitkit.fit.size import solve_size

HEAD = wearer_of(ball(75, 97, 115))
SHELL = ball(100, 125, 141, segments=128)
#: A size at which the shell leaves 14 to 17 mm about the head.
TIGHT = {"size_least": 0.9, "size_most": 0.92}


def ways(wearer, piece, brief):
    answer = solve_size(wearer, piece, brief)
    assert not answer.feasible
    return {way.change: way for way in answer.ways_out}


def fits(wearer, piece, brief):
    return solve_size(wearer, piece, brief, ways_out=False).feasible


# A way out must be enough, and clearly less of it must not be: each is put into the
# brief, the piece or the wearer, and solved anew from nothing.


def test_size_opened_by_the_amount_is_enough_and_by_less_is_not():
    piece, brief = piece_of(SHELL), same_everywhere(18, **TIGHT)
    way = ways(HEAD, piece, brief)["size"]
    assert way.unit == "%"
    enough = replace(brief, size_most=brief.size_most + way.amount / 100)
    less = replace(brief, size_most=brief.size_most + (way.amount - 0.3) / 100)
    assert fits(HEAD, piece, enough)
    assert not fits(HEAD, piece, less)


def test_size_below_the_least_is_a_way_out_of_pads_that_do_not_reach():
    brief = only({"crown": Ease(least_mm=3, most_mm=6)}, size_least=1.05)
    piece = piece_of(SHELL)
    brief = replace(brief, ease={**brief.ease, "chin": Ease(least_mm=3, most_mm=6)})
    way = ways(HEAD, piece, brief)["size"]
    enough = replace(brief, size_least=brief.size_least - way.amount / 100)
    assert "below the 105 % allowed" in way.words
    assert fits(HEAD, piece, enough)


def test_less_padding_in_one_zone_is_enough_and_more_than_that_is_not():
    piece = piece_of(SHELL)
    brief = only(
        {"crown": Ease(least_mm=20), "mouth": Ease(least_mm=9), "chin": Ease(least_mm=17)},
        **TIGHT,
    )
    found = ways(HEAD, piece, brief)
    way = found["padding crown"]
    asked = brief.ease["crown"].least_mm

    def eased(amount):
        ease_by_zone = {**brief.ease, "crown": Ease(least_mm=asked - amount)}
        return replace(brief, ease=ease_by_zone)

    assert fits(HEAD, piece, eased(way.amount))
    assert not fits(HEAD, piece, eased(way.amount - 0.3))
    assert f"{way.amount:.1f} mm less padding at the crown" in way.words


def test_thinner_lining_is_enough_and_a_little_thicker_is_not():
    brief, lining = same_everywhere(12, **TIGHT), 6.0
    way = ways(HEAD, piece_of(SHELL, lining_mm=lining), brief)["lining"]
    assert fits(HEAD, piece_of(SHELL, lining_mm=lining - way.amount), brief)
    assert not fits(HEAD, piece_of(SHELL, lining_mm=lining - way.amount + 0.3), brief)


def test_lining_is_no_way_out_where_it_is_too_thin_to_give_enough():
    brief = same_everywhere(18, **TIGHT)
    assert "lining" not in ways(HEAD, piece_of(SHELL, lining_mm=0.5), brief)


def test_flatter_hair_is_enough_and_a_little_fuller_is_not():
    crown = HEAD.head.vertices[:, 2] > 40
    hairy = replace(HEAD, hair_mm=np.where(crown, 12.0, 0.0))
    piece, brief = piece_of(SHELL), same_everywhere(12, **TIGHT)
    way = ways(hairy, piece, brief)["hair"]

    def pressed(amount):
        return replace(hairy, hair_mm=hairy.hair_mm * (1 - amount / 12))

    assert fits(pressed(way.amount), piece, brief)
    assert not fits(pressed(way.amount - 0.3), piece, brief)


def test_stretching_by_the_amount_is_enough():
    # The shell is too narrow for the ears; drawn larger it would gape at the crown.
    piece = piece_of(ball(80, 125, 141, segments=128))
    brief = only({"ear": Ease(least_mm=15), "crown": Ease(least_mm=15, most_mm=20)})
    brief = replace(brief, ease={**brief.ease, "chin": Ease(least_mm=15)})
    brief = replace(brief, free=("up", "front"))
    way = ways(HEAD, piece, brief)["distortion"]
    enough = replace(brief, distortion_percent=brief.distortion_percent + way.amount)
    assert fits(HEAD, piece, enough)


def test_hinge_moved_as_said_is_enough():
    brief = Brief(
        ease=dict(same_everywhere(3).ease),
        hinge_tolerance_mm=4,
        free=(),
        size_least=1.0,
        size_most=1.0,
    )
    way = ways(HEAD, piece_of(SHELL, hinge_mm=(25, -40)), brief)["hinge"]
    # The pole lies 20 mm behind the hinge; 4 mm are tolerated.
    assert way.amount == pytest.approx(16.0, abs=0.11)
    assert "back" in way.words
    assert fits(HEAD, piece_of(SHELL, hinge_mm=(25 - way.amount, -40)), brief)


def test_eye_openings_cut_wider_by_the_amount_are_enough():
    def shell(radius):
        eyes = [
            round_opening(f"eye_{side}", centre=(right, 122, 30), radius_mm=radius)
            for side, right in (("left", -33), ("right", 33))
        ]
        return piece_of(SHELL, openings=eyes)

    brief = same_everywhere(3, free=(), size_least=1.0, size_most=1.0)
    way = ways(HEAD, shell(8), brief)["eye opening"]
    assert "down" in way.words
    assert fits(HEAD, shell(8 + way.amount), brief)
    assert not fits(HEAD, shell(8 + way.amount - 0.3), brief)


def test_scoop_is_as_deep_as_the_place_is_tight():
    # One bump on the head, and nothing may move: the wall must give way by the miss.
    head = ball(75, 97, 115)
    points = head.vertices.copy()
    top = np.argmax(points[:, 2])
    points[top, 2] += 20
    bumpy = replace(wearer_of(head), head=head.with_vertices(points))
    brief = same_everywhere(9, free=(), size_least=1.0, size_most=1.0)
    piece = piece_of(SHELL)
    answer = solve_size(bumpy, piece, brief)
    way = {w.change: w for w in answer.ways_out}["scoop crown"]
    short = ease(bumpy, piece, answer.placement, brief=brief).by_zone["crown"].short_mm
    assert short - 0.01 <= way.amount <= short + 0.11


# -- order and words ------------------------------------------------------------------


def test_cheapest_comes_first_and_every_way_has_words_and_a_figure():
    answer = solve_size(HEAD, piece_of(SHELL, lining_mm=6), same_everywhere(12, **TIGHT))
    costs = [way.cost for way in answer.ways_out]
    assert costs == sorted(costs)
    for way in answer.ways_out:
        assert way.amount > 0
        assert f"{way.amount:.1f}" in way.words
        assert way.words.endswith(".")


def test_several_demands_are_eased_where_no_single_change_is_enough():
    # The hinge and the crown clash on their own, and nothing may move.
    brief = Brief(
        ease=dict(only({"crown": Ease(least_mm=30)}).ease),
        hinge_tolerance_mm=4,
        free=(),
        size_least=1.0,
        size_most=1.0,
    )
    answer = solve_size(HEAD, piece_of(SHELL, hinge_mm=(25, -40)), brief)
    (way,) = answer.ways_out
    assert way.change == "several"
    assert "ease at the crown by" in way.words
    assert "hinge near the chin pole by 16.0 mm" in way.words


def test_what_is_possible_needs_no_way_out():
    answer = solve_size(HEAD, piece_of(SHELL), same_everywhere(3))
    assert answer.feasible
    assert answer.ways_out == ()
    assert dict(answer.short_mm) == {}
