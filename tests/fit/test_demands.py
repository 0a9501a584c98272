import numpy as np
import pytest
from stand_ins import ball, piece_of, round_opening, wearer_of

from fitkit.fit._demands import FAMILIES, HINGE, Demands
from fitkit.fit._moves import free_moves
from fitkit.fit._wishes import SmallestSize, Wishes
from fitkit.fit.brief import MOVES, Brief, Ease
from fitkit.fit.placement import Placement
from fitkit.wearer.zones import ZONES

WEARER = wearer_of(ball(75, 97, 115), hair_mm=4)
EYES = [
    round_opening(f"eye_{side}", centre=(where, 118, 16), radius_mm=14, normal=(0, 1, 0.3))
    for side, where in (("left", -34), ("right", 34))
]
PIECE = piece_of(
    ball(98, 122, 141, segments=64), lining_mm=3, openings=EYES, hinge_mm=(9, -34)
)


def demands(*, uniform=False, **changes):
    brief = Brief(free=MOVES, distortion_percent=5, **changes)
    return Demands(WEARER, PIECE, brief, free_moves(brief, uniform=uniform))


def some_unknowns(moves):
    placement = Placement(
        size=1.04, shift_mm=(1.5, -3, 2.2), pitch_deg=4, yaw_deg=-2, roll_deg=3
    )
    return moves.unknowns(placement)


def slopes_by_difference(function, x, step=1e-5):
    columns = []
    for k in range(len(x)):
        move = step * np.eye(len(x))[k]
        columns.append((function(x + move) - function(x - move)) / (2 * step))
    return np.array(columns).T


@pytest.mark.parametrize("uniform", [True, False])
def test_slopes_of_every_demand_agree_with_finite_differences(uniform):
    asked = demands(uniform=uniform)
    x = some_unknowns(asked.moves)
    asked.learn(x)
    vertex = asked.sample

    def values(x):
        return asked.rows(asked.view(x, vertex), x).value

    rows = asked.rows(asked.view(x, vertex), x)
    off = np.abs(slopes_by_difference(values, x) - rows.slope).max(axis=1)
    smooth = off < 1e-4
    # A point that is as near to two faces has a kink there.
    assert smooth.mean() > 0.98
    assert smooth[rows.vertex < 0].all()
    families = {FAMILIES[k] for k in rows.family}
    assert {"hinge", "size", "sight left", "sight right", "most brow"} <= families
    assert ("distortion" in families) is not uniform


@pytest.mark.parametrize("aim", ["drawn", "snug"])
def test_slopes_of_every_wish_agree_with_finite_differences(aim):
    asked = demands()
    x = some_unknowns(asked.moves)
    asked.learn(x)
    vertex = asked.sample
    wishes = Wishes(asked, asked.brief.weights)
    objective = wishes if aim == "drawn" else SmallestSize(wishes, asked)

    def values(x):
        return objective.residuals(asked.view(x, vertex), x)[0]

    _, slope = objective.residuals(asked.view(x, vertex), x)
    assert slope == pytest.approx(slopes_by_difference(values, x), abs=2e-5)


def test_slopes_at_other_proportions_than_the_tree_are_nearly_exact():
    asked = demands()
    x = some_unknowns(asked.moves)
    x[:3] += [1.0, -1.0, 0.5]
    view = asked.view(x, asked.sample)
    exact = slopes_by_difference(lambda x: asked.view(x, asked.sample).ease_mm, x)
    assert np.median(np.abs(view.slope - exact)) < 0.01


def test_every_row_is_what_the_public_answer_says():
    asked = demands()
    x = some_unknowns(asked.moves)
    rows = asked.learn(x).rows
    from fitkit.fit.ease import ease
    from fitkit.fit.jaw import check_jaw
    from fitkit.fit.sight import check_sight

    placement = asked.moves.placement(x)
    got = ease(WEARER, PIECE, placement, brief=asked.brief)
    sight = check_sight(WEARER, PIECE, placement)
    for index, zone in enumerate(ZONES):
        spare = rows.value[rows.family == index].min()
        assert spare == pytest.approx(got.by_zone[zone].spare_mm, abs=1e-9)
        most = asked.brief.ease[zone].most_mm
        if most is not None:
            left = rows.value[rows.family == len(ZONES) + index].min()
            assert left == pytest.approx(most - got.by_zone[zone].median_mm, abs=1e-9)
    for side in ("left", "right"):
        left = rows.value[rows.family == FAMILIES.index(f"sight {side}")].min()
        assert left == pytest.approx(sight[side].margin_mm - 1.0, abs=1e-9)
    hinge = rows.value[rows.family == HINGE].min()
    distance = check_jaw(WEARER, PIECE, placement).distance_mm
    assert hinge == pytest.approx(12 - distance, abs=1e-9)


def test_sample_has_vertices_of_every_zone():
    asked = demands()
    zones = set(WEARER.zone[asked.sample].tolist())
    assert zones == set(WEARER.zone.tolist())


def test_zone_that_may_gape_has_no_row_for_it():
    asked = demands(ease={"brow": Ease(least_mm=6)})
    rows = asked.learn(some_unknowns(asked.moves)).rows
    assert FAMILIES.index("most brow") not in rows.family
    assert FAMILIES.index("most back") in rows.family
