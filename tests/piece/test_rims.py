"""Rims: loops of open edge, with seams left out."""

from __future__ import annotations

import numpy as np
import pytest
import shells

from fitkit.geometry.mesh import Mesh, join
from fitkit.piece.rims import rims


def sheet(*holes, size_mm=100.0) -> Mesh:
    """A square sheet, normals up, with rectangular holes (low right, low front, w, d)."""
    cuts = [-size_mm / 2, size_mm / 2]
    rights = sorted({*cuts, *(v for h in holes for v in (h[0], h[0] + h[2]))})
    fronts = sorted({*cuts, *(v for h in holes for v in (h[1], h[1] + h[3]))})
    corners = [(r, f, 0.0) for f in fronts for r in rights]
    faces, n = [], len(rights)
    for i in range(len(fronts) - 1):
        for j in range(n - 1):
            r, f = (rights[j] + rights[j + 1]) / 2, (fronts[i] + fronts[i + 1]) / 2
            if any(h[0] < r < h[0] + h[2] and h[1] < f < h[1] + h[3] for h in holes):
                continue
            a, b, c, d = i * n + j, i * n + j + 1, (i + 1) * n + j + 1, (i + 1) * n + j
            faces += [(a, b, c), (a, c, d)]
    return Mesh(np.array(corners), np.array(faces)).submesh(np.arange(len(faces)))


def around(rim: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(rim, axis=0), axis=1).sum())


def found(surface: Mesh, part=None) -> list[float]:
    if part is None:
        part = np.zeros(len(surface.faces), dtype=int)
    return sorted(around(rim) for rim in rims(surface, part))


def test_a_closed_surface_has_no_rim():
    assert found(shells.as_mesh(shells.ball(50))) == []


def test_a_sheet_with_two_holes_has_three_rims():
    surface = sheet((-30, -10, 20, 20), (10, -10, 10, 30))
    assert found(surface) == pytest.approx([80, 80, 400])


def test_every_rim_is_closed_with_its_surface_to_the_left():
    for rim in rims(sheet((-10, -10, 20, 20)), np.zeros(16, dtype=int)):
        assert np.array_equal(rim[0], rim[-1])
        turn = np.cross(rim[:-1], rim[1:]).sum(axis=0)[2]
        outermost = around(rim) > 200
        assert turn > 0 if outermost else turn < 0


@pytest.mark.parametrize(("width", "rim_count"), [(2.5, 1), (3.5, 2)])
def test_a_slit_narrower_than_3_mm_is_a_seam(width, rim_count):
    assert len(found(sheet((-30, -width / 2, 60, width)))) == rim_count


def test_a_bar_narrower_than_3_mm_between_two_holes_is_no_seam():
    assert len(found(sheet((-22, -10, 21, 20), (1, -10, 21, 20)))) == 3


def test_two_parts_close_together_have_one_outline():
    left = sheet(size_mm=100)
    right = left.moved([[1, 0, 0, 104], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    both = join([left, right])
    part = np.repeat([0, 1], [len(left.faces), len(right.faces)])
    # once around 204 x 100, less what the seam's ends cut off at the two corners
    assert found(both, part) == pytest.approx([608], rel=0.05)


def test_two_parts_far_apart_keep_their_own_outlines():
    left = sheet(size_mm=100)
    right = left.moved([[1, 0, 0, 130], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    part = np.repeat([0, 1], [len(left.faces), len(right.faces)])
    assert found(join([left, right]), part) == pytest.approx([400, 400])


def test_a_wide_mouth_between_two_parts_is_one_rim_of_its_own():
    # two sheets 4 mm apart, with a notch in the facing edge of each: 60 x 24 mm together
    left = sheet((40, -30, 10, 60))
    right = sheet((-50, -30, 10, 60)).moved(
        [[1, 0, 0, 104], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]
    )
    part = np.repeat([0, 1], [len(left.faces), len(right.faces)])
    mouth, outline = found(join([left, right]), part)
    assert mouth == pytest.approx(2 * (60 + 24), rel=0.06)
    assert outline == pytest.approx(608, rel=0.05)


def test_an_almond_keeps_the_tips_where_its_lids_come_close():
    shell = shells.shell(shells.ball(140), shells.ball(136), shells.NECK_CUT, almond())
    inner = shell.mesh.submesh(shell.kind == shells.INNER).flipped()
    eye = rims(inner, np.zeros(len(inner.faces), dtype=int))[-1]
    # two arcs of radius 34 that cross 50 apart: 2 * sqrt(34² - r²) = 50 between the tips
    assert np.ptp(eye[:, 0]) == pytest.approx(50, abs=0.2)


def almond():
    """Give a bore whose section is what two circles of radius 34 share, 50 mm long."""
    off = np.sqrt(34**2 - 25**2)
    upper, lower = (
        shells.rod(34, 120, at=(0, 120, s * off), segments=400) for s in (-1, 1)
    )
    return upper ^ lower


def test_a_split_line_up_the_back_is_no_part_of_the_neck():
    split = shells.box(2, 100, 150, at=(0, -140, -70))
    shell = shells.shell(shells.ball(140), shells.ball(136), shells.NECK_CUT, split)
    inner = shell.mesh.submesh(shell.kind == shells.INNER).flipped()
    (neck,) = rims(inner, np.zeros(len(inner.faces), dtype=int))
    radius = np.sqrt(136**2 - 110**2)
    assert around(neck) == pytest.approx(2 * np.pi * radius, rel=0.02)
    assert np.ptp(neck[:, 2]) < 3
