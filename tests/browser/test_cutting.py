"""Sections cut in the browser against the library's, and against closed forms."""

from __future__ import annotations

import base64

import numpy as np
import pytest

from fitkit.fit.placement import Placement
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import length_mm, section
from fitkit.panels.boxes import numbers_of
from fitkit.panels.front_end import joined_module
from fitkit.panels.scene import near_order

CUT = """
async ([module, points, faces, values, axis, offset, hinge, open]) => {
  const { Body, cut, pieceMap, jawMap } = await import(module);
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;
  const body = new Body({ name: "x", role: "wall", moves: "piece",
    points: new Float32Array(bytes(points)), faces: new Uint32Array(bytes(faces)) });
  const map = jawMap(pieceMap(values), hinge, open);
  return cut(body, map, axis, offset).map(({ at, closed }) => ({ at: [...at], closed }));
}
"""


#: Half axes and centre of the ellipsoid: right, front, up. [mm]
HALF_AXES_MM = np.array([112.0, 130.0, 150.0])
CENTRE_MM = np.array([0.0, 0.0, 8.0])


@pytest.fixture(scope="module")
def page(browser):
    opened = browser.new_page()
    yield opened
    opened.close()


def ellipsoid(steps: int = 90) -> Mesh:
    """An ellipsoid of even triangles about ``CENTRE_MM``, closed at both poles."""
    tilt = np.linspace(0, np.pi, steps)[1:-1, None]
    turn = np.linspace(0, 2 * np.pi, 2 * steps, endpoint=False)
    ring = [
        np.sin(tilt) * np.cos(turn),
        np.sin(tilt) * np.sin(turn),
        np.cos(tilt) + 0 * turn,
    ]
    points = np.vstack([[0, 0, 1], np.stack(ring, axis=-1).reshape(-1, 3), [0, 0, -1]])
    rows = 1 + np.arange((steps - 2) * 2 * steps).reshape(steps - 2, 2 * steps)
    beside = np.roll(rows, -1, axis=1)
    corners = [
        (rows[:-1], rows[1:], beside[1:]),
        (rows[:-1], beside[1:], beside[:-1]),
        (0 * rows[0], rows[0], beside[0]),
        (0 * rows[0] + len(points) - 1, beside[-1], rows[-1]),
    ]
    faces = [np.stack([c.ravel() for c in three], axis=1) for three in corners]
    return Mesh(points * HALF_AXES_MM + CENTRE_MM, np.concatenate(faces))


def encoded(array: np.ndarray, kind: str) -> str:
    return base64.b64encode(array.astype(kind).tobytes()).decode()


def cut_in_browser(page, mesh, placement, *, axis, offset, hinge=None, open_deg=0.0):
    """Cut a placed mesh in the browser; gives closed and open lines, (k, 2) each."""
    module = base64.b64encode(joined_module("cutting").encode()).decode()
    lines = page.evaluate(
        CUT,
        [
            f"data:text/javascript;base64,{module}",
            encoded(mesh.vertices, "<f4"),
            encoded(mesh.faces[near_order(mesh)], "<u4"),
            numbers_of(placement),
            axis,
            offset,
            hinge,
            open_deg,
        ],
    )
    return [(np.array(line["at"]).reshape(-1, 2), line["closed"]) for line in lines]


def whole_length(lines) -> float:
    total = 0.0
    for at, closed in lines:
        ring = np.vstack([at, at[:1]]) if closed else at
        total += float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())
    return total


def signed_area(lines) -> float:
    total = 0.0
    for at, _ in lines:
        across, up = at.T
        total += float(across @ np.roll(up, -1) - up @ np.roll(across, -1)) / 2
    return total


PLACEMENTS = {
    "as drawn": Placement(),
    "sized": Placement(size=1.13, shift_mm=(3, -7, 11)),
    "turned": Placement(size=0.94, pitch_deg=17, yaw_deg=-8, roll_deg=5),
    "stretched": Placement(size=(0.9, 1.0, 1.2), shift_mm=(0, 4, 0), pitch_deg=-12),
}


