import numpy as np
import pytest
from stand_ins import ball, wearer_of

from fitkit.fit._medians import Medians
from fitkit.fit._sample import farthest_points, vertex_areas_mm2, zone_samples
from fitkit.wearer.zones import ZONES

WEARER = wearer_of(ball(75, 97, 115))
CROWN = ZONES.index("crown")
EVERYONE = np.arange(len(WEARER.zone))


def ease_at(x):
    """Some ease over the head that is not linear in one unknown."""
    return (
        20
        + WEARER.head.vertices[:, 1] * x[0] / 50
        + WEARER.head.vertices[:, 0] ** 2 * x[0] / 900
    )


def median_at(x):
    return float(np.median(ease_at(x)[WEARER.zone == CROWN]))


def learn(medians, x, *, afresh=False):
    slope = np.zeros((len(EVERYONE), 1))
    return medians.learn(np.array([x]), EVERYONE, ease_at([x]), slope, afresh=afresh)


def foretold(medians, x):
    return medians.of(CROWN, np.array([x]))[0]


def test_median_is_exact_where_it_was_learned():
    medians = Medians(WEARER.zone, [CROWN])
    learn(medians, 1.3)
    assert foretold(medians, 1.3) == pytest.approx(median_at([1.3]))


def test_learning_twice_foretells_the_way_between():
    medians = Medians(WEARER.zone, [CROWN])
    for x in (1.0, 1.4):
        learn(medians, x)
    assert foretold(medians, 1.2) == pytest.approx(median_at([1.2]), abs=0.05)


def test_learning_afresh_forgets_how_the_median_was_seen_to_move():
    medians = Medians(WEARER.zone, [CROWN])
    for x in (1.0, 1.4):
        learn(medians, x)
    learn(medians, 1.4, afresh=True)
    assert foretold(medians, 1.0) == pytest.approx(median_at([1.4]))


def test_learning_tells_by_how_much_it_was_off():
    medians = Medians(WEARER.zone, [CROWN])
    first = learn(medians, 1.0)
    expected = abs(foretold(medians, 1.4) - median_at([1.4]))
    second = learn(medians, 1.4)
    assert first[CROWN] == np.inf
    assert second[CROWN] == pytest.approx(expected)


def test_zone_never_learned_has_no_median():
    assert Medians(WEARER.zone, [CROWN]).of(CROWN, np.zeros(1)) is None


def test_farthest_points_begin_with_the_two_ends_of_a_line():
    line = np.column_stack([np.linspace(0, 10, 21), np.zeros((21, 2))])
    assert set(farthest_points(line, 3)[:2].tolist()) == {0, 20}
    assert line[farthest_points(line, 3)[2], 0] == pytest.approx(5)


def test_vertex_areas_add_up_to_the_whole():
    head = WEARER.head
    assert vertex_areas_mm2(head).sum() == pytest.approx(head.area_mm2)


def test_samples_lie_in_their_zones_and_cover_each():
    for index, rows in enumerate(zone_samples(WEARER)):
        zone = WEARER.head.vertices[WEARER.zone == index]
        assert (WEARER.zone[rows] == index).all()
        assert len(set(rows.tolist())) == len(rows)
        gap = np.linalg.norm(zone[:, None] - WEARER.head.vertices[rows][None], axis=2)
        assert gap.min(axis=1).max() < 40
