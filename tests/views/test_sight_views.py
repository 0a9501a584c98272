"""Charts of fields, floors and cuts: what is laid out is what was found."""

import numpy as np
import pytest

from fitkit.fit.cut import smallest_cut
from fitkit.fit.field import field_of_view
from fitkit.fit.floor import floor_view
from fitkit.fit.placement import Placement
from fitkit.fit.sight import SIDES
from fitkit.fit.wanted import wanted_limits
from fitkit.views.cuts import cut_view
from fitkit.views.fields import chart_radius, field_chart, on_chart
from fitkit.views.floors import floor_side


@pytest.fixture(scope="module")
def field(tight):
    return field_of_view(tight.wearer, tight.piece, tight.placement, samples=1)


def test_area_on_the_chart_is_solid_angle(field):
    chart = field_chart(field)
    pixel = (chart.across[1] - chart.across[0]) ** 2
    for side in SIDES:
        for laid, eye in ((chart.bare, field.bare), (chart.worn, field.worn)):
            got = laid[side].sum() * pixel
            assert got == pytest.approx(eye.eye(side).solid_angle_sr["centre"], rel=0.01)


def test_chart_of_a_direction_keeps_its_side_and_its_ring():
    ways = np.array([[0, 1, 0], [1, 0, 0], [0, 0, -1], [-np.sqrt(0.5), np.sqrt(0.5), 0]])
    got = on_chart(ways)
    root = chart_radius(90)
    assert got == pytest.approx(
        np.array([[0, 0], [root, 0], [0, -root], [-chart_radius(45), 0]]), abs=1e-12
    )


def test_percents_on_the_chart_are_those_of_the_field(field):
    chart = field_chart(field)
    assert chart.either_percent == field.either_percent
    assert chart.both_percent == field.both_percent


def test_floor_is_laid_out_in_metres_from_below_the_eyes(tight):
    view = floor_view(tight.wearer, tight.piece, tight.placement, eye_height_mm=1600)
    side = floor_side(tight.wearer, view)
    assert side.eye_height_m == 1.6
    assert side.steps_m == (0.7, 1.4)
    for strip, bow in zip(side.strips, view.bows, strict=True):
        assert strip.bare_nearest_m == pytest.approx(bow.bare_nearest_mm / 1000)
        assert all(near < 7 for near, _ in strip.seen_m)
    ahead, up = side.head_m.T
    assert np.ptp(up) > 0.2  # a head and its neck
    assert ahead.max() > 0 > ahead.min()
    assert abs(up.mean() - 1.6) < 0.2


def test_cut_is_seen_from_the_front_with_one_template_for_each_eye(tight):
    wanted = [
        wanted_limits(side=side, up_deg=20, down_deg=35, nasal_deg=15, temporal_deg=40)
        for side in SIDES
    ]
    cut = smallest_cut(tight.wearer, tight.piece, Placement(), wanted=wanted, settle=True)
    view = cut_view(cut)
    assert view.shade.shape == (len(view.upward), len(view.across))
    assert [template.title.split()[0] for template in view.templates] == ["left", "right"]
    left, right = cut.eyes["left"].patches[0], cut.eyes["right"].patches[0]
    # who stands before the piece has the wearer's left on the right
    middles = [outline[:, 0].mean() for outline in view.outlines[:1]]
    assert middles[0] == pytest.approx(-left.outer.outlines[0][:, 0].mean())
    assert left.outer.outlines[0][:, 0].mean() < 0 < right.outer.outlines[0][:, 0].mean()
    for template, patch in zip(view.templates, (left, right), strict=True):
        known = np.concatenate(patch.bevel_deg)
        known = known[np.isfinite(known)]
        assert known.min() <= template.bevel_deg[0] <= template.bevel_deg[1] <= known.max()
