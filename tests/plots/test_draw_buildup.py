"""Plots of build-up show the numbers they are given."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from shells import as_mesh, box

from fitkit.piece.route_files import route
from fitkit.piece.seams import split_to_bed
from fitkit.plots.buildup import (
    UNDERCUT_BANDS,
    draw_bands,
    draw_coats,
    draw_map,
    map_figure,
    parts_figure,
    wall_bands,
)
from fitkit.plots.paper import new_figure, svg_bytes
from fitkit.views.buildups import MapView, coat_views, parts_view


def map_view(value=2.0, spot=None) -> MapView:
    return MapView(
        title="front",
        across=np.arange(40.0),
        upward=np.arange(30.0),
        value_mm=np.where(np.arange(40) < 20, value, np.nan) * np.ones((30, 1)),
        facing=np.ones((30, 40)),
        spot=spot,
    )


def axes():
    return new_figure(width_mm=100, height_mm=80).add_axes((0.1, 0.2, 0.8, 0.75))


def words(ax):
    return [text.get_text() for text in ax.texts]


def test_a_map_is_coloured_by_band_and_grey_where_unknown():
    ax = axes()
    draw_map(ax, map_view(value=5.0), UNDERCUT_BANDS)
    pixels = np.asarray(ax.images[0].get_array())
    assert pixels[5, 5, :3] == pytest.approx(to_rgb(UNDERCUT_BANDS.colours[2]), abs=1e-6)
    assert pixels[5, 30, :3] == pytest.approx(to_rgb("#dcdcdc"), abs=1e-6)


def test_the_spot_of_a_map_says_its_figure():
    ax = axes()
    draw_map(ax, map_view(spot=(np.array([3.0, 4.0]), 1.26)), UNDERCUT_BANDS)
    assert "1.3" in words(ax)


def test_every_edge_of_the_bands_is_in_the_legend():
    ax = axes()
    bands = wall_bands(meant_mm=4.0)
    draw_bands(ax, bands)
    said = words(ax)
    for edge in (2, 3.2, 4.8, 6, 10):  # half, 0.8, 1.2, 1.5 and 2.5 times as thick
        assert f"{edge:g}" in said
    assert {"wall, mm", "not measured"} <= set(said)


@pytest.mark.parametrize("bands", [UNDERCUT_BANDS, wall_bands(meant_mm=3.0)])
def test_every_band_has_a_colour_and_a_hatch_of_its_own(bands):
    count = len(bands.edges_mm) + 1
    assert len(set(bands.colours)) == count
    assert len(bands.hatches) == count


def test_coats_are_drawn_to_scale_and_named():
    ax = axes()
    made = route("card master, silicone mould, hollow cast")
    draw_coats(ax, coat_views(made))
    widths = [patch.get_width() for patch in ax.patches]
    assert widths == pytest.approx([1.5, 3.0, 0.3])
    assert "cast wall, 3 mm" in words(ax)
    assert "as drawn" in words(ax)


def test_whole_figures_are_the_same_twice_over():
    split = split_to_bed(as_mesh(box(90, 280, 90)), bed_mm=(150, 150, 150), name="bar")
    figure = parts_figure(parts_view(split))
    said = " ".join(text.get_text() for text in figure.texts)
    assert "1   bar 1: 90 x" in said
    maps = [map_figure([map_view()] * 4, UNDERCUT_BANDS, title="t") for _ in range(2)]
    assert svg_bytes(maps[0]) == svg_bytes(maps[1])
