from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm
from stand_ins import ball, only, piece_of, same_everywhere, wearer_of

from fitkit.fit.brief import Ease
from fitkit.fit.ease import ease
from fitkit.fit.placement import Placement
from fitkit.fit.uncertainty import DRAWS, ease_uncertainty
from fitkit.wearer.measures import CATALOGUE

HEAD = ball(90, segments=64)
WALL = piece_of(ball(130, segments=192))
OUT = HEAD.vertices / 90
#: Quantiles of 2000 draws scatter by about 4 % of a standard deviation at the ends.
SCATTER = 0.1


def uncertain(spread, names, *, brief=None, **record):
    wearer = wearer_of(HEAD, spread=np.asarray(spread), names=names)
    if record:
        wearer = replace(wearer, **record)
    brief = same_everywhere(6) if brief is None else brief
    gaps = ease(wearer, WALL, Placement(), brief=brief)
    return ease_uncertainty(wearer, gaps)


def test_a_head_that_swells_evenly_has_the_normal_interval():
    got = uncertain([3.0 * OUT], ["shape"])
    z = norm.ppf(0.95)
    assert got.interval.low_mm == pytest.approx(40 - 3 * z, abs=3 * SCATTER)
    assert got.interval.median_mm == pytest.approx(40, abs=3 * SCATTER)
    assert got.interval.high_mm == pytest.approx(40 + 3 * z, abs=3 * SCATTER)


def test_tightest_of_two_that_vary_apart_is_tighter_than_either():
    # Left and right vary independently: the least of two normals, mean -sd / sqrt(pi).
    left = OUT[:, :1] < 0
    spread = [3.0 * OUT * left, 3.0 * OUT * ~left]
    brief = only({"crown": Ease(least_mm=6)})
    got = uncertain(spread, ["shape", "shape"], brief=brief)
    assert got.zone == "crown"
    both = np.random.default_rng(0).standard_normal((100_000, 2)).min(axis=1)
    assert got.interval.median_mm == pytest.approx(
        40 + 3 * np.median(both), abs=3 * SCATTER
    )


def test_shares_are_the_parts_of_the_variance():
    got = uncertain([3.0 * OUT, 4.0 * OUT], ["shape", "head_breadth_mm"])
    shares = {share.name: share for share in got.shares}
    assert shares["shape"].share == pytest.approx(9 / 25, abs=0.01)
    assert shares["head_breadth_mm"].share == pytest.approx(16 / 25, abs=0.01)
    assert shares["head_breadth_mm"].sd_mm == pytest.approx(4, abs=0.05)
    assert [share.name for share in got.shares] == ["head_breadth_mm", "shape"]


def test_ways_that_move_the_head_along_the_wall_add_nothing():
    along = np.cross(OUT, [0.0, 0, 1])
    got = uncertain([5.0 * along], ["shape"])
    assert got.interval.width_mm < 0.5


def test_chance_is_that_of_keeping_what_was_asked():
    got = uncertain([3.0 * OUT], ["shape"], brief=same_everywhere(37))
    assert got.chance == pytest.approx(norm.cdf(1), abs=0.02)
    assert got.chance_clear == pytest.approx(1.0)


def test_a_head_known_exactly_has_no_interval():
    got = uncertain(np.zeros((0, len(OUT), 3)), [])
    assert got.interval.width_mm == 0
    assert got.shares == ()
    assert got.narrowings == ()
    assert got.chance == 1.0


def test_same_input_gives_the_same_figures():
    first, second = (uncertain([3.0 * OUT], ["shape"]) for _ in range(2))
    assert first.interval == second.interval
    assert DRAWS == 2000


# -- readings that would help ---------------------------------------------------------


def test_reading_a_measure_once_more_leaves_half_the_variance():
    # One reading with its repeat error, nothing else: a second one halves the variance.
    repeat = CATALOGUE["head_breadth_mm"].repeat_sd
    record = SimpleNamespace(
        name="stand-in",
        glasses=None,
        readings={"head_breadth_mm": SimpleNamespace(values_mm=(150.0,))},
    )
    completion = SimpleNamespace(
        keys=("head_breadth_mm",),
        given=frozenset({"head_breadth_mm"}),
        covariance_mm2=np.array([[repeat**2]]),
    )
    spread = [0.5 * repeat * OUT]
    got = uncertain(spread, ["head_breadth_mm"], record=record, completion=completion)
    (advice,) = got.narrowings
    assert advice.again
    assert advice.words.startswith("Measure head breadth once more")
    assert advice.width_after_mm == pytest.approx(advice.width_mm / np.sqrt(2), rel=0.01)


def test_taking_a_missing_measure_leaves_its_repeat_error():
    # Known to 6 mm from others; once read, 1 / (1 / 36 + 1 / repeat^2) is left.
    repeat = CATALOGUE["head_breadth_mm"].repeat_sd
    completion = SimpleNamespace(
        keys=("head_breadth_mm",),
        given=frozenset(),
        covariance_mm2=np.array([[36.0]]),
    )
    got = uncertain([3.0 * OUT], ["head_breadth_mm"], completion=completion)
    (advice,) = got.narrowings
    left = np.sqrt(1 / (1 + 36 / repeat**2))
    assert not advice.again
    assert advice.words.startswith("Take head breadth:")
    assert advice.width_after_mm == pytest.approx(left * advice.width_mm, rel=0.01)


def test_a_measure_helps_by_what_it_tells_of_others():
    # Length and breadth go together (correlation 0.8); only breadth moves the head.
    keys = ("head_length_mm", "head_breadth_mm")
    covariance = np.array([[36.0, 24.0], [24.0, 25.0]])
    completion = SimpleNamespace(keys=keys, given=frozenset(), covariance_mm2=covariance)
    lower = np.linalg.cholesky(covariance)
    spread = [lower[1, 0] / 5 * 3.0 * OUT, lower[1, 1] / 5 * 3.0 * OUT]
    got = uncertain(spread, list(keys), completion=completion)
    after = {one.name: one.width_after_mm / one.width_mm for one in got.narrowings}
    repeat = CATALOGUE["head_length_mm"].repeat_sd
    told = 0.8**2 * 36 / (36 + repeat**2)
    assert after["head_length_mm"] == pytest.approx(np.sqrt(1 - told), rel=0.02)
    assert after["head_breadth_mm"] < after["head_length_mm"]


def test_shape_is_never_a_measure_to_take():
    assert uncertain([3.0 * OUT], ["shape"]).narrowings == ()
