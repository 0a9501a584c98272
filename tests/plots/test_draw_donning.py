"""Figures of a way on: what is drawn is what was given, with units and without colour."""

import numpy as np
import pytest

from fitkit.plots.donning import TIGHT_MM, way_figure
from fitkit.plots.paper import png_bytes
from fitkit.views.donnings import DonningView


def ring(up):
    turn = np.linspace(0, 2 * np.pi, 40)
    return (np.column_stack([90 * np.cos(turn), up + 110 * np.sin(turn)]),)


def view(*, goes_on=True):
    lift = np.linspace(300.0, 0.0, 31)
    return DonningView(
        wall=ring(20.0),
        heads=(ring(-280.0), ring(-90.0), ring(0.0)) if goes_on else (ring(-90), ring(0)),
        lifts_mm=(300.0, 90.0, 0.0) if goes_on else (90.0, 0.0),
        tight=1 if goes_on else 0,
        tight_at=np.array([-90.0, -60.0]),
        room_mm=2.4 if goes_on else -7.3,
        lift_mm=lift if goes_on else lift[:0],
        gap_mm=2.4 + np.abs(lift - 90) / 10 if goes_on else lift[:0],
        pitch_deg=-12 * (lift > 100) if goes_on else lift[:0],
        goes_on=goes_on,
    )


def words(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_every_head_is_named_and_the_seat_is_filled():
    figure = way_figure(view())
    assert {"300 mm to go", "90 mm to go, tightest", "seat"} <= set(words(figure))
    side = figure.axes[0]
    assert len(side.patches) == 1
    assert side.get_aspect() == 1.0
    assert side.get_xlabel() == "front [mm]"


def test_tightest_gap_is_written_beside_the_curve_and_at_the_place():
    figure = way_figure(view())
    assert "2.4 mm" in words(figure)
    assert "2.4 mm left" in words(figure)
    room = figure.axes[1]
    curve = next(line for line in room.lines if len(line.get_xdata()) == 31)
    assert curve.get_ydata().min() == pytest.approx(2.4)
    assert any(np.allclose(line.get_ydata(), TIGHT_MM) for line in room.lines)


def test_lift_runs_down_to_the_seat_from_left_to_right():
    for axes in way_figure(view()).axes[1:]:
        assert axes.get_xlim() == (300.0, 0.0)
        assert "mm" in axes.get_ylabel() or "deg" in axes.get_ylabel()


def test_head_that_stops_is_drawn_alone_with_what_is_missing():
    figure = way_figure(view(goes_on=False))
    assert len(figure.axes) == 1
    assert {"stops with 90 mm to go", "7.3 mm missing", "seat"} <= set(words(figure))
    assert "stops" in figure.axes[0].get_title(loc="left")


def test_same_view_gives_the_same_picture():
    assert png_bytes(way_figure(view())) == png_bytes(way_figure(view()))
