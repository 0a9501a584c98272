"""What spread and slips of the making do to the ease, against a ball in a ball."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fitkit.errors import BriefError
from fitkit.fit.ease import ease
from fitkit.fit.placement import SIZE_RANGE, Placement
from fitkit.fit.route_ease import route_spread, slip_ease
from fitkit.piece.route_steps import CopyStep, LayerStep
from fitkit.piece.route_walls import finish_by_route
from fitkit.piece.routes import Route

ROUTE = Route(
    name="cast",
    steps=(
        CopyStep(name="casting", shrink_percent=1.0, spread_percent=0.5),
        LayerStep(name="wall", side="inward", thickness_mm=3.0, spread_percent=10),
        LayerStep(name="lining", side="inward", thickness_mm=2.0, spread_percent=20),
    ),
)
PLACE = Placement(size=1.02, pitch_deg=2.0)


@pytest.fixture(scope="module")
def made(piece):
    return finish_by_route(piece.design, route=ROUTE)


def test_a_layer_left_out_gives_its_thickness_to_every_zone(wearer, made):
    slips = {(s.step, s.slip): s for s in slip_ease(wearer, made, PLACE, route=ROUTE)}
    gained = slips["lining", "left out"].change_mm
    assert all(change == pytest.approx(2.0) for change in gained.values())
    lost = slips["wall", "doubled"].change_mm
    assert all(change == pytest.approx(-3.0) for change in lost.values())
    even = ease(wearer, made, PLACE).tightest.spare_mm
    assert slips["wall", "doubled"].spare_mm == pytest.approx(even - 3.0)


def test_a_copy_done_twice_is_a_piece_one_percent_smaller(wearer, made):
    slips = {(s.step, s.slip): s for s in slip_ease(wearer, made, PLACE, route=ROUTE)}
    smaller = Placement(
        size=PLACE.size * 0.99, shift_mm=PLACE.shift_mm * 0.99, pitch_deg=2.0
    )
    for zone, at in ease(wearer, made, smaller).by_zone.items():
        change = at.least_mm - ease(wearer, made, PLACE).by_zone[zone].least_mm
        assert slips["casting", "doubled"].change_mm[zone] == pytest.approx(change)
        assert change < 0


def test_a_slip_that_leaves_no_piece_has_no_ease(wearer, piece):
    one = Route(name="one", steps=ROUTE.steps[:2])
    made = finish_by_route(piece.design, route=one)
    slips = {(s.step, s.slip): s for s in slip_ease(wearer, made, PLACE, route=one)}
    gone = slips["wall", "left out"]
    assert gone.problem == "No wall is left."
    assert not gone.change_mm
    assert math.isnan(gone.spare_mm)


def test_the_spread_of_ease_is_that_of_pieces_drawn_at_random(wearer, made):
    spread = route_spread(wearer, made, PLACE, route=ROUTE)
    assert spread["crown"].layers_sd_mm == pytest.approx(math.hypot(0.3, 0.4))
    random = np.random.default_rng(5)
    drawn = {zone: [] for zone in spread}
    for _ in range(60):
        factor = (1 - 0.01 + 0.005 * random.standard_normal()) / 0.99
        lining = 3 * (1 + 0.1 * random.standard_normal())
        lining += 2 * (1 + 0.2 * random.standard_normal())
        pose = Placement(size=PLACE.size * factor, pitch_deg=2.0)
        one = ease(wearer, replace(made, lining_mm=lining), pose)
        for zone, at in one.by_zone.items():
            drawn[zone].append(at.least_mm)
    for zone in ("crown", "brow", "back", "temple_left"):
        # 60 draws know a standard deviation to about 9 %
        sd = np.std(drawn[zone], ddof=1)
        assert spread[zone].sd_mm == pytest.approx(sd, rel=0.35)


def test_a_route_without_spread_has_none(wearer, made):
    steps = tuple(
        LayerStep(name=name, side="inward", thickness_mm=t, spread_percent=0)
        for name, t in (("wall", 3.0), ("lining", 2.0))
    )
    sure = Route(name="sure", steps=steps)
    for zone in route_spread(wearer, made, PLACE, route=sure).values():
        assert zone.sd_mm == 0.0


def test_a_spread_beyond_any_size_is_refused(wearer, made):
    edge = Placement(size=SIZE_RANGE[1])
    with pytest.raises(BriefError, match="size must be"):
        route_spread(wearer, made, edge, route=ROUTE)
