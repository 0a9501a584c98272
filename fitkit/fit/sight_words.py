"""What a report of sight says, in a few lines for a maker."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

from fitkit.fit.eyeline import EyeLine
from fitkit.fit.field import Limits
from fitkit.fit.floor import FloorSight
from fitkit.fit.sight import SIDES
from fitkit.fit.sight_report import SightReport

#: Moves of an opening smaller than this go unsaid. [mm]
UNSAID_MM = 0.5


def sight_words(report: SightReport) -> tuple[str, ...]:
    """Say what the wearer sees, the weightiest first; cautions are apart."""
    return (
        *_field_words(report),
        _floor_words(report),
        *(_line_words(line) for line in report.lines),
        *(f"{each.opening}: {each.words}" for each in report.field.darkness),
        *_glasses_words(report),
    )


def limits_words(limits: Limits) -> str:
    """
    Say four limits in one line.

    Examples
    --------
    >>> limits_words(Limits(up_deg=20, down_deg=31.4, nasal_deg=9, temporal_deg=48))
    'up 20, down 31, nose 9, temple 48'
    """
    named = (
        ("up", limits.up_deg),
        ("down", limits.down_deg),
        ("nose", limits.nasal_deg),
        ("temple", limits.temporal_deg),
    )
    return ", ".join(
        f"{name} none" if isnan(value) else f"{name} {value:.0f}" for name, value in named
    )


def _field_words(report: SightReport) -> Iterator[str]:
    field = report.field
    yield (
        f"{field.either_percent:.0f} % of the view without the piece is left to one eye or "
        f"the other, {field.both_percent:.0f} % of what both eyes see at once to both "
        f"(reference field: {field.reference.name})."
    )
    for side in SIDES:
        worn = field.worn.eye(side).limits["centre"]
        bare = field.bare.eye(side).limits["centre"]
        yield (
            f"The {side} eye, still and straight ahead, sees in degrees: "
            f"{limits_words(worn)}; bare-headed {limits_words(bare)}."
        )


def _floor_words(report: SightReport) -> str:
    said = "; ".join(_bow_words(bow) for bow in report.floor.bows)
    height = report.floor.eye_height_mm / 1000
    return f"Straight ahead, eyes {height:.2f} m up: {said}."


def _bow_words(bow: FloorSight) -> str:
    head = "head level" if bow.bow_deg == 0 else f"bowed {bow.bow_deg:g} degrees"
    return f"{head}, {bow.words()}"


def _line_words(line: EyeLine) -> str:
    where = "Straight ahead"
    if line.up_deg or line.right_deg:
        aside = (
            f"{abs(line.right_deg):g} degrees {'right' if line.right_deg > 0 else 'left'}"
        )
        above = f"{abs(line.up_deg):g} degrees {'up' if line.up_deg > 0 else 'down'}"
        where = f"Looking {above}" + (f" and {aside}" if line.right_deg else "")
    if line.opening is None:
        return f"{where}, the {line.side} eye has no opening before it."
    state = (
        f"passes {line.margin_mm:.1f} mm inside the edge of {line.opening}"
        if line.margin_mm >= 0
        else f"passes {-line.margin_mm:.1f} mm outside {line.opening}"
    )
    return f"{where}, the {line.side} eye's line {state}{_move_words(line)}."


def _move_words(line: EyeLine) -> str:
    moves = [
        f"{abs(amount):.1f} mm {plus if amount > 0 else minus}"
        for amount, plus, minus in (
            (line.correct_right_mm, "right", "left"),
            (line.correct_up_mm, "up", "down"),
        )
        if abs(amount) >= UNSAID_MM
    ]
    if not moves:
        return ""
    return f"; {' and '.join(moves)} would centre the opening on it"


def _glasses_words(report: SightReport) -> Iterator[str]:
    glasses = report.glasses
    if not glasses.worn:
        return
    hidden = max(glasses.hidden_percent.values())
    yield (
        f"Glasses: {glasses.clearance_mm:.1f} mm from the finished wall at the nearest "
        f"({glasses.part}); their rims hide up to {hidden:.0f} % of what an eye sees here."
    )
