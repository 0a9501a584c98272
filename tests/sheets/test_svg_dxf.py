"""Templates read back by programs that did not write them."""

import io

import ezdxf
import numpy as np
import pytest
from svgelements import SVG, Circle, Path

from fitkit.sheets.dxf_sheets import template_dxf
from fitkit.sheets.svg_sheets import ROOM_MM, template_svg
from fitkit.views.templates import Hole, Line, Template, Words, arrow_up, closed_lines

#: User units in a millimetre of a program that shows 96 in an inch: CSS 2.1, section 4.3.2.
PIXELS_MM = 96 / 25.4


def wavy(radius=60.0):
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    reach = radius + 4.0 * np.sin(5 * turn)
    ring = np.column_stack([reach * np.cos(turn), 0.7 * reach * np.sin(turn)])
    return ring + np.array([11.0, -40.0])


@pytest.fixture(scope="module")
def template():
    return Template(
        name="brow <1> & co",
        kind="pads",
        lines=(
            *closed_lines("cut", [wavy(), wavy(20.0)]),
            Line(job="score", points_mm=np.array([[-20.0, -60.0], [40.0, -21.123]])),
            Line(job="mark", points_mm=np.array([[0.0, -50.0], [3.0, -50.0], [5, -44]])),
        ),
        holes=(Hole(centre_mm=np.array([30.0, -40.0]), diameter_mm=6.5),),
        words=(Words(text="brow <1>", at_mm=np.array([11.0, -60.0])),),
        arrow=arrow_up(at_mm=np.array([11.0, -40.0]), length_mm=20.0, words="up"),
        notes=("Cut & file.",),
    )


def jobs_of(template, job):
    return [line.points_mm for line in template.lines if line.job == job]


# -- SVG ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def svg(template):
    return SVG.parse(io.StringIO(template_svg(template)))


def group(svg, job):
    (found,) = [each for each in svg.select() if each.id == job]
    return list(found.select())


def points_of(path, template):
    """Corners of a path in the template's own mm."""
    corner = np.array(
        [template.bounds_mm[0, 0] - ROOM_MM, template.bounds_mm[1, 1] + ROOM_MM]
    )
    ends = [step.end for step in Path(path) if step.end is not None]
    shown = np.array([(end.x, end.y) for end in ends]) / PIXELS_MM
    return corner + shown * [1.0, -1.0]


def test_svg_lines_come_back_in_mm_to_a_hundredth_by_job(svg, template):
    for job in ("cut", "score"):
        paths = [each for each in group(svg, job) if isinstance(each, Path)]
        assert len(paths) == len(jobs_of(template, job))
        for path, expected in zip(paths, jobs_of(template, job), strict=True):
            found = points_of(path, template)[: len(expected)]
            assert np.abs(found - expected).max() < 0.01


def test_svg_says_its_size_in_mm(svg, template):
    wide, tall = template.size_mm + 2 * ROOM_MM
    assert float(svg.width) / PIXELS_MM == pytest.approx(wide, abs=0.01)
    assert float(svg.height) / PIXELS_MM == pytest.approx(tall, abs=0.01)


def test_svg_holes_are_circles_to_a_hundredth(svg, template):
    (circle,) = [each for each in group(svg, "drill") if isinstance(each, Circle)]
    assert 2 * float(circle.rx) * abs(circle.transform.a) / PIXELS_MM == pytest.approx(
        6.5, abs=0.01
    )
    centre = circle.transform.point_in_matrix_space((circle.cx, circle.cy))
    corner = [template.bounds_mm[0, 0] - ROOM_MM, template.bounds_mm[1, 1] + ROOM_MM]
    found = corner + np.array([centre.x, -centre.y]) / PIXELS_MM
    assert found == pytest.approx([30.0, -40.0], abs=0.01)


def test_svg_escapes_what_was_typed(template):
    text = template_svg(template)
    assert "brow &lt;1&gt;" in text
    assert "Cut &amp; file." in text


# -- DXF ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def dxf(template):
    return ezdxf.read(io.StringIO(template_dxf(template)))


def test_dxf_lines_come_back_to_a_hundredth_by_layer(dxf, template):
    for job in ("cut", "score"):
        found = list(dxf.modelspace().query(f'LWPOLYLINE[layer=="{job}"]'))
        assert len(found) == len(jobs_of(template, job))
        for polyline, expected in zip(found, jobs_of(template, job), strict=True):
            points = np.array([(x, y) for x, y, *_ in polyline.get_points()])
            assert np.abs(points - expected).max() < 0.01
            assert polyline.closed == (job == "cut")


def test_dxf_is_in_mm_has_the_four_layers_and_no_fault(dxf):
    assert dxf.units == ezdxf.units.MM
    assert dxf.header["$MEASUREMENT"] == 1
    assert {"cut", "score", "drill", "mark"} <= {layer.dxf.name for layer in dxf.layers}
    assert not dxf.audit().errors


def test_dxf_hole_and_words(dxf):
    (circle,) = dxf.modelspace().query('CIRCLE[layer=="drill"]')
    assert 2 * circle.dxf.radius == pytest.approx(6.5)
    assert (circle.dxf.center.x, circle.dxf.center.y) == pytest.approx((30.0, -40.0))
    said = {text.dxf.text for text in dxf.modelspace().query("TEXT")}
    assert said == {"brow <1>", "up"}


def test_nothing_is_drawn_on_a_layer_that_no_job_has(dxf):
    layers = {each.dxf.layer for each in dxf.modelspace()}
    assert layers == {"cut", "score", "drill", "mark"}
