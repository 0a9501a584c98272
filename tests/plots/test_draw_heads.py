import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from fitkit.plots import draw_ease_legend, draw_ease_map, draw_head
from fitkit.plots.heads import BANDS, NECK, head_pixels
from fitkit.views.heads import HeadView, Spot, head_views


def view_of(ease_mm, *, asked_mm=6.0, facing=1.0, spots=()):
    ease = np.asarray(ease_mm, dtype=float)
    return HeadView(
        title="front",
        across=np.arange(float(ease.shape[1])),
        upward=np.arange(float(ease.shape[0])),
        ease_mm=ease,
        spare_mm=ease - asked_mm,
        facing=np.full(ease.shape, facing),
        spots=tuple(spots),
    )


def hatches_of(ax):
    kinds = (kind for shown in ax.collections for kind in getattr(shown, "hatches", []))
    return sorted(kind for kind in kinds if kind)


def luminance(colour):
    return float(np.dot(to_rgb(colour), [0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize(
    ("ease_mm", "band"), [(-9, 0), (-0.1, 1), (0, 2), (7, 3), (15, 4), (30, 5), (90, 6)]
)
def test_a_pixel_has_the_colour_of_its_band(ease_mm, band):
    pixels = head_pixels(view_of([[ease_mm, ease_mm]]))
    assert pixels[0, 0, :3] == pytest.approx(to_rgb(BANDS[band][1]))


def test_the_neck_is_grey_and_the_air_around_is_clear():
    view = view_of([[np.nan, np.nan]])
    assert head_pixels(view)[0, 0] == pytest.approx([*to_rgb(NECK), 1.0])
    assert head_pixels(view_of([[np.nan]], facing=np.nan))[0, 0, 3] == 0.0


def test_what_turns_away_is_darker_but_keeps_its_hue():
    square = head_pixels(view_of([[15.0]]))[0, 0, :3]
    turned = head_pixels(view_of([[15.0]], facing=0.0))[0, 0, :3]
    assert turned / square == pytest.approx([0.62] * 3)


def test_air_darkens_evenly_in_grey_and_clash_does_not_need_colour():
    air = [luminance(colour) for edge, colour in BANDS if edge > 0]
    assert air == sorted(air, reverse=True)
    assert np.diff(air).max() < -0.05
    ax = Figure().add_subplot()
    draw_head(ax, view_of(np.linspace(-8, 20, 100).reshape(10, 10)))
    assert hatches_of(ax) == ["....", "xxxx"]


def test_nothing_is_hatched_where_all_ease_is_kept():
    ax = Figure().add_subplot()
    draw_head(ax, view_of(np.linspace(7, 40, 100).reshape(10, 10)))
    assert hatches_of(ax) == []


def test_spots_carry_their_figure_at_their_place():
    ax = Figure().add_subplot()
    spot = Spot(at=np.array([3.0, 4.0]), zone="chin", ease_mm=-2.34)
    draw_head(ax, view_of(np.full((10, 10), 9.0), spots=[spot]))
    (note,) = ax.texts
    assert note.get_text() == "\N{MINUS SIGN}2.3"
    assert note.xy == (3.0, 4.0)


def test_all_views_are_drawn_with_equal_scales(tight):
    views = head_views(tight.wearer, tight.ease, pixel_mm=3.0)
    axes = Figure().subplots(1, len(views))
    draw_ease_map(axes, views)
    assert [ax.get_title(loc="center") for ax in axes] == [view.title for view in views]
    for ax, view in zip(axes, views, strict=True):
        assert ax.get_aspect() == 1.0
        left, right, _, _ = ax.images[0].get_extent()
        assert right - left == pytest.approx(len(view.across) * 3.0)


def test_the_legend_names_every_edge_and_both_words():
    ax = Figure().add_subplot()
    draw_ease_legend(ax)
    written = {text.get_text() for text in ax.texts}
    edges = {f"{edge:g}".replace("-", "\N{MINUS SIGN}") for edge, _ in BANDS[:-1]}
    assert edges | {"clash", "air", "ease, mm"} <= written
