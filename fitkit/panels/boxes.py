"""The number boxes of a session: what each one is, its range, and what was typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from fitkit.fit.placement import SHIFT_LIMIT_MM, Placement
from fitkit.wearer.number import number_problem

Group = Literal["place", "more", "cut", "jaw", "ask"]
#: What may stand in a box: a number from a slider, or text as typed.
Typed = float | str


@dataclass(frozen=True, kw_only=True)
class Box:
    """One number box, with the slider beside it."""

    name: str
    #: Name for people.
    title: str
    unit: Literal["%", "mm", "deg"]
    #: Where it stands until someone moves it. [unit]
    start: float
    #: Range that is accepted. [unit]
    low: float
    high: float
    #: Range that the slider covers, and its step. [unit]
    slider_low: float
    slider_high: float
    step: float
    #: Decimals shown.
    decimals: int
    group: Group
    #: Which way is positive, in words; empty where that is plain.
    sense: str = ""


def _shift(name: str, title: str, sense: str, group: Group) -> Box:
    limit = SHIFT_LIMIT_MM
    return Box(name=name, title=title, unit="mm", start=0.0, low=-limit, high=limit,
               slider_low=-50.0, slider_high=50.0, step=0.5, decimals=1, group=group,
               sense=sense)  # fmt: skip


def _turn(name: str, title: str, sense: str, group: Group) -> Box:
    return Box(name=name, title=title, unit="deg", start=0.0, low=-90.0, high=90.0,
               slider_low=-25.0, slider_high=25.0, step=0.25, decimals=2, group=group,
               sense=sense)  # fmt: skip


def _share(name: str, title: str, sense: str) -> Box:
    return Box(name=name, title=title, unit="%", start=100.0, low=75.0, high=133.0,
               slider_low=85.0, slider_high=115.0, step=0.1, decimals=1, group="more",
               sense=sense)  # fmt: skip


def _cut(name: str, title: str, sense: str) -> Box:
    return Box(name=name, title=title, unit="mm", start=0.0, low=-500.0, high=500.0,
               slider_low=-160.0, slider_high=160.0, step=0.5, decimals=1, group="cut",
               sense=sense)  # fmt: skip


#: Every number box of a session, in the order shown.
BOXES: Mapping[str, Box] = MappingProxyType(
    {
        box.name: box
        for box in (
            Box(name="size_percent", title="Size", unit="%", start=100.0, low=50.0,
                high=200.0, slider_low=80.0, slider_high=125.0, step=0.1, decimals=1,
                group="place", sense="of the drawn size"),
            _shift("front_mm", "Front", "+ forward", "place"),
            _shift("up_mm", "Up", "+ up", "place"),
            _turn("pitch_deg", "Pitch", "+ chin down", "place"),
            _shift("right_mm", "Right", "+ to the wearer's right", "more"),
            _turn("yaw_deg", "Yaw", "+ to the wearer's left", "more"),
            _turn("roll_deg", "Roll", "+ tilted to the wearer's right", "more"),
            _share("across_percent", "Width alone", "right to left, of the size"),
            _share("depth_percent", "Depth alone", "front to back, of the size"),
            _share("height_percent", "Height alone", "of the size"),
            _cut("side_cut_mm", "Side cut", "+ towards the wearer's right"),
            _cut("front_cut_mm", "Front cut", "+ forward"),
            _cut("top_cut_mm", "Top cut", "+ up"),
            Box(name="jaw_open_deg", title="Jaw open", unit="deg", start=0.0, low=-5.0,
                high=90.0, slider_low=0.0, slider_high=40.0, step=0.5, decimals=1,
                group="jaw", sense="for the pictures"),
        )
    }
)  # fmt: skip

#: Boxes that say where the piece is and at what size: those that change the answer.
PLACING: tuple[str, ...] = tuple(
    name for name, box in BOXES.items() if box.group in ("place", "more")
)


def starting_numbers() -> dict[str, Typed]:
    """Give every box where it starts: as drawn, cut through the middle of the head."""
    return {name: box.start for name, box in BOXES.items()}


def box_value(
    name: str, typed: Typed, boxes: Mapping[str, Box] = BOXES
) -> tuple[float | None, str]:
    """
    Find what one box means.

    Parameters
    ----------
    name : str
        Out of ``boxes``.
    typed : float or str
        A number, or text; a decimal comma and the box's own unit are understood.
    boxes : mapping of str to Box
        Those of the session, unless others are meant.

    Returns
    -------
    value : float or None
        None if it cannot be used.
    problem : str
        What is wrong and how to mend it; empty if nothing is.

    Examples
    --------
    >>> box_value("front_mm", "-3,5 mm")
    (-3.5, '')
    >>> box_value("size_percent", 1.05)[1]
    'Size must be 50 to 200 %; got 1.05. That reads like a factor: did you mean 105 %?'
    """
    box = boxes[name]
    value = _number(typed, box.unit)
    problem = number_problem(box.title, value, low=box.low, high=box.high, unit=box.unit)
    if problem is None:
        return float(value), ""
    return None, _cured(problem[0], value, box)


def _number(typed: Typed, unit: str) -> Typed:
    if not isinstance(typed, str):
        return typed
    text = typed.strip().lower().removesuffix("°").removesuffix(unit).strip()
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return typed.strip()[:60]


def _cured(message: str, value: Typed, box: Box) -> str:
    """Replace the cure meant for readings by one that suits a box."""
    wrong = message.split(". ")[0] + "."
    factor = isinstance(value, float) and box.unit == "%" and 0.5 <= value <= 2.0
    if factor:
        meant = 100.0 * float(value)
        return f"{wrong} That reads like a factor: did you mean {meant:g} %?"
    return f"{wrong} Write a number of {box.low:g} to {box.high:g} {box.unit}."


def placement_of(values: Mapping[str, float]) -> Placement:
    """
    Make the placement that the boxes describe.

    Parameters
    ----------
    values : mapping of str to float
        At least the boxes in ``PLACING``.
    """
    shares = ("across_percent", "depth_percent", "height_percent")
    size = [values["size_percent"] / 100.0 * values[name] / 100.0 for name in shares]
    return Placement(
        size=size,
        shift_mm=[values["right_mm"], values["front_mm"], values["up_mm"]],
        pitch_deg=values["pitch_deg"],
        yaw_deg=values["yaw_deg"],
        roll_deg=values["roll_deg"],
    )


def numbers_of(placement: Placement) -> dict[str, float]:
    """
    Fill the placing boxes from a placement.

    Examples
    --------
    >>> numbers_of(Placement(size=1.25, pitch_deg=3.0))["size_percent"]
    125.0
    """
    mean = float(placement.size[0]) if placement.is_uniform else placement.mean_size
    across, depth, height = (100.0 * float(size) / mean for size in placement.size)
    right, front, up = (float(shift) for shift in placement.shift_mm)
    return {
        "size_percent": 100.0 * mean,
        "right_mm": right,
        "front_mm": front,
        "up_mm": up,
        "pitch_deg": placement.pitch_deg,
        "yaw_deg": placement.yaw_deg,
        "roll_deg": placement.roll_deg,
        "across_percent": across,
        "depth_percent": depth,
        "height_percent": height,
    }
