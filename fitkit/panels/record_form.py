"""The record form: which boxes there are, how each reading is taken, what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fitkit.panels.answer import zone_title
from fitkit.panels.pictures import LOOKS, head_box, head_lines, measure_picture
from fitkit.panels.state import SessionState
from fitkit.panels.typed import (
    GLASSES_BOXES,
    HAIR_BOXES,
    box_text,
    split_repeats,
)
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import (
    AGE_RANGE,
    GLASSES_RANGE_MM,
    HAIR_RANGE_MM,
    TAPE_HAIR_RANGE_MM,
)
from fitkit.wearer.slips import Slip

#: Readings to start with; the others are folded away until asked for.
FIRST = (
    "head_circumference_mm",
    "head_length_mm",
    "head_breadth_mm",
    "menton_sellion_mm",
    "interpupillary_mm",
)
_HAIR = (
    "Press the hair flat as a shell would, push a thin rule through it to the skin, and "
    "read the thickness. Bare skin is 0."
)
_GLASSES = {
    "width_mm": ("Width", "Over the hinges, the widest part of the frame."),
    "depth_mm": ("Depth", "From the front of the eye to the front of the lens."),
    "height_mm": ("Height", "Of one lens with its rim."),
}


def form_fields() -> dict[str, Any]:
    """
    Give the boxes of the form, in groups, and the pictures that go with them.

    Returns
    -------
    dict
        ``groups``: title, whether it stands open, and boxes; ``heads``: line art of the
        head by look, as SVG path data, with its box; both in mm.
    """
    rest = [key for key in CATALOGUE if key not in FIRST]
    groups = [
        {"title": "Wearer", "open": True, "boxes": list(_plain_boxes())},
        {
            "title": "Readings to start with",
            "open": True,
            "boxes": [_measure_box(key) for key in FIRST],
        },
        {
            "title": "Further readings: each narrows the answer",
            "open": False,
            "boxes": [_measure_box(key) for key in rest],
        },
        {"title": "Hair under the shell", "open": False, "boxes": list(_hair_boxes())},
        {"title": "Glasses worn", "open": False, "boxes": list(_glasses_boxes())},
    ]
    heads = {name: {"path": head_lines(name), "box": head_box(name)} for name in LOOKS}
    return {"groups": groups, "heads": heads}


def form_message(state: SessionState) -> dict[str, Any]:
    """
    Give what stands in the boxes and what is wrong or doubtful there.

    Returns
    -------
    dict
        JSON values only: ``boxes`` by name with ``text``, ``note`` and ``slips``.
    """
    slips: dict[str, list[Slip]] = {}
    for slip in state.checked.slips:
        slips.setdefault(slip.key, []).append(slip)
    typed = state.inputs.typed
    boxes = {
        name: {
            "text": box_text(typed, name),
            "note": _note(state, name),
            "slips": [_slip(state, name, slip) for slip in slips.get(name, [])],
        }
        for name in _box_names()
    }
    general = [s for key, found in slips.items() if key not in boxes for s in found]
    return {
        "revision": state.revision,
        "boxes": boxes,
        "general": [_titled(slip.message) for slip in general] + _contradiction(state),
        "usable": state.wearer is not None,
        "summary": _summary(state),
        "message": state.message,
        "file": file_name(typed.name),
    }


def file_name(name: str) -> str:
    """
    Offer a file name for a wearer's record.

    Examples
    --------
    >>> file_name("Tamsin of the Quay")
    'tamsin-of-the-quay.json'
    """
    plain = "".join(c if c.isalnum() else "-" for c in name.strip().lower()[:60])
    return ("-".join(filter(None, plain.split("-"))) or "wearer") + ".json"


# -- boxes ------------------------------------------------------------------------------


def _box(
    name: str,
    title: str,
    *,
    unit: str = "",
    how: str = "",
    kind: str = "number",
    tool: str = "",
    span: tuple[float, float] | None = None,
) -> dict[str, Any]:
    ends = "" if span is None else f"{span[0]:g} to {span[1]:g} {unit}"
    return {"box": name, "title": title, "unit": unit, "how": how, "kind": kind,
            "tool": tool, "range": ends, "picture": None}  # fmt: skip


def _plain_boxes() -> Iterator[dict[str, Any]]:
    yield _box("name", "Name", kind="text")
    how = "Which survey completes the measures that are missing; leave open to use both."
    yield _box("sex", "Sex", kind="sex", how=how)
    how = "The survey is of adults: say so if the wearer is not one."
    yield _box("age_years", "Age", unit="years", how=how, span=AGE_RANGE)
    yield _box("notes", "Notes", kind="text")


def _measure_box(key: str) -> dict[str, Any]:
    entry = CATALOGUE[key]
    picture = measure_picture(key)
    box = _box(
        key,
        entry.title,
        unit=entry.unit,
        how=f"{entry.how} Repeats are welcome: part them by spaces.",
        tool=f"{entry.tool}; repeats scatter by about {entry.repeat_sd:g} mm",
        span=(entry.low, entry.high),
    )
    if picture is not None:
        box["picture"] = {
            "look": picture.look,
            "seen": picture.seen,
            "hidden": picture.hidden,
            "ends": picture.ends,
        }
    return box


def _hair_boxes() -> Iterator[dict[str, Any]]:
    how = "Hair left under the tape when the circumference was taken, pressed by the tape."
    title = "Under the tape"
    yield _box("tape_hair_mm", title, unit="mm", how=how, span=TAPE_HAIR_RANGE_MM)
    for name, zone in HAIR_BOXES.items():
        yield _box(name, zone_title(zone), unit="mm", how=_HAIR, span=HAIR_RANGE_MM)


def _glasses_boxes() -> Iterator[dict[str, Any]]:
    for name, size in GLASSES_BOXES.items():
        title, how = _GLASSES[size]
        yield _box(name, title, unit="mm", how=how, span=GLASSES_RANGE_MM[size])


def _box_names() -> tuple[str, ...]:
    plain = ("name", "sex", "age_years", "notes", "tape_hair_mm")
    return (*plain, *CATALOGUE, *HAIR_BOXES, *GLASSES_BOXES)


# -- what is said beside them -----------------------------------------------------------


def _note(state: SessionState, name: str) -> str:
    """Say what a reading's repeats come to, or what is likely where there is none."""
    if name in state.checked.means:
        mean, scatter = state.checked.means[name]
        return "" if scatter is None else f"mean {mean:.1f}, scatter {scatter:.1f}"
    wearer = state.wearer
    if wearer is None or name not in wearer.completion.keys:
        return ""
    low, high = wearer.completion.interval_mm(name, level=0.90)
    return f"likely {low:.0f} to {high:.0f}"


def _slip(state: SessionState, name: str, slip: Slip) -> dict[str, Any]:
    """Give a slip, with the text that would mend it where one text does."""
    single = name in CATALOGUE and len(
        split_repeats(name, box_text(state.inputs.typed, name))
    )
    mended = f"{slip.mended_mm:g}" if slip.mended_mm is not None and single == 1 else ""
    return {"severity": slip.severity, "message": _titled(slip.message), "mended": mended}


def _titled(message: str) -> str:
    """Put titles for people in the place of keys."""
    for key, entry in CATALOGUE.items():
        message = message.replace(key, entry.title)
    return message


def _contradiction(state: SessionState) -> list[str]:
    usable = state.checked.record is not None and state.wearer is None
    return [state.problems["record"]] if usable and "record" in state.problems else []


def _summary(state: SessionState) -> str:
    count = len(state.inputs.typed.readings)
    if state.wearer is None:
        return "Not usable yet."
    doubts = len(state.checked.slips)
    said = f"{count} reading{'s' if count != 1 else ''}"
    return f"{said}; {doubts} to look at again." if doubts else f"{said}; nothing doubtful."
