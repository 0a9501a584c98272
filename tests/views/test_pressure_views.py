"""Views of a pressed ball: what is seen where, from figures known beforehand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from stand_ins import ball

from fitkit.views.pressures import pressure_views

HEAD = ball(85.0, segments=96)


def views_of(pressure, peak):
    settled = SimpleNamespace(
        pressure_kpa=pressure, peak_kpa=float(pressure.max()), peak_at_mm=np.array(peak)
    )
    found = pressure_views(HEAD, settled, pixel_mm=2.0)
    return {view.title: view for view in found}


@pytest.fixture(scope="module")
def leaning():
    # grows from the wearer's left to the right: 5 kPa at the right ear
    return views_of(5 * (HEAD.vertices[:, 0] + 85) / 170, (85.0, 0, 0))


def at(view, right, up):
    column = int(np.abs(view.across - right).argmin())
    return float(view.kpa[int(np.abs(view.upward - up).argmin()), column])


def test_every_view_shows_the_pressure_of_what_is_seen(leaning):
    # from the front the wearer's right is on the left of the picture, at −across
    assert at(leaning["front"], -60, 0) == pytest.approx(5 * 145 / 170, abs=0.06)
    assert at(leaning["back"], 60, 0) == pytest.approx(5 * 145 / 170, abs=0.06)
    assert at(leaning["top"], -60, 0) == pytest.approx(5 * 25 / 170, abs=0.06)
    # from the wearer's left the ball shows its left side, 80 mm out at 29 mm from its pole
    assert at(leaning["wearer's left"], 20, 20) == pytest.approx(5 * 4.8 / 170, abs=0.08)


def test_off_the_head_there_is_nothing(leaning):
    front = leaning["front"]
    corner = np.hypot(*np.meshgrid(front.across, front.upward)) > 87
    assert np.isnan(front.kpa[corner]).all()
    assert np.isnan(front.facing[corner]).all()
    assert np.nanmax(front.facing) == pytest.approx(1, abs=1e-3)


def test_a_peak_is_marked_only_where_it_is_seen():
    top = views_of(np.maximum(HEAD.vertices[:, 2], 0), (0.0, -10.0, 84.4))
    assert top["top"].peak_at == pytest.approx([0, -10])
    back = views_of(np.maximum(-HEAD.vertices[:, 1], 0), (0.0, -85.0, 0.0))
    assert back["front"].peak_at is None
    assert back["back"].peak_at == pytest.approx([0, 0])
