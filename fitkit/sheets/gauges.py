"""Section gauges as cards to cut: one set fits the head, the other the inside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from fitkit.geometry.mesh import FloatArray
from fitkit.geometry.shapes import (
    Shape,
    area_mm2,
    bodies,
    box,
    common,
    grown,
    lies_in,
    shape,
    without,
)
from fitkit.views.gauges import Gauge, GaugePlace
from fitkit.views.templates import Line, Template, Words, closed_lines
from fitkit.views.words import figure

#: Width of a card around the head. [mm]
CARD_MM = 20.0
#: Height of figures and names on a card. [mm]
FIGURE_MM = 2.0
#: From the head to the figure of a place where the gap is too small to hold it. [mm]
BEYOND_MM = 16.0
#: Gaps from this hold their figure. [mm]
HOLDS_MM = 12.5
#: From the head's line to the middle of the name of an end. [mm]
END_MM = 14.0
#: Height up to which the names of the ends stand. [mm]
FEET_MM = 9.0
#: Radius of a head where words run along it, about. [mm]
ROUND_MM = 85.0
#: From the head inward to the figure, on a card for the inside. [mm]
WITHIN_MM = 5.0
#: Share of open rays from which a card says so.
SAID_OPEN = 0.02
#: A card for the inside goes no farther than this from the head. [mm]
FARTHEST_MM = 38.0

HEAD_KIND, INSIDE_KIND = "gauges for the head", "gauges for the inside"


def gauge_templates(gauges: Sequence[Gauge]) -> tuple[Template, ...]:
    """Give two cards for each gauge: all for the head first, then all for the inside."""
    return (
        *(_head_card(gauge) for gauge in gauges),
        *(_inside_card(gauge) for gauge in gauges),
    )


def _head_card(gauge: Gauge) -> Template:
    half = box(low=(-500.0, 0.0), high=(500.0, 500.0))
    ring = bodies(without(common(grown(gauge.head, by_mm=CARD_MM), half), gauge.head))[0]
    wall = tuple(
        Line(job="mark", points_mm=run) for run in _inside_runs(gauge.wall_mm, ring)
    )
    ticks = tuple(_tick(place, CARD_MM) for place in gauge.places)
    station = gauge.station
    return Template(
        name=f"{station.name} (head)",
        kind=HEAD_KIND,
        lines=(*closed_lines("cut", ring), *wall, *ticks),
        words=(*(_beyond(place) for place in gauge.places), *_end_words(gauge)),
        notes=(
            f"Held {station.title}: the inner edge lies on the hair all along where the "
            "record is true; light under it is a head smaller than recorded.",
            "Hairline: the finished inner wall. Figures: predicted gap, mm.",
        ),
    )


def _inside_card(gauge: Gauge) -> Template:
    station = gauge.station
    half = box(low=(-500.0, 0.0), high=(500.0, 500.0))
    near = common(grown(gauge.head, by_mm=FARTHEST_MM), half)
    card = bodies(common(shape([gauge.wall_mm]), near))[0][:1]
    middle = float(gauge.wall_mm[[0, -1], 0].mean())
    top = float(np.interp(middle, gauge.wall_mm[::-1, 0], gauge.wall_mm[::-1, 1]))
    tall = min(top, float(gauge.head[0][:, 1].max()) + FARTHEST_MM)
    fold = Line(job="score", points_mm=np.array([[middle, 0.0], [middle, tall]]))
    head = Line(job="mark", points_mm=gauge.head[0], closed=True)
    notes = [
        f"Goes in {station.title}; fold it to get it through the neck. Its edge lies on "
        "the finished inner wall all along; where it binds, the wall is too thick there.",
        "Hairline: the head over its hair. Figures: predicted gap, mm.",
    ]
    if area_mm2(card) < area_mm2(shape([gauge.wall_mm])) - 1.0:
        notes.append(f"It is cut short where the wall is over {FARTHEST_MM:g} mm off.")
    if gauge.open_share > SAID_OPEN:
        notes.append("It runs straight over openings and deep hollows.")
    return Template(
        name=f"{station.name} (inside)",
        kind=INSIDE_KIND,
        lines=(
            *closed_lines("cut", card),
            fold,
            head,
            *(_tick(place) for place in gauge.places),
        ),
        words=(
            *(_within(place, middle) for place in gauge.places),
            *_title_words(gauge, top),
        ),
        notes=tuple(notes),
    )


def _inside_runs(line: FloatArray, ring: Shape) -> Iterator[FloatArray]:
    """Cut a line into what of it lies on a card."""
    inside = lies_in(line, ring)
    cuts = [0, *(np.nonzero(np.diff(inside))[0] + 1).tolist(), len(line)]
    for start, stop in pairwise(cuts):
        if inside[start] and stop - start > 1:
            yield line[start:stop]


def _tick(place: GaugePlace, most_mm: float = np.inf) -> Line:
    """Line from the head to the wall, no longer than its card is wide."""
    way = place.wall_mm - place.head_mm
    share = min(1.0, most_mm / max(float(np.linalg.norm(way)), 1e-9))
    ends = np.stack([place.head_mm, place.head_mm + share * way])
    return Line(job="mark", points_mm=ends)


def _out(place: GaugePlace) -> FloatArray:
    """Unit way off the head, shape (2,)."""
    way = place.wall_mm - place.head_mm
    way = way if place.ease_mm >= 0 else -way
    unit: FloatArray = way / max(float(np.linalg.norm(way)), 1e-9)
    return unit


def _said(place: GaugePlace) -> str:
    return f"{place.name} {figure(place.ease_mm)}"


def _along(place: GaugePlace) -> tuple[FloatArray, float]:
    """Way along the head at a place that reads from left to right, and its turn."""
    out = _out(place)
    along = np.array([out[1], -out[0]])
    along = along if along[0] > 1e-9 or (abs(along[0]) <= 1e-9 and along[1] > 0) else -along
    return along, float(np.degrees(np.arctan2(along[1], along[0])))


def _beyond(place: GaugePlace) -> Words:
    """The figure on a card for the head: past the wall's line, or beside the tick."""
    along, turn = _along(place)
    gap = float(np.linalg.norm(place.wall_mm - place.head_mm))
    at = place.head_mm + BEYOND_MM * _out(place)
    if gap >= HOLDS_MM:
        half = 0.5 * FIGURE_MM * len(_said(place)) + 1.5
        aside = half * along if along[1] >= 0 else -half * along  # away from the feet
        sag = half**2 / (2 * ROUND_MM)  # the head curves away under the words
        at = place.head_mm + (min(gap, CARD_MM) / 2 - sag) * _out(place) + aside
    else:
        at = _above_feet(at, along, 0.5 * FIGURE_MM * len(_said(place)) + 1.5)
    return Words(text=_said(place), at_mm=at, height_mm=FIGURE_MM, turn_deg=turn)


