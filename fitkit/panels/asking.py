"""What is asked of the fit, as number boxes: ease by zone, sight, hinge, size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from fitkit.errors import FitkitError
from fitkit.fit.brief import EASE_RANGE_MM, PAIRS, SIZE_RANGE, Brief
from fitkit.panels.boxes import Box, Typed, box_value
from fitkit.wearer.zones import ZONES

#: Zones as they are asked for: both sides of a pair together.
ASKED_ZONES: tuple[str, ...] = tuple(
    dict.fromkeys(
        zone.split("_")[0] if zone.split("_")[0] in PAIRS else zone for zone in ZONES
    )
)


def _ease_box(zone: str) -> Box:
    low, high = EASE_RANGE_MM
    return Box(name=f"{zone}_least_mm", title=zone.capitalize(), unit="mm", start=0.0,
               low=low, high=high, slider_low=-5.0, slider_high=40.0, step=0.5,
               decimals=1, group="ask")  # fmt: skip


def _size_box(name: str, title: str, sense: str) -> Box:
    low, high = (100.0 * factor for factor in SIZE_RANGE)
    return Box(name=name, title=title, unit="%", start=100.0, low=low, high=high,
               slider_low=70.0, slider_high=140.0, step=0.5, decimals=1, group="ask",
               sense=sense)  # fmt: skip


#: Number boxes of the brief, in the order shown. Where one starts depends on the brief.
ASK_BOXES: Mapping[str, Box] = MappingProxyType(
    {
        box.name: box
        for box in (
            *(_ease_box(zone) for zone in ASKED_ZONES),
            Box(name="eye_margin_mm", title="Eye line", unit="mm", start=1.0, low=0.0,
                high=30.0, slider_low=0.0, slider_high=10.0, step=0.5, decimals=1,
                group="ask", sense="inside the edge of its opening, at least"),
            Box(name="hinge_tolerance_mm", title="Hinge", unit="mm", start=12.0, low=0.0,
                high=100.0, slider_low=0.0, slider_high=40.0, step=0.5, decimals=1,
                group="ask", sense="from the chin pole, at most"),
            _size_box("size_least_percent", "Smallest size", "allowed"),
            _size_box("size_most_percent", "Largest size", "allowed"),
            Box(name="distortion_percent", title="Distortion", unit="%", start=0.0,
                low=0.0, high=25.0, slider_low=0.0, slider_high=15.0, step=0.5,
                decimals=1, group="ask", sense="one axis more than another, at most"),
        )
    }
)  # fmt: skip


def asked_values(brief: Brief) -> dict[str, float]:
    """
    Give what each box of the brief holds.

    A pair of zones shows the greater of its two; a hinge that may lie anywhere shows
    the end of its box.
    """
    values = {}
    for zone in ASKED_ZONES:
        sides = [zone] if zone in ZONES else [f"{zone}_left", f"{zone}_right"]
        values[f"{zone}_least_mm"] = max(float(brief.ease[s].least_mm) for s in sides)
    hinge = brief.hinge_tolerance_mm
    anywhere = ASK_BOXES["hinge_tolerance_mm"].high
    return {
        **values,
        "eye_margin_mm": brief.eye_margin_mm,
        "hinge_tolerance_mm": anywhere if hinge is None else hinge,
        "size_least_percent": 100.0 * brief.size_least,
        "size_most_percent": 100.0 * brief.size_most,
        "distortion_percent": brief.distortion_percent,
    }


def asked_brief(
    usual: Brief, typed: Mapping[str, Typed]
) -> tuple[Brief, Mapping[str, str]]:
    """
    Change a brief by what stands in its boxes.

    Parameters
    ----------
    usual : Brief
        What is asked where nothing is typed.
    typed : mapping of str to float or str
        By the names in ``ASK_BOXES``; only boxes that were changed.

    Returns
    -------
    brief : Brief
        The usual one where there are problems.
    problems : mapping of str to str
        What is wrong, by box.

    Examples
    --------
    >>> asked_brief(Brief(), {"ear_least_mm": "-2"})[0].ease["ear_left"].least_mm
    -2.0
    """
    values, problems = {}, {}
    for name, given in typed.items():
        value, problem = box_value(name, given, ASK_BOXES)
        if value is None:
            problems[name] = problem
        else:
            values[name] = value
    if problems:
        return usual, problems
    try:
        return _changed(usual, values), {}
    except FitkitError as problem:
        return usual, dict.fromkeys(list(values)[-1:], str(problem))


def _changed(usual: Brief, values: Mapping[str, float]) -> Brief:
    ease = dict(usual.ease)
    for zone in ASKED_ZONES:
        name = f"{zone}_least_mm"
        if name not in values:
            continue
        for side in [zone] if zone in ZONES else [f"{zone}_left", f"{zone}_right"]:
            ease[side] = replace(ease[side], least_mm=values[name])
    names = ("eye_margin_mm", "hinge_tolerance_mm", "distortion_percent")
    plain: dict[str, Any] = {name: values[name] for name in names if name in values}
    return replace(
        usual,
        ease=ease,
        size_least=values.get("size_least_percent", 100 * usual.size_least) / 100,
        size_most=values.get("size_most_percent", 100 * usual.size_most) / 100,
        **plain,
    )
