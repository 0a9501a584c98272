"""A state as the browser wants it: plain names, numbers and words, nothing to compute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from fitkit.assess import Assessment
from fitkit.fit.ease import ZoneEase
from fitkit.fit.placement import Placement
from fitkit.fit.size import SizeAnswer
from fitkit.fit.verdict import Verdict
from fitkit.panels.answer import line_words, zone_title
from fitkit.panels.asking import ASK_BOXES, asked_values
from fitkit.panels.boxes import BOXES, Box, Typed, box_value, numbers_of
from fitkit.panels.state import SessionState, Solving
from fitkit.wearer.zones import ZONES

#: Titles of the two verdicts.
VERDICTS = {"fits": "It fits", "does not fit": "It does not fit"}


def box_messages() -> list[dict[str, Any]]:
    """Give what the browser needs to draw every number box and its slider."""
    return [asdict(box) for box in (*BOXES.values(), *ASK_BOXES.values())]


def state_message(state: SessionState) -> dict[str, Any]:
    """
    Give one whole state as a message for the browser.

    Returns
    -------
    dict
        JSON values only, but for ``ease``: float32 ease at each head vertex, nan on the
        neck, as bytes; empty where there is no answer. [mm]
    """
    inputs, answer = state.inputs, state.answer
    usual = asked_values(state.brief)
    asked = {**usual, **inputs.asked}
    return {
        "revision": state.revision,
        "title": _title(state),
        "typed": {
            name: _shown(name, typed, boxes)
            for boxes, given in ((BOXES, inputs.numbers), (ASK_BOXES, asked))
            for name, typed in given.items()
        },
        "values": {**usual, **state.values},
        "placed": state.placement is not None and not state.problems,
        "problems": dict(state.problems),
        "missing": _missing(state),
        "verdict": VERDICTS[answer.verdict] if answer else "",
        "fits": answer is not None and answer.verdict == "fits",
        "reasons": list(answer.reasons) if answer else [],
        "zones": _zone_rows(answer) if answer else [],
        "asked": [float(state.brief.ease[zone].least_mm) for zone in ZONES],
        "checks": _check_rows(answer) if answer else [],
        "ease": answer.ease.ease_mm.astype(np.float32).tobytes() if answer else b"",
        "tightest": _tightest(answer) if answer else None,
        "closer": _closer(state.closer) if state.closer else None,
        "solving": _solving(state.solving),
        "can_solve": state.ready,
        "can_undo": bool(state.past),
        "can_redo": bool(state.future),
        "message": state.message,
    }


def _title(state: SessionState) -> str:
    wearer = state.inputs.typed.name or "wearer"
    piece = state.piece.name if state.piece else "no piece yet"
    return f"{wearer}, {piece}"


def _shown(name: str, typed: Typed, boxes: Mapping[str, Box]) -> str:
    """Give what a box shows: a number rounded for reading, or the text as typed."""
    value, _ = box_value(name, typed, boxes)
    if value is None:
        return str(typed)
    decimals = boxes[name].decimals
    return f"{round(value, decimals) + 0.0:.{decimals}f}"  # never a zero with a minus


def _missing(state: SessionState) -> str:
    """Say what is still needed before there can be an answer; empty if nothing is."""
    if state.problems:
        return ""
    if state.piece is None:
        return "Choose a piece to see how it fits."
    return ""


def _zone_rows(answer: Verdict) -> list[dict[str, Any]]:
    rows = [_zone_row(zone) for zone in answer.ease.by_zone.values()]
    return sorted(rows, key=lambda row: row["spare_mm"])


def _zone_row(zone: ZoneEase) -> dict[str, Any]:
    return {
        "zone": zone.zone,
        "title": zone_title(zone.zone),
        "least_mm": zone.least_mm,
        "asked_mm": zone.wanted_mm,
        "spare_mm": zone.spare_mm,
        "median_mm": zone.median_mm,
        "most_mm": zone.most_mm,
        "loose_mm": zone.loose_mm,
    }


def _tightest(answer: Verdict) -> dict[str, Any]:
    zone = answer.ease.tightest
    return {"title": zone_title(zone.zone), "mm": zone.least_mm, "at": zone.at.tolist()}


def _check_rows(answer: Verdict) -> list[dict[str, str]]:
    """Give the first checks of sight and jaw, in words."""
    rows = []
    for side, eye in answer.sight.items():
        title = f"{side.capitalize()} eye"
        if eye.opening is None:
            rows.append({"title": title, "text": "the piece has no opening for it"})
        else:
            words = line_words(eye.margin_mm)
            rows.append({"title": title, "text": f"{words} ({eye.opening})"})
    jaw = answer.jaw
    hinge = "the piece has none"
    if jaw.has_hinge:
        hinge = (
            f"{jaw.distance_mm:.1f} mm from the chin pole "
            f"({jaw.offset_front_mm:+.1f} front, {jaw.offset_up_mm:+.1f} up)"
        )
    rows.append({"title": "Hinge", "text": hinge})
    return rows


def _closer(closer: Assessment) -> dict[str, Any]:
    sure = closer.uncertainty
    interval = sure.interval
    return {
        "sure": (
            f"{zone_title(sure.zone)}: {sure.ease_mm:.1f} mm at its tightest, 90 % between "
            f"{interval.low_mm:.1f} and {interval.high_mm:.1f} mm."
        ),
        "narrow": sure.narrowings[0].words if sure.narrowings else "",
        "changes": list(closer.changes),
        "cautions": list(closer.cautions),
    }


def answer_words(state: SessionState) -> str:
    """
    Say in a few lines how a session stands: verdict, size and place, what is tightest.

    Parameters
    ----------
    state : SessionState

    Returns
    -------
    str
        What is wrong or missing where there is no answer.
    """
    if state.answer is None or state.placement is None:
        lines = ["No answer yet.", *state.problems.values(), _missing(state)]
        return "\n".join(filter(None, lines))
    tight = state.answer.ease.tightest
    lines = [
        f"{VERDICTS[state.answer.verdict]}: {_title(state)}.",
        *state.answer.reasons,
        place_words(state.placement),
        f"Tightest for what was asked: {zone_title(tight.zone).lower()}, "
        f"{tight.least_mm:.1f} mm where {tight.wanted_mm:g} mm was asked.",
    ]
    if state.closer is not None:
        lines.append(f"How sure: {_closer(state.closer)['sure']}")
        lines += state.closer.changes
    return "\n".join(lines)


def place_words(placement: Placement) -> str:
    """Say a size and a place in one line."""
    right, front, up = placement.shift_mm
    return (
        f"Size {100 * placement.mean_size:.1f} %, front {front:+.1f} mm, up {up:+.1f} mm, "
        f"right {right:+.1f} mm, pitch {placement.pitch_deg:+.1f} deg."
    )


def _solving(solving: Solving) -> dict[str, Any]:
    return {
        "stage": solving.stage,
        "words": _solving_words(solving),
        "offer": offer_words(solving.offer) if solving.offer else [],
        "values": numbers_of(solving.offer.placement) if solving.offer else None,
    }


def _solving_words(solving: Solving) -> str:
    spent = f"{solving.elapsed_s:.1f} s, {solving.queries} looks at the wall"
    return {
        "idle": "",
        "running": f"Looking for size and place ({spent}).",
        "stopped": f"Stopped after {spent}. Nothing was changed.",
        "failed": f"No answer. {solving.problem}",
        "offer": f"The solver has an answer ({spent}).",
    }[solving.stage]


def offer_words(offer: SizeAnswer) -> list[str]:
    """Say what the solver offers, in a few lines."""
    lines = [
        place_words(offer.placement),
        "Every demand is met." if offer.feasible else "Not every demand can be met:",
    ]
    lines += [f"{one.demand}: {one.short_mm:.1f} mm short" for one in offer.shortfalls]
    if offer.ways_out:
        lines.append(f"Cheapest way out: {offer.ways_out[0].words}")
    return lines
