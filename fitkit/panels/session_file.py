"""A session in a JSON file: what was set, and the figures it had, to be checked later."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from fitkit.errors import FitkitError, RecordError
from fitkit.fit.brief import Brief, Ease, Weights
from fitkit.panels.asking import ASK_BOXES
from fitkit.panels.boxes import BOXES, Box, Typed, starting_numbers
from fitkit.panels.openings import CHOICES
from fitkit.panels.pads import pad_choice
from fitkit.panels.state import Inputs, Kept, PadChoice, SessionState
from fitkit.panels.typed import TypedRecord
from fitkit.piece.design import notes_path
from fitkit.text_files import parse_json, read_text, replace_text

#: Version of the session file written and read here.
SESSION_VERSION = 1
#: Largest session file that is read. [bytes]
LARGEST_SESSION = 4_000_000
#: Figures that differ by less than this are the same. [mm]
SAME_MM = 1e-6
_TEXTS = ("name", "sex", "age_years", "tape_hair_mm", "notes")
_BOXED = ("readings", "hair_mm", "glasses")


@dataclass(frozen=True, kw_only=True)
class SavedSession:
    """What a session file holds."""

    inputs: Inputs
    #: Least ease by zone when it was saved; empty if there was no answer. [mm]
    least_mm: Mapping[str, float]
    #: Whether the piece's files are the very ones it was saved with.
    same_piece: bool


def write_session(state: SessionState, path: Path) -> None:
    """
    Save a session; a file already there is replaced whole or not at all.

    Raises
    ------
    RecordError
        If it cannot be written there.
    """
    inputs, answer = state.inputs, state.answer
    zones = answer.ease.by_zone if answer else {}
    content = {
        "fitkit_session": SESSION_VERSION,
        "record": asdict(inputs.typed),
        "piece": {
            "file": Path(inputs.piece_file).name,
            "sha256": _digest(inputs.piece_file),
        },
        "openings": {str(place): said for place, said in inputs.openings.items()},
        "brief": None if inputs.brief is None else _brief_as_json(inputs.brief),
        "asked": dict(inputs.asked),
        "numbers": dict(inputs.numbers),
        "kept": [{"name": k.name, "numbers": dict(k.numbers)} for k in inputs.kept],
        "pads": [asdict(pads) for pads in inputs.pads],
        "figures": {
            "verdict": answer.verdict if answer else None,
            "least_mm": {zone: ease.least_mm for zone, ease in zones.items()},
        },
    }
    try:
        text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as problem:
        msg = f"{path.name} would hold what JSON cannot say: {problem}."
        raise RecordError(msg) from None
    replace_text(path, text + "\n", raises=RecordError)


def read_session(path: Path, *, pieces: Path, piece_file: str = "") -> SavedSession:
    """
    Read a session file.

    Parameters
    ----------
    path : Path
    pieces : Path
        Folder that its piece is looked for in.
    piece_file : str
        Mesh file at hand, which is taken if it has the saved name.

    Raises
    ------
    RecordError, BriefError
        If the file cannot be read or holds what cannot be used; names the file.
    """
    try:
        content = parse_json(
            read_text(path, most_bytes=LARGEST_SESSION, raises=RecordError),
            raises=RecordError,
        )
        _check_version(content)
        piece = _object(content, "piece")
        file = _piece_path(str(piece.get("file", "")), pieces, piece_file)
        same_piece = _digest(file) == piece.get("sha256")
        figures = _object(content, "figures")
        return SavedSession(
            inputs=Inputs(
                typed=_typed(_object(content, "record")),
                piece_file=file,
                openings=_openings(content.get("openings")) if same_piece else {},
                brief=_brief(content.get("brief")),
                asked=_known(content.get("asked"), ASK_BOXES),
                numbers=_numbers(content.get("numbers")),
                kept=tuple(_kept(one) for one in content.get("kept") or ()),
                pads=tuple(_pads(one) for one in content.get("pads") or ()),
            ),
            least_mm=_figures(_object(figures, "least_mm")),
            same_piece=same_piece,
        )
    except (FitkitError, AttributeError, TypeError) as problem:
        msg = f"{path.name}: {problem}"
        raise RecordError(msg) from None


def same_figures(state: SessionState, saved: SavedSession) -> str:
    """Say whether a session that was opened has the figures that it was saved with."""
    if saved.inputs.piece_file and not Path(saved.inputs.piece_file).is_file():
        name = Path(saved.inputs.piece_file).name
        return f"Opened; now choose the piece: {name} is not here."
    if state.answer is None:
        return "Opened; it has no answer yet."
    zones = state.answer.ease.by_zone
    off = [
        abs(zones[zone].least_mm - least) if zone in zones else float("inf")
        for zone, least in saved.least_mm.items()
    ]
    if saved.least_mm and max(off) <= SAME_MM:
        return "Opened; the figures are the same as when it was saved."
    why = "" if saved.same_piece else ": the files of the piece have changed since"
    if not saved.least_mm:
        return "Opened; it was saved without an answer."
    return f"Opened; the figures differ by up to {max(off):.2g} mm from those saved{why}."


def _digest(file: str) -> str:
    """Fingerprint of a piece's mesh and notes; empty if the mesh is not there."""
    if not file or not Path(file).is_file():
        return ""
    notes = notes_path(file)
    data = Path(file).read_bytes() + (notes.read_bytes() if notes.is_file() else b"")
    return hashlib.sha256(data).hexdigest()


