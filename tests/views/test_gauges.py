from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from fitkit.errors import SheetError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.sections import length_mm, section
from fitkit.views.gauges import Station, gauges, in_head, usual_stations
from fitkit.views.sections import SectionPlane

#: The shell of these tests, as drawn: tests/conftest.py.
HALF_AXES_MM = np.array([112.0, 130.0, 150.0])
CENTRE_MM = np.array([0.0, 0.0, 8.0])
LINING_MM = 3.0


@pytest.fixture(scope="module")
def found(roomy):
    return gauges(roomy.wearer, roomy.piece, roomy.placement, roomy.ease)


@pytest.fixture(scope="module")
def haired(wearer):
    bare = wearer.head
    return bare.with_vertices(bare.vertices + bare.vertex_normals * wearer.hair_mm[:, None])


def ellipsoid_distance_mm(points, half_axes):
    """Distance to an ellipsoid by Lagrange's multiplier, one root a point."""
    squares = half_axes**2

    def off(t, p):
        return float(np.sum(squares * p**2 / (squares + t) ** 2) - 1)

    distances = []
    for p in points:
        t = brentq(off, -squares.min() + 1e-6, 1e5, args=(p,))
        distances.append(np.linalg.norm(p - squares * p / (squares + t)))
    return np.array(distances)


def test_the_wall_lies_at_the_linings_true_distance_from_the_drawn_ellipsoid(found):
    # roomy sits at 102 % where it was drawn.
    for gauge in found:
        at = in_head(gauge.station, gauge.wall_mm[::6]) - 1.02 * CENTRE_MM
        away = ellipsoid_distance_mm(at, 1.02 * HALF_AXES_MM)
        # chords of the mesh fall short of the ellipsoid by up to 0.05 mm
        assert away == pytest.approx(LINING_MM, abs=0.06)
        assert gauge.open_share == 0.0


def test_the_head_is_the_head_over_its_hair(found, haired):
    for gauge in found:
        outline = gauge.head[0]
        curve = outline[outline[:, 1] > 0.01]
        off = SurfaceTree(haired).nearest(in_head(gauge.station, curve)).distance_mm
        assert off.max() < 0.01


def test_front_and_back_together_are_the_whole_girth(found, haired):
    front, back = (g for g in found if g.station.name.startswith("level"))
    whole = section(haired, point_mm=front.station.plane.point_mm, normal=[0, 0, 1])[0]
    halves = 0.0
    for gauge in (front, back):
        outline = np.vstack([gauge.head[0], gauge.head[0][:1]])
        steps = np.linalg.norm(np.diff(outline, axis=0), axis=1)
        on_base = (outline[:-1, 1] < 1e-6) & (outline[1:, 1] < 1e-6)
        halves += steps[~on_base].sum()
    assert halves == pytest.approx(length_mm(whole), abs=0.1)


def test_gaps_on_the_cards_are_no_longer_in_space_than_on_the_card(found, roomy):
    seen = set()
    for gauge in found:
        for place in gauge.places:
            drawn = np.linalg.norm(place.wall_mm - place.head_mm)
            assert place.ease_mm <= drawn + 0.6  # read at the nearest vertex of the head
            seen.add(place.name)
    assert {"brow", "back", "crown", "left temple", "right temple"} <= seen
    brow = roomy.ease.by_zone["brow"]
    on_card = next(p for g in found for p in g.places if p.name == "brow")
    assert on_card.ease_mm >= brow.least_mm


def test_where_the_piece_presses_the_wall_runs_inside_the_head(tight):
    found = gauges(tight.wearer, tight.piece, tight.placement, tight.ease)
    pressed = [p for gauge in found for p in gauge.places if p.ease_mm < -1.0]
    assert pressed
    for gauge in found:
        middle = gauge.head[0].mean(axis=0)
        for place in gauge.places:
            if place.ease_mm < -1.0:
                wall, head = (np.linalg.norm(at - middle) for at in
                              (place.wall_mm, place.head_mm))  # fmt: skip
                assert wall < head


def test_a_card_goes_on_and_off_because_the_head_is_broadest_at_its_base(found):
    for gauge in found[2:]:
        outline = gauge.head[0]
        base = np.ptp(outline[outline[:, 1] < 1e-6, 0])
        assert np.ptp(outline[:, 0]) - base < 1.0


def test_a_plane_that_misses_the_head_is_refused_by_name(roomy):
    plane = SectionPlane(
        name="high", title="high", point_mm=np.array([0, 0, 400.0]), across=0, upward=1
    )
    station = Station(
        name="high", title="", plane=plane, base_mm=0.0, side=1, ends=("left", "right")
    )
    with pytest.raises(SheetError, match="Gauge high: its plane misses the head"):
        gauges(roomy.wearer, roomy.piece, roomy.placement, roomy.ease, stations=[station])


def test_a_piece_without_a_crown_has_nothing_to_gauge_over_it(roomy):
    piece = roomy.piece
    low = piece.facing.submesh(piece.facing.centroids[:, 2] < 0)
    half = replace(piece, facing=low, skin=low)
    with pytest.raises(SheetError, match=r"Gauge midline: no wall stands near the head"):
        gauges(roomy.wearer, half, roomy.placement, roomy.ease)


def test_stations_stand_above_the_ears(wearer):
    ears = wearer.head.vertices[np.isin(wearer.zone, [11, 12]), 2].max()
    for station in usual_stations(wearer):
        assert station.plane.point_mm[2] > ears