@pytest.mark.parametrize("axis", [0, 1, 2], ids=["side", "front", "top"])
@pytest.mark.parametrize("name", PLACEMENTS)
def test_a_cut_is_as_long_and_as_many_as_the_librarys(page, piece, name, axis):
    mesh, placement = piece.facing, PLACEMENTS[name]
    placed = mesh.moved(placement.matrix)
    for offset in (-40.25, 0.125, 33.375):
        normal = np.eye(3)[axis]
        expected = section(placed, point_mm=normal * offset, normal=normal)
        got = cut_in_browser(page, mesh, placement, axis=axis, offset=offset)
        assert len(got) == len(expected)
        total = sum(length_mm(line) for line in expected)
        assert whole_length(got) == pytest.approx(total, abs=0.02)


def test_a_cut_through_an_ellipsoid_has_the_area_of_its_ellipse(page):
    # Area of an ellipse: pi a b; at height h the half axes shrink by sqrt(1 - (h / c)^2).
    right, front, up = HALF_AXES_MM
    height = 60.0
    offset = CENTRE_MM[2] + height
    got = cut_in_browser(page, ellipsoid(), Placement(), axis=2, offset=offset)
    (line, closed), *others = got
    assert closed
    assert others == []
    area = np.pi * right * front * (1 - (height / up) ** 2)
    assert abs(signed_area([(line, True)])) == pytest.approx(area, rel=2e-3)


def test_a_plane_through_vertices_gives_whole_closed_lines(page):
    mesh = ellipsoid()
    level = float(np.unique(mesh.vertices[:, 2])[60])
    for axis, offset in ((0, 0.0), (1, 0.0), (2, level)):
        got = cut_in_browser(page, mesh, Placement(), axis=axis, offset=offset)
        assert [closed for _, closed in got] == [True]


def test_edges_where_three_faces_meet_lose_nothing(page):
    fin = np.array([[0, 0, -10], [0, 0, 10], [10, 0, 0], [-10, 0, 0], [0, 10, 0]], float)
    faces = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    got = cut_in_browser(page, Mesh(fin, faces), Placement(), axis=2, offset=1.0)
    assert whole_length(got) == pytest.approx(27.0, abs=1e-4)  # three fins, 9 mm each


def test_nothing_is_drawn_where_the_plane_misses(page):
    assert cut_in_browser(page, ellipsoid(), Placement(), axis=2, offset=400.0) == []


def test_the_jaw_turns_about_its_placed_hinge_and_stays_rigid(page):
    mesh = ellipsoid()
    placement = Placement(size=1.1, shift_mm=(0, 5, 0), pitch_deg=10)
    hinge = [[-60.0, 0.0, -20.0], [60.0, 0.0, -20.0]]
    closed = cut_in_browser(page, mesh, placement, axis=0, offset=0.0)
    opened = cut_in_browser(
        page, mesh, placement, axis=0, offset=0.0, hinge=hinge, open_deg=30.0
    )
    assert abs(signed_area(opened)) == pytest.approx(abs(signed_area(closed)), rel=1e-4)
    pole = placement.to_head([[0, 0, -20]])[0][1:]
    before, after = (lines[0][0].mean(axis=0) - pole for lines in (closed, opened))
    assert np.linalg.norm(before) == pytest.approx(np.linalg.norm(after), rel=0.02)
    across = before[0] * after[1] - before[1] * after[0]
    turned = np.degrees(np.arctan2(across, before @ after))
    assert turned == pytest.approx(-30.0, abs=1.0)  # opening lowers the front


@pytest.mark.parametrize("name", PLACEMENTS)
def test_the_browser_places_points_where_the_library_does(page, name):
    placement = PLACEMENTS[name]
    module = base64.b64encode(joined_module("cutting").encode()).decode()
    points = [[1.0, 2.0, 3.0], [-40.0, 90.0, 12.0]]
    got = page.evaluate(
        """async ([module, values, points]) => {
          const { pieceMap, carried } = await import(module);
          return points.map((point) => carried(pieceMap(values), point));
        }""",
        [f"data:text/javascript;base64,{module}", numbers_of(placement), points],
    )
    np.testing.assert_allclose(got, placement.to_head(points), atol=1e-9)