def _piece_path(name: str, folder: Path, at_hand: str) -> str:
    """Find the piece: the one at hand if it has the name, else one beside the session."""
    if not name:
        return ""
    if Path(name).name != name:
        msg = f"piece.file must be the name of a file alone; got {name[:60]!r}."
        raise RecordError(msg)
    if Path(at_hand).name == name:
        return at_hand
    return str((folder / name).resolve())


def _check_version(content: Any) -> None:
    got = content.get("fitkit_session") if isinstance(content, dict) else None
    if got is None:
        msg = 'is no session: it has no "fitkit_session": 1.'
        raise RecordError(msg)
    if got != SESSION_VERSION:
        msg = (
            f"fitkit_session must be {SESSION_VERSION}; got {str(got)[:40]}. "
            "If a later fitkit wrote it, open it with that one."
        )
        raise RecordError(msg)


def _object(content: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = content.get(name)
    if not isinstance(found, dict):
        msg = f"{name} must be names and values in braces; got {str(found)[:40]!r}."
        raise RecordError(msg)
    return found


def _typed(record: Mapping[str, Any]) -> TypedRecord:
    texts: dict[str, Any] = {name: str(record.get(name, "")) for name in _TEXTS}
    boxed: dict[str, Any] = {
        name: {str(k): str(v) for k, v in _object(record, name).items()} for name in _BOXED
    }
    return TypedRecord(**texts, **boxed, unknown=_object(record, "unknown"))


def _numbers(numbers: Any) -> dict[str, Typed]:
    """Fill the boxes that are known; those that the file lacks stay where they start."""
    return {**starting_numbers(), **_known(numbers, BOXES)}


def _known(numbers: Any, boxes: Mapping[str, Box]) -> dict[str, Typed]:
    given = numbers if isinstance(numbers, dict) else {}
    return {
        name: value
        for name, value in given.items()
        if name in boxes and isinstance(value, (int, float, str))
    }


def _openings(said: Any) -> dict[int, str]:
    given = said if isinstance(said, dict) else {}
    return {
        int(place): choice
        for place, choice in given.items()
        if place.isdecimal() and choice in CHOICES
    }


def _kept(one: Mapping[str, Any]) -> Kept:
    return Kept(name=str(one["name"])[:60], numbers=_numbers(one["numbers"]))


def _pads(one: Mapping[str, Any]) -> PadChoice:
    given = {f.name: one.get(f.name) for f in fields(PadChoice)}
    return pad_choice(**given)


def _figures(least_mm: Mapping[str, Any]) -> dict[str, float]:
    return {zone: float(value) for zone, value in least_mm.items()}


def _brief_as_json(brief: Brief) -> dict[str, Any]:
    plain = {f.name: getattr(brief, f.name) for f in fields(brief)}
    ease = {zone: [asked.least_mm, asked.most_mm] for zone, asked in brief.ease.items()}
    return {**plain, "ease": ease, "weights": asdict(brief.weights)}


def _brief(given: Any) -> Brief | None:
    """Make a brief of what JSON says; its own checks refuse what cannot be used."""
    if given is None:
        return None
    known = {f.name for f in fields(Brief)}
    plain = {name: value for name, value in dict(given).items() if name in known}
    ease = {
        zone: Ease(least_mm=least, most_mm=most)
        for zone, (least, most) in plain.pop("ease", {}).items()
    }
    weights = Weights(**plain.pop("weights", {}))
    free = tuple(plain.pop("free", Brief().free))
    return Brief(ease=ease, weights=weights, free=free, **plain)
