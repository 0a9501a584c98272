"""Size and pose in a JSON file, written by a report and read back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fitkit.assess import Assessment
from fitkit.errors import BriefError, FitkitError
from fitkit.fit.placement import Placement
from fitkit.text_files import check_version, parse_json, read_text

#: Version written and read here.
PLACEMENT_VERSION = 1
#: Largest file read. [bytes]
LARGEST_PLACEMENT = 100_000
_AXES, _TURNS = ("right", "front", "up"), ("pitch", "yaw", "roll")


def placement_json(assessment: Assessment) -> str:
    """
    Write where the piece sits, at what size, and what it must be built with.

    A point of the piece as drawn goes to the head frame by ``matrix_piece_to_head``
    (column vectors, mm): sized, then rolled, pitched and yawed, then shifted.
    """
    at, piece = assessment.placement, assessment.piece
    turns = (at.pitch_deg, at.yaw_deg, at.roll_deg)
    content = {
        "fitkit_placement": PLACEMENT_VERSION,
        "piece": piece.name,
        "wearer": assessment.wearer.record.name,
        "verdict": assessment.verdict,
        "size": dict(zip(_AXES, at.size.tolist(), strict=True)),
        "shift_mm": dict(zip(_AXES, at.shift_mm.tolist(), strict=True)),
        "turn_deg": dict(zip(_TURNS, turns, strict=True)),
        "matrix_piece_to_head": at.matrix.tolist(),
        "master_scale": piece.build_up.master_scale,
        "lining_mm": piece.lining_mm,
        "growth_mm": piece.growth_mm,
    }
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def read_placement(path: Path | str) -> Placement:
    """
    Read a placement that a report wrote.

    Raises
    ------
    BriefError
        If the file cannot be read or says what cannot be; names the file.
    """
    path = Path(path)
    try:
        text = read_text(path, most_bytes=LARGEST_PLACEMENT, raises=BriefError)
        content = parse_json(text, raises=BriefError)
        check_version(
            content,
            "fitkit_placement",
            newest=PLACEMENT_VERSION,
            what="placement",
            raises=BriefError,
        )
        size, shift = (_triple(content, name, _AXES) for name in ("size", "shift_mm"))
        pitch, yaw, roll = _triple(content, "turn_deg", _TURNS)
        return Placement(
            size=size, shift_mm=shift, pitch_deg=pitch, yaw_deg=yaw, roll_deg=roll
        )
    except FitkitError as problem:
        msg = f"{path.name}: {problem}"
        raise BriefError(msg) from None


def _triple(
    content: Mapping[str, Any], name: str, parts: tuple[str, ...]
) -> tuple[float, ...]:
    given = content.get(name)
    found = [given.get(part) for part in parts] if isinstance(given, dict) else []
    numbers = [
        float(one)
        for one in found
        if isinstance(one, (int, float)) and not isinstance(one, bool)
    ]
    if len(numbers) < len(parts):
        msg = (
            f"{name} must give a number for each of {', '.join(parts)}; got {given!r:.80}."
        )
        raise BriefError(msg)
    return tuple(numbers)
