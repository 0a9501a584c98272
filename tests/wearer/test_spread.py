"""How far the true head may lie from the drawn one."""

from __future__ import annotations

import numpy as np
import pytest
from heads import bare, draws, mixed_draws, plain_record

from fitkit.wearer.build import head_model, wearer_from_record
from fitkit.wearer.measures import CATALOGUE, SURVEY_KEYS
from fitkit.wearer.spread import SHAPE_WAYS, head_spread, shape_spread, ways_of_measures
from fitkit.wearer.surface import measure_all, shape_head
from fitkit.wearer.survey import complete

TEMPLATE, RULER = head_model()
N = TEMPLATE.n_vertices
GIRTH, LENGTH, BREADTH = SURVEY_KEYS[:3]


@pytest.fixture(scope="module")
def partly_read():
    """What is known of a man with three readings."""
    readings = {GIRTH: 580.0, LENGTH: 201.0, BREADTH: 156.0}
    return complete(plain_record(readings, sex="male"))


def test_ways_add_up_to_the_covariance(partly_read):
    ways = ways_of_measures(partly_read.keys, partly_read.covariance_mm2, partly_read.given)
    made = ways.change_mm @ ways.change_mm.T
    np.testing.assert_allclose(made, partly_read.covariance_mm2, atol=0.02**2 * 20)
    assert ways.change_mm.shape == (len(partly_read.keys), len(ways.names))


def test_readings_come_first_then_what_would_teach_most(partly_read):
    ways = ways_of_measures(partly_read.keys, partly_read.covariance_mm2, partly_read.given)
    assert set(ways.names[:3]) == {GIRTH, LENGTH, BREADTH}
    assert len(set(ways.names)) == len(ways.names)
    own = [
        ways.change_mm[partly_read.keys.index(name), i] for i, name in enumerate(ways.names)
    ]
    later = own[3:]
    assert later == sorted(later, reverse=True)
    assert min(own) > 0


def test_a_way_leaves_alone_what_was_named_before_it(partly_read):
    ways = ways_of_measures(partly_read.keys, partly_read.covariance_mm2, partly_read.given)
    rows = [partly_read.keys.index(name) for name in ways.names]
    np.testing.assert_allclose(np.triu(ways.change_mm[rows], 1), 0, atol=1e-9)


def test_what_is_exactly_known_has_no_way():
    covariance = np.diag([4.0, 0.0, 1.0])
    ways = ways_of_measures(("a", "b", "c"), covariance, frozenset({"a"}))
    assert ways.names == ("a", "c")
    np.testing.assert_allclose(ways.change_mm, [[2, 0], [0, 0], [0, 1]])


def test_an_exact_reading_does_not_hide_what_is_completed():
    covariance = np.diag([4.0, 0.0, 1.0])
    ways = ways_of_measures(("a", "b", "c"), covariance, frozenset({"b"}))
    assert ways.names == ("a", "c")


@pytest.fixture(scope="module")
def shaped():
    targets = bare(draws("female", 1, seed=4)[0], "female")
    return shape_head(TEMPLATE, RULER, targets)


def test_a_way_of_the_head_reads_as_its_way_of_the_measures(shaped):
    keys = shaped.keys
    random = np.random.default_rng(2).normal(size=(len(keys), 2 * len(keys)))
    ways = ways_of_measures(keys, random @ random.T / 40, frozenset())
    moved = head_spread(TEMPLATE, shaped, ways)
    assert moved.shape == (len(ways.names), N, 3)
    assert moved.dtype == np.float32
    # The corneas are no vertices: leave the eyes' distance out.
    rows = [i for i, key in enumerate(keys) if key != "interpupillary_mm"]
    for way in range(3):
        got = []
        for i in rows:
            reading = RULER.read(shaped.points, keys[i])
            got.append(float((reading.slope * moved[way][reading.points]).sum()))
        np.testing.assert_allclose(got, ways.change_mm[rows, way], atol=0.01)


def test_free_ways_leave_every_measure_alone(shaped):
    free = shape_spread(TEMPLATE, RULER, shaped.keys)
    assert free.shape == (SHAPE_WAYS, N, 3)
    for key in shaped.keys:
        reading = RULER.read(TEMPLATE.mean_mm, key)
        if (reading.points < N).all():
            moved = np.einsum("pi,kpi->k", reading.slope, free[:, reading.points])
            np.testing.assert_allclose(moved, 0, atol=0.01, err_msg=key)


