"""Lenses on a sphere and on a tube, whose flat copies are known in closed form."""

from types import SimpleNamespace

import numpy as np
import pytest

from fitkit.errors import BriefError
from fitkit.fit.lens_blank import Forming, lens_blanks
from fitkit.fit.placement import Placement
from fitkit.geometry.mesh import Mesh
from fitkit.piece.openings import find_openings


def facing(point, hole, *, steps=(360, 150)):
    """Give a surface over (turn, rise), wound outward, without the faces of a hole."""
    turn = np.linspace(0, 2 * np.pi, steps[0], endpoint=False)
    rise = np.linspace(-1.0, 1.0, steps[1])
    vertices = point(*np.meshgrid(turn, rise)).reshape(-1, 3)
    index = np.arange(len(vertices)).reshape(steps[1], steps[0])
    beside = np.roll(index, -1, axis=1)
    a, b, c, d = (q.ravel() for q in (index[:-1], beside[:-1], beside[1:], index[1:]))
    mesh = Mesh(vertices, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))
    return mesh.submesh(~hole(mesh.centroids))


def stand_in(mesh, *, lining_mm=0.0):
    openings = find_openings(mesh)
    return SimpleNamespace(name="s", facing=mesh, lining_mm=lining_mm, openings=openings)


def front(piece):
    """Give the opening that is farthest in front."""
    return max(piece.openings, key=lambda each: each.plane_point[1])


def ahead(piece):
    return front(piece).name


def sphere(radius, hole_mm):
    """Give a sphere with a round hole in front, rings of triangles about that."""
    start = np.arcsin(hole_mm / radius)

    def point(turn, rise):
        polar = start + (rise + 1) / 2 * (2.8 - start)
        flat = radius * np.sin(polar)
        ahead = radius * np.cos(polar)
        return np.stack([flat * np.cos(turn), ahead, flat * np.sin(turn)], axis=-1)

    return facing(point, lambda at: np.zeros(len(at), dtype=bool))


def tube(radius, hole):
    def point(turn, rise):
        return np.stack([radius * np.cos(turn), radius * np.sin(turn), 90 * rise], axis=-1)

    return facing(point, lambda at: hole(at) & (at[:, 1] > 0))


@pytest.fixture(scope="module")
def capped():
    # hole of 20 mm and lap of 6 mm, seen square to it
    piece = stand_in(sphere(100.0, 20.0))
    lens = lens_blanks(piece, Placement(), openings=[ahead(piece)], lap_mm=6.0)[0]
    return lens, 26.0


def test_a_cap_stretches_no_less_than_the_best_map_and_no_more_than_a_conformal_one(capped):
    # J. Milnor, Amer. Math. Monthly 76 (1969) 1101: of all maps of a cap of half angle c
    # the azimuthal equidistant one has the least ratio of scales, c / sin c. The
    # stereographic map has 2 / (1 + cos c).
    lens, reach = capped
    half = np.arcsin(reach / 100.0)
    least = 100 * (np.sqrt(half / np.sin(half)) - 1)
    most = 100 * (2 / (1 + np.cos(half)) - 1)
    assert 0.9 * least <= lens.worst_stretch_percent <= most
    assert lens.mean_stretch_percent < lens.worst_stretch_percent


def test_a_flat_cap_has_about_the_area_and_the_width_of_the_cap(capped):
    lens, reach = capped
    half = np.arcsin(reach / 100.0)
    right, up = lens.lens_mm.T
    area = abs(np.sum(right * np.roll(up, -1) - up * np.roll(right, -1)) / 2)
    assert area == pytest.approx(2 * np.pi * 1e4 * (1 - np.cos(half)), rel=0.02)
    for wide in np.ptp(lens.lens_mm, axis=0):
        assert 2 * reach - 0.8 <= wide <= 200 * half + 0.8
    assert lens.off_wall_mm < 0.1


