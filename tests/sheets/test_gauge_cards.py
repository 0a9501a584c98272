import numpy as np
import pytest

from fitkit.geometry.distance import SurfaceTree
from fitkit.plots.lettering import size_for_capital_pt, text_width_mm
from fitkit.sheets.gauges import CARD_MM, FARTHEST_MM, gauge_templates
from fitkit.views.gauges import gauges, in_head


@pytest.fixture(scope="module")
def drawn(roomy):
    found = gauges(roomy.wearer, roomy.piece, roomy.placement, roomy.ease)
    return found, {one.name: one for one in gauge_templates(found)}


def outline_of(template):
    (line,) = [line for line in template.lines if line.job == "cut"]
    return line.points_mm


def test_each_station_has_a_card_for_the_head_and_one_for_the_inside(drawn):
    found, cards = drawn
    expected = {
        f"{gauge.station.name} ({of})" for gauge in found for of in ("head", "inside")
    }
    assert set(cards) == expected


def test_the_inner_edge_of_a_head_card_is_the_head_and_the_outer_a_card_wider(drawn):
    found, cards = drawn
    for gauge in found:
        outline = outline_of(cards[f"{gauge.station.name} (head)"])
        head = np.vstack([gauge.head[0], gauge.head[0][:1]])
        ends = np.linspace(0, 1, 20)[:, None, None]
        dots = (head[:-1] * (1 - ends) + head[1:] * ends).reshape(-1, 2)
        gap = np.array([np.hypot(*(dots - point).T).min() for point in outline])
        clear = outline[:, 1] > CARD_MM + 1.0
        near = gap[clear] < CARD_MM / 2
        assert gap[clear][near].max() < 0.15
        assert gap[clear][~near] == pytest.approx(CARD_MM, abs=0.3)


def test_the_edge_of_an_inside_card_is_the_finished_wall(drawn, roomy):
    # By another way than the gauge's: distance from the drawn wall, less the lining.
    found, cards = drawn
    wall = SurfaceTree(roomy.piece.facing.scaled(roomy.placement.size))
    for gauge in found:
        outline = outline_of(cards[f"{gauge.station.name} (inside)"])
        edge = in_head(gauge.station, outline[outline[:, 1] > 0.01])
        gaps = wall.nearest(roomy.placement.to_sized(edge)).distance_mm
        head = np.vstack(gauge.head)
        far = np.array(
            [np.hypot(*(head - point).T).min() for point in outline if point[1] > 0.01]
        )
        on_wall = far < FARTHEST_MM - 1.0
        assert on_wall.mean() > 0.7
        assert gaps[on_wall] == pytest.approx(3.0, abs=0.05)


def corners(words):
    size = size_for_capital_pt(height_mm=words.height_mm)
    half = np.array([text_width_mm(words.text, size) / 2, words.height_mm / 2])
    turn = np.radians(words.turn_deg)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return half, axes


def test_no_words_lie_on_a_line(drawn):
    for name, card in drawn[1].items():
        for line in card.lines:
            ring = line.points_mm
            if line.closed:
                ring = np.vstack([ring, ring[:1]])
            share = np.linspace(0, 1, 60)[:, None, None]
            dots = (ring[:-1] * (1 - share) + ring[1:] * share).reshape(-1, 2)
            for words in card.words:
                half, axes = corners(words)
                inside = np.all(np.abs((dots - words.at_mm) @ axes.T) < half, axis=1)
                assert not inside.any(), f"{name}: {words.text}, {line.job}"


def test_words_do_not_lie_on_one_another(drawn):
    for name, card in drawn[1].items():
        for k, one in enumerate(card.words):
            for other in card.words[:k]:
                half, axes = corners(one)
                reach, turned = corners(other)
                grid = np.stack(np.meshgrid([-1, -0.5, 0, 0.5, 1], [-1, 0, 1]), -1)
                dots = other.at_mm + (grid.reshape(-1, 2) * reach) @ turned
                inside = np.all(np.abs((dots - one.at_mm) @ axes.T) < half, axis=1)
                assert not inside.any(), f"{name}: {one.text}, {other.text}"


def test_figures_on_the_cards_are_those_of_the_gauges(drawn):
    found, cards = drawn
    for gauge in found:
        for of in ("head", "inside"):
            said = {words.text for words in cards[f"{gauge.station.name} ({of})"].words}
            for place in gauge.places:
                assert f"{place.name} {place.ease_mm:.1f}" in said


def test_a_card_says_how_it_is_held(drawn):
    card = drawn[1]["midline (head)"]
    assert "over the crown from front to back" in card.notes[0]