def test_free_ways_are_apart_and_hold_most_of_the_freedom(shaped):
    free = shape_spread(TEMPLATE, RULER, shaped.keys).reshape(SHAPE_WAYS, -1)
    gram = free.astype(np.float64) @ free.T.astype(np.float64)
    size = np.sqrt(np.diag(gram))
    assert (np.diff(size) <= 1e-3).all()  # the largest first
    np.testing.assert_allclose(gram / np.outer(size, size), np.eye(SHAPE_WAYS), atol=1e-3)
    _, slope = measure_all(TEMPLATE, RULER, TEMPLATE.mean_mm, shaped.keys)
    null = np.linalg.svd(slope)[2][len(shaped.keys) :]
    whole = ((TEMPLATE.modes_mm[:N] @ null.T) ** 2).sum()
    assert np.trace(gram) > 0.85 * whole


def test_free_ways_are_worked_out_once(shaped):
    first = shape_spread(TEMPLATE, RULER, shaped.keys)
    assert shape_spread(TEMPLATE, RULER, shaped.keys) is first


# --- of a wearer ---------------------------------------------------------------------


def sd_of(wearer, key):
    """SD of a measure, from the spread of the wearer's vertices. [mm]."""
    points = np.vstack([wearer.head.vertices, TEMPLATE.mean_mm[N:]])
    reading = RULER.read(points, key)
    moved = np.einsum("pi,kpi->k", reading.slope, wearer.spread[:, reading.points])
    return float(np.linalg.norm(moved))


#: Measures between vertices, completed from three readings.
HELD_OUT = [
    "tragion_to_top_mm",
    "bizygomatic_breadth_mm",
    "menton_sellion_mm",
    "bitragion_chin_arc_mm",
    "bitragion_submandibular_arc_mm",
    "ear_breadth_mm",
    "ear_length_mm",
    "ear_protrusion_mm",
    "neck_circumference_mm",
    "neck_base_circumference_mm",
]


def coverage(count, *, seed):
    """Share of held-out measures inside their 90 % interval, over people drawn."""
    inside = []
    for sex, truth in mixed_draws(count, seed=seed):
        random = np.random.default_rng(len(inside) + seed)
        read = {
            key: truth[key] + random.normal(0, CATALOGUE[key].repeat_sd)
            for key in (GIRTH, LENGTH, BREADTH)
        }
        wearer = wearer_from_record(plain_record(read, sex=sex))
        for key in HELD_OUT:
            off = abs(truth[key] - wearer.measures_mm[key])
            inside.append(off < 1.645 * sd_of(wearer, key))
    return np.mean(inside)


def test_spread_covers_the_truth_of_people_drawn_from_the_survey():
    # 24 people by 10 measures that hang together: SE about 2.5 %.
    assert coverage(24, seed=5) == pytest.approx(0.90, abs=0.06)


@pytest.mark.slow
def test_spread_covers_the_truth_of_many_people():
    assert coverage(200, seed=6) == pytest.approx(0.90, abs=0.02)


@pytest.fixture(scope="module")
def fully_read():
    ((_, truth),) = mixed_draws(1, seed=12)
    return wearer_from_record(plain_record(truth, sex="female", tape_hair_mm=2.0))


def test_readings_are_covered_with_their_repeat_error(fully_read):
    for key in set(HELD_OUT):
        share = sd_of(fully_read, key) / CATALOGUE[key].repeat_sd
        assert 0.3 < share < 2.0, key


def test_every_further_reading_narrows_the_head():
    ((sex, truth),) = mixed_draws(1, seed=21)
    sizes = []
    for count in (1, 3, 8, 14):
        some = {key: truth[key] for key in SURVEY_KEYS[:count]}
        wearer = wearer_from_record(plain_record(some, sex=sex, tape_hair_mm=3.5))
        sizes.append(float(np.sqrt((wearer.spread.astype(np.float64) ** 2).sum() / N)))
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-1] < 0.9 * sizes[0]  # the free shape stays, and is most of it


def test_names_tell_where_each_way_comes_from():
    record = plain_record({GIRTH: 575.0, "menton_height_mm": 98.0}, sex="male")
    wearer = wearer_from_record(record)
    assert len(wearer.spread_names) == len(wearer.spread)
    assert wearer.spread_names[0] == GIRTH
    assert "menton_height_mm" in wearer.spread_names
    assert "tape_hair_mm" in wearer.spread_names
    assert wearer.spread_names.count("shape") == SHAPE_WAYS
    known = set(CATALOGUE) | {"tape_hair_mm", "shape"}
    assert set(wearer.spread_names) <= known
    bald = wearer_from_record(plain_record({GIRTH: 575.0}, sex="male", tape_hair_mm=0.0))
    assert "tape_hair_mm" not in bald.spread_names