def test_a_lens_on_a_tube_is_unrolled_without_stretch_and_bends_in_cold():
    piece = stand_in(tube(100.0, lambda at: np.hypot(at[:, 0], at[:, 2]) < 20.0))
    (lens,) = lens_blanks(piece, Placement(), openings=[ahead(piece)], lap_mm=6.0)
    across, up = np.ptp(front(piece).outline, axis=0) + 12.0
    wide, tall = np.ptp(lens.lens_mm, axis=0)
    # A chord of 2 x becomes an arc of 2 R asin(x / R); upward nothing changes.
    assert wide == pytest.approx(200 * np.arcsin(across / 200), abs=0.15)
    assert tall == pytest.approx(up, abs=0.15)
    assert lens.worst_stretch_percent < 0.3
    assert not lens.formed
    assert lens.blank_mm is lens.lens_mm


def test_the_lining_brings_the_lens_nearer_to_the_axis():
    # On the inside of a tube of 100 mm lined by 8 mm the lens bends about 92 mm.
    widths = []
    for lining in (0.0, 8.0):
        mesh = tube(100.0, lambda at: (np.abs(at[:, 0]) < 30) & (np.abs(at[:, 2]) < 15))
        piece = stand_in(mesh, lining_mm=lining)
        (lens,) = lens_blanks(piece, Placement(), openings=[ahead(piece)], lap_mm=5.0)
        widths.append(np.ptp(lens.lens_mm[:, 0]))
    chord = 2 * 35.0
    grown = [2 * r * np.arcsin(chord / 2 / r) for r in (100.0, 92.0)]
    assert widths[1] - widths[0] == pytest.approx(grown[1] - grown[0], abs=0.15)


def test_it_is_seen_from_outside_the_wearers_right_on_the_left_and_up_is_up():
    def hole(at):
        plain = (np.abs(at[:, 0]) < 20) & (np.abs(at[:, 2]) < 12)
        notch = (at[:, 0] > 0) & (at[:, 0] < 34) & (at[:, 2] > 2) & (at[:, 2] < 12)
        return plain | notch

    piece = stand_in(tube(100.0, hole))
    (lens,) = lens_blanks(piece, Placement(), openings=[ahead(piece)])
    middle = (lens.opening_mm.min(axis=0) + lens.opening_mm.max(axis=0)) / 2
    notch = lens.opening_mm[lens.opening_mm[:, 0] < lens.opening_mm[:, 0].min() + 6]
    assert np.all(notch[:, 1] > middle[1])


def test_a_deep_cap_is_formed_and_its_blank_has_trim_and_shrinkage():
    piece = stand_in(sphere(60.0, 25.0))
    forming = Forming(trim_mm=10.0, heat_shrink_percent=(3.0, -0.5))
    (lens,) = lens_blanks(
        piece, Placement(), openings=[ahead(piece)], lap_mm=6.0, forming=forming
    )
    assert lens.formed
    assert lens.worst_stretch_percent > 1.0
    wide, tall = np.ptp(lens.lens_mm, axis=0)
    expected = [(wide + 20.0) / 1.005, (tall + 20.0) / 0.97]
    assert np.ptp(lens.blank_mm, axis=0) == pytest.approx(expected, abs=0.1)


def test_size_makes_it_larger_but_not_its_lap():
    piece = stand_in(sphere(100.0, 20.0))
    small, large = (
        lens_blanks(piece, Placement(size=size), openings=[ahead(piece)], lap_mm=6.0)[0]
        for size in (1.0, 1.25)
    )
    grown = np.ptp(large.lens_mm, axis=0) - np.ptp(small.lens_mm, axis=0)
    assert grown == pytest.approx(0.25 * 40.0, abs=0.5)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"openings": ["eye_lfet"]}, "There is no opening 'eye_lfet'"),
        ({"lap_mm": 0.0}, "lap_mm must be 2 to 40 mm; got 0"),
    ],
)
def test_what_cannot_be_made_is_refused_in_words(piece, asked, message):
    with pytest.raises(BriefError, match=message):
        lens_blanks(piece, Placement(), **asked)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"trim_mm": 90.0}, "trim_mm must be 0 to 60 mm"),
        ({"heat_shrink_percent": (15.0, 1.5)}, "heat_shrink_percent must be -2 to 10 %"),
    ],
)
def test_allowances_that_no_sheet_needs_are_refused(asked, message):
    with pytest.raises(BriefError, match=message):
        Forming(**asked)


def test_eyes_get_lenses_unless_others_are_named(piece):
    blanks = lens_blanks(piece, Placement(size=1.02))
    assert [blank.opening for blank in blanks] == ["eye_left", "eye_right"]
