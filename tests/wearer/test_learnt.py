"""A wearer moved by what was learnt: the same where nothing was, narrower where it was."""

from __future__ import annotations

import numpy as np
import pytest
from heads import plain_record

from fitkit.geometry.crossings import crossing_faces
from fitkit.wearer.build import head_model, wearer_from_record
from fitkit.wearer.learnt import HeadNews, learnt_wearer

READ_MM = {
    "head_circumference_mm": 575.0,
    "head_length_mm": 197.0,
    "head_breadth_mm": 153.0,
}


@pytest.fixture(scope="module")
def known():
    return wearer_from_record(plain_record(READ_MM, sex="male", tape_hair_mm=2.0))


def news(known, *, mean=None, covariance=None):
    k = len(known.spread) + 1
    return HeadNews(
        mean=np.zeros(k) if mean is None else mean,
        covariance=np.eye(k) if covariance is None else covariance,
        hair_ways=np.zeros((len(known.hair_mm), k)),
    )


def point_sd_mm(wearer):
    return np.sqrt((wearer.spread.astype(float) ** 2).sum(axis=(0, 2)))


def test_no_news_leaves_the_wearer_as_it_was(known):
    same = learnt_wearer(known, news(known), record=known.record)
    assert np.array_equal(same.head.vertices, known.head.vertices)
    assert np.array_equal(same.hair_mm, known.hair_mm)
    assert same.chin_pole == pytest.approx(known.chin_pole)
    assert same.eye_left.cornea == pytest.approx(known.eye_left.cornea)
    for key, value in known.measures_mm.items():
        assert same.measures_mm[key] == pytest.approx(value, abs=1e-6)
    assert same.completion.mean_mm == pytest.approx(known.completion.mean_mm)


def test_no_news_keeps_the_doubt_of_every_point_and_measure(known):
    same = learnt_wearer(known, news(known), record=known.record)
    assert point_sd_mm(same) == pytest.approx(point_sd_mm(known), rel=1e-3, abs=1e-3)
    # Measures read off the mesh vary as the survey says, near enough to be linear.
    for key in ("bizygomatic_breadth_mm", "menton_sellion_mm", "head_length_mm"):
        assert same.completion.sd_mm(key) == pytest.approx(
            known.completion.sd_mm(key), rel=0.05
        )
    assert same.spread_names[0] == known.spread_names[0]


def test_a_measure_learnt_moves_head_and_measure_alike(known):
    way = known.spread_names.index("menton_sellion_mm")
    k = len(known.spread) + 1
    mean, covariance = np.zeros(k), np.eye(k)
    mean[way], covariance[way, way] = 1.0, 0.01
    taller = learnt_wearer(
        known, news(known, mean=mean, covariance=covariance), record=known.record
    )
    step = taller.measures_mm["menton_sellion_mm"] - known.measures_mm["menton_sellion_mm"]
    assert step > 2.0
    told = taller.completion.value_mm("menton_sellion_mm")
    assert told - known.completion.value_mm("menton_sellion_mm") == pytest.approx(step)
    menton, was = taller.landmarks["menton"], known.landmarks["menton"]
    assert menton[2] < was[2]
    assert taller.completion.sd_mm("menton_sellion_mm") < known.completion.sd_mm(
        "menton_sellion_mm"
    )
    assert np.all(point_sd_mm(taller) <= point_sd_mm(known) + 1e-3)


def test_skin_that_would_cross_is_evened_out(known):
    # Unlikely far along several ways of shape: folds of ears and lids would cross.
    template, _ = head_model()
    rng = np.random.default_rng(5)
    k = len(known.spread) + 1
    for _ in range(20):
        mean = 2.5 * rng.standard_normal(k)
        moved = known.head.vertices + np.tensordot(mean[:-1], known.spread, 1)
        if len(crossing_faces(known.head.with_vertices(moved))):
            break
    else:
        pytest.fail("none of these heads crosses itself")
    got = learnt_wearer(known, news(known, mean=mean), record=known.record)
    assert not len(crossing_faces(got.head))
    off = np.linalg.norm(got.head.vertices - moved, axis=1)
    assert np.mean(off > 0.1) < 0.2
    assert len(got.head.vertices) == template.n_vertices
