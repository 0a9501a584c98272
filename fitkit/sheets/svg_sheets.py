"""Templates as SVG: one file each, 1:1 in millimetres, a group for each job."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

import numpy as np

from fitkit.geometry.mesh import FloatArray
from fitkit.views.templates import JOBS, Hole, Job, Line, Template, Words

#: Room around the drawing. [mm]
ROOM_MM = 5.0
#: Stroke of each job: width in mm and dashes; the group's name is what a machine obeys.
STROKES: dict[Job, str] = {
    "cut": 'stroke-width="0.35"',
    "score": 'stroke-width="0.28" stroke-dasharray="2.5 0.8 0.4 0.8"',
    "drill": 'stroke-width="0.2"',
    "mark": 'stroke-width="0.1"',
}
#: Half of the cross in a hole. [mm]
CROSS_MM = 2.0


def template_svg(template: Template) -> str:
    """
    Write a template as SVG.

    Returns
    -------
    str
        Width and height are in mm and one user unit is 1 mm. What is to be cut, scored,
        drilled and marked stands in groups of these names; up is up.
    """
    low, high = template.bounds_mm + np.array([[-ROOM_MM], [ROOM_MM]])
    wide, tall = high - low
    corner = np.array([low[0], high[1]])
    groups = "\n".join(
        f'<g id="{job}" fill="none" stroke="black" {STROKES[job]}>\n{drawn}\n</g>'
        for job in JOBS
        if (drawn := "\n".join(_drawn(template, job, corner)))
    )
    said = " ".join(template.notes)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.4f}mm" '
        f'height="{tall:.4f}mm" viewBox="0 0 {wide:.4f} {tall:.4f}">\n'
        f"<title>{escape(template.name)}</title>\n<desc>{escape(said)}</desc>\n"
        f"{groups}\n</svg>\n"
    )


def _drawn(template: Template, job: Job, corner: FloatArray) -> Iterator[str]:
    for line in template.lines:
        if line.job == job:
            yield _line(line, corner)
    for hole in template.holes:
        if hole.job == job:
            yield _circle(hole, corner)
    if job != "mark":
        return
    for hole in template.holes:
        yield from _cross(hole, corner)
    if template.arrow is not None:
        yield from _arrow(template, corner)
    for words in template.words:
        yield _text(words, corner)


def _at(points: FloatArray, corner: FloatArray) -> FloatArray:
    """Across from the left edge and down from the top."""
    down: FloatArray = (points - corner) * [1.0, -1.0]
    return down


def _line(line: Line, corner: FloatArray) -> str:
    points = " L ".join(f"{x:.4f} {y:.4f}" for x, y in _at(line.points_mm, corner))
    return f'<path d="M {points}{" Z" if line.closed else ""}"/>'


def _circle(hole: Hole, corner: FloatArray) -> str:
    x, y = _at(hole.centre_mm, corner)
    return f'<circle cx="{x:.4f}" cy="{y:.4f}" r="{hole.diameter_mm / 2:.4f}"/>'


def _cross(hole: Hole, corner: FloatArray) -> Iterator[str]:
    reach = CROSS_MM + hole.diameter_mm / 2
    for way in (np.array([reach, 0.0]), np.array([0.0, reach])):
        ends = np.stack([hole.centre_mm - way, hole.centre_mm + way])
        yield _line(Line(job="mark", points_mm=ends), corner)


def _arrow(template: Template, corner: FloatArray) -> Iterator[str]:
    arrow = template.arrow
    if arrow is None:
        return
    tail, tip = arrow.ends_mm
    way = (tip - tail) / np.linalg.norm(tip - tail)
    side = np.array([-way[1], way[0]])
    barbs = np.stack([tip - 3.0 * way + side, tip, tip - 3.0 * way - side])
    yield _line(Line(job="mark", points_mm=arrow.ends_mm), corner)
    yield _line(Line(job="mark", points_mm=barbs), corner)
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    middle = (tail + tip) / 2 + 2.4 * side
    words = Words(text=arrow.words, at_mm=middle, height_mm=1.9, turn_deg=turn)
    yield _text(words, corner)


def _text(words: Words, corner: FloatArray) -> str:
    x, y = _at(words.at_mm, corner)
    size = words.height_mm / 0.72
    turn = f' transform="rotate({-words.turn_deg:.3f} {x:.4f} {y:.4f})"'
    return (
        f'<text x="{x:.4f}" y="{y:.4f}" font-family="sans-serif" font-size="{size:.3f}" '
        f'text-anchor="middle" dominant-baseline="central" fill="black" stroke="none"'
        f"{turn if words.turn_deg else ''}>{escape(words.text)}</text>"
    )