def _above_feet(at: FloatArray, along: FloatArray, half: float) -> FloatArray:
    """Move words along their line until they stand clear of the names of the ends."""
    low = float(at[1]) - half * abs(float(along[1]))
    if low >= FEET_MM or abs(along[1]) < 0.3:
        return at
    moved: FloatArray = at + (FEET_MM - low) / along[1] * along
    return moved


def _within(place: GaugePlace, fold_mm: float) -> Words:
    """The figure on a card for the inside: within the head's line, clear of the fold."""
    along, turn = _along(place)
    half = 0.5 * FIGURE_MM * len(_said(place)) + 2.0
    at = place.head_mm - WITHIN_MM * _out(place)
    off = abs(float(at[0]) - fold_mm)
    if off < half * abs(along[0]):
        at = at + np.sign(at[0] - fold_mm + 1e-9) * (half - off) * along
    at = _above_feet(at, along, half)
    far = float(np.linalg.norm(at - place.head_mm)) + half
    sag = max(0.0, far**2 / (2 * ROUND_MM) - WITHIN_MM + FIGURE_MM)
    at = at - sag * _out(place)
    return Words(text=_said(place), at_mm=at, height_mm=FIGURE_MM, turn_deg=turn)


def _feet(gauge: Gauge) -> tuple[float, float]:
    """Where the head leaves the base line, left and right. [mm]."""
    outline = gauge.head[0]
    feet = outline[outline[:, 1] < 1e-6, 0]
    return float(feet.min()), float(feet.max())


def _end_words(gauge: Gauge) -> Iterator[Words]:
    """Name each foot of a card for the head."""
    (left, right), half = _feet(gauge), CARD_MM / 2
    for at, name in zip((left - half, right + half), gauge.station.ends, strict=True):
        yield Words(text=name, at_mm=np.array([at, 5.0]), height_mm=FIGURE_MM)


def _title_words(gauge: Gauge, top: float) -> Iterator[Words]:
    """Name a card for the inside, and its two ends, within the head's line."""
    left, right = _feet(gauge)
    middle, width = (left + right) / 2, right - left
    name = f"{gauge.station.name} (inside)"
    yield Words(text=name, at_mm=np.array([middle - 0.2 * width, 0.35 * top]))
    for at, end in zip((left + END_MM, right - END_MM), gauge.station.ends, strict=True):
        yield Words(text=end, at_mm=np.array([at, 5.0]), height_mm=FIGURE_MM)
