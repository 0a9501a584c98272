import numpy as np
import pytest
from matplotlib.figure import Figure

from fitkit.plots import draw_section
from fitkit.plots.sections import leader_words
from fitkit.views.sections import Leader, section_views


@pytest.fixture(scope="module")
def drawn(tight):
    views = section_views(tight.wearer, tight.piece, tight.placement, tight.ease)
    pairs = []
    for view in views:
        ax = Figure().add_subplot()
        draw_section(ax, view)
        pairs.append((ax, view))
    return pairs


def lines_named(ax, name):
    return [line for line in ax.lines if line.get_gid() == name]


def test_each_leader_is_drawn_where_it_is_with_its_figure(drawn):
    for ax, view in drawn:
        lines = lines_named(ax, "leader")
        assert len(lines) == len(view.leaders)
        written = [text.get_text() for text in ax.texts]
        for line, leader in zip(lines, view.leaders, strict=True):
            assert line.get_xydata() == pytest.approx(np.stack([leader.start, leader.end]))
            assert leader_words(leader) in written


def test_scales_are_equal_and_the_bar_is_fifty_millimetres(drawn):
    for ax, view in drawn:
        assert ax.get_aspect() == 1.0
        (bar,) = lines_named(ax, "scale bar")
        assert np.ptp(bar.get_xdata()) == 50.0
        assert ax.get_xlim() + ax.get_ylim() == view.frame_mm


def test_axes_are_named_with_their_unit(drawn):
    labels = [(ax.get_xlabel(), ax.get_ylabel()) for ax, _ in drawn]
    assert labels[0] == ("front, mm", "up, mm")
    assert labels[2] == ("right, mm", "up, mm")
    assert labels[3] == ("right, mm", "front, mm")


def test_heads_hair_and_sight_are_the_views_own(drawn):
    for ax, view in drawn:
        outlines = [patch.get_xy() for patch in ax.patches]
        assert len(outlines) == len(view.head) + len(view.hair)
        for outline in view.head:
            assert any(np.array_equal(outline, shown) for shown in outlines)
        shown = [line.get_xydata() for line in lines_named(ax, "sight")]
        assert len(shown) == len(view.sight)
        for line, seen in zip(shown, view.sight, strict=True):
            assert np.array_equal(line, seen)


def test_landmarks_are_named(drawn):
    ax, _ = drawn[0]
    written = [text.get_text() for text in ax.texts]
    assert {"sellion", "chin", "tragion", "chin\npole"} <= set(written)


def test_figures_of_one_section_do_not_lie_on_each_other(drawn):
    for ax, view in drawn:
        words = {leader_words(leader) for leader in view.leaders}
        ax.figure.set_size_inches(3.0, 3.0)
        ax.figure.draw_without_rendering()
        places = [text.get_position() for text in ax.texts if text.get_text() in words]
        assert len(set(places)) == len(places)


@pytest.mark.parametrize(
    ("ease_mm", "words"),
    [(7.25, "7.2"), (5.98, "6.0"), (3.21, "3.2 of 6"), (-2.0, "\N{MINUS SIGN}2.0\nclash")],
)
def test_a_clash_and_a_shortfall_are_told_in_words_not_by_colour_alone(ease_mm, words):
    leader = Leader(
        start=np.zeros(2), end=np.ones(2), ease_mm=ease_mm, wanted_mm=6.0, zone="brow"
    )
    assert leader_words(leader) == words
