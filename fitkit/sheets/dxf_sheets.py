"""Templates as DXF: one file each, 1:1 in millimetres, a layer for each job."""

from __future__ import annotations

import io

import numpy as np
from ezdxf import units
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from fitkit.errors import SheetError
from fitkit.views.templates import JOBS, Job, Template, Words

#: Colour number of each layer, from the format's first seven, and its width in 0.01 mm.
LAYERS: dict[Job, tuple[int, int]] = {
    "cut": (7, 35),
    "score": (5, 25),
    "drill": (6, 25),
    "mark": (3, 13),
}


def template_dxf(template: Template) -> str:
    """
    Write a template as DXF of the year 2000, which old machines read too.

    Returns
    -------
    str
        Unit mm, also said in its header. Layers "cut", "score", "drill" and "mark".

    Raises
    ------
    SheetError
        If the drawing does not pass the format's own check.
    """
    drawing = new("R2000", setup=False)
    drawing.units = units.MM
    drawing.header["$MEASUREMENT"] = 1
    for job in JOBS:
        colour, width = LAYERS[job]
        drawing.layers.add(job, color=colour, lineweight=width)
    space = drawing.modelspace()
    for line in template.lines:
        space.add_lwpolyline(
            line.points_mm.tolist(), close=line.closed, dxfattribs={"layer": line.job}
        )
    for hole in template.holes:
        space.add_circle(
            tuple(hole.centre_mm.tolist()),
            hole.diameter_mm / 2,
            dxfattribs={"layer": hole.job},
        )
    _add_arrow(space, template)
    for words in template.words:
        _add_words(space, words)
    faults = drawing.audit().errors
    if faults:
        msg = f"{template.name}: its DXF has a fault: {faults[0].message}"
        raise SheetError(msg)
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue()


def _add_arrow(space: Modelspace, template: Template) -> None:
    arrow = template.arrow
    if arrow is None:
        return
    tail, tip = arrow.ends_mm
    way = (tip - tail) / np.linalg.norm(tip - tail)
    side = np.array([-way[1], way[0]])
    barbs = np.stack([tip - 3.0 * way + side, tip, tip - 3.0 * way - side])
    for points in (arrow.ends_mm, barbs):
        space.add_lwpolyline(points.tolist(), dxfattribs={"layer": "mark"})
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    at = (tail + tip) / 2 + 2.4 * side
    _add_words(space, Words(text=arrow.words, at_mm=at, height_mm=1.9, turn_deg=turn))


def _add_words(space: Modelspace, words: Words) -> None:
    text = space.add_text(
        words.text,
        height=words.height_mm,
        rotation=words.turn_deg,
        dxfattribs={"layer": "mark"},
    )
    at = tuple(words.at_mm.tolist())
    text.set_placement(at, align=TextEntityAlignment.MIDDLE_CENTER)
