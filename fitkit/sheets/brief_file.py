"""A brief in a JSON file: written by hand or by a report, read strictly."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from fitkit.errors import BriefError, FitkitError
from fitkit.fit.brief import Brief, Ease, Weights
from fitkit.text_files import check_version, parse_json, read_text
from fitkit.wearer.record_files import short

#: Version written and read here.
BRIEF_VERSION = 1
#: Largest file read. [bytes]
LARGEST_BRIEF = 200_000
_FIELDS = tuple(field.name for field in fields(Brief))
_EASE = ("least_mm", "most_mm")
_WEIGHTS = tuple(field.name for field in fields(Weights))


def read_brief(path: Path | str) -> Brief:
    """
    Read a brief; what it leaves out keeps its default.

    Parameters
    ----------
    path : path
        JSON with ``"fitkit_brief": 1`` and any fields of `Brief`. Ease of a zone is a
        number, the least in mm, or ``{"least_mm": 6, "most_mm": 25}``.

    Raises
    ------
    BriefError
        If it cannot be read, or asks for what has no meaning; names the file.
    """
    path = Path(path)
    try:
        return brief_from_json(read_text(path, most_bytes=LARGEST_BRIEF, raises=BriefError))
    except FitkitError as problem:
        msg = f"{path.name}: {problem}"
        raise BriefError(msg) from None


def brief_from_json(text: str) -> Brief:
    """
    Make a brief from the text of its file.

    Examples
    --------
    >>> brief_from_json('{"fitkit_brief": 1, "ease": {"ear": 2}}').ease["ear_left"]
    Ease(least_mm=2.0, most_mm=None)
    """
    content = parse_json(text, raises=BriefError)
    check_version(
        content, "fitkit_brief", newest=BRIEF_VERSION, what="brief", raises=BriefError
    )
    given = {name: value for name, value in content.items() if name != "fitkit_brief"}
    _must_know(given, _FIELDS, "brief")
    if "ease" in given:
        given["ease"] = _ease(given["ease"])
    if "weights" in given:
        weights = _braces("weights", given["weights"])
        _must_know(weights, _WEIGHTS, "weights")
        given["weights"] = Weights(**_numbers(weights))
    if "free" in given:
        given["free"] = _names("free", given["free"])
    plain = ("size_least", "size_most", "distortion_percent", "eye_margin_mm")
    given.update(_numbers({name: given[name] for name in plain if name in given}))
    tolerance = given.get("hinge_tolerance_mm")
    if tolerance is not None:
        given.update(_numbers({"hinge_tolerance_mm": tolerance}))
    return Brief(**given)


def brief_json(brief: Brief) -> str:
    """Write a brief, complete, so that reading it gives the same one."""
    content = {name: _plain(getattr(brief, name)) for name in _FIELDS}
    content["ease"] = {zone: _written(asked) for zone, asked in brief.ease.items()}
    content["weights"] = _written(brief.weights)
    text = {"fitkit_brief": BRIEF_VERSION, **content}
    return json.dumps(text, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _written(part: Ease | Weights) -> dict[str, Any]:
    return {name: _plain(value) for name, value in asdict(part).items()}


def _plain(value: Any) -> Any:
    """Write a whole number the same way whether it is an int or a float."""
    return short(float(value)) if isinstance(value, (int, float)) else value


def _ease(given: Any) -> dict[str, Ease]:
    asked = {}
    for zone, ease in _braces("ease", given).items():
        parts = ease if isinstance(ease, dict) else {"least_mm": ease}
        _must_know(parts, _EASE, f"ease of {zone}")
        if "least_mm" not in parts:
            msg = f"ease of {zone} must give least_mm; got {str(ease)[:60]}."
            raise BriefError(msg)
        stated = {name: value for name, value in parts.items() if value is not None}
        asked[zone] = Ease(**_numbers(stated, of=f" of ease of {zone}"))
    return asked


def _braces(name: str, given: Any) -> dict[str, Any]:
    if not isinstance(given, dict):
        msg = f"{name} must be names and values in braces; got {str(given)[:60]}."
        raise BriefError(msg)
    return given


def _names(name: str, given: Any) -> tuple[str, ...]:
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        msg = f'{name} must be a list of names, such as ["front", "up"]; got {given!r:.60}.'
        raise BriefError(msg)
    return tuple(given)


def _numbers(given: Mapping[str, Any], *, of: str = "") -> dict[str, float]:
    for name, value in given.items():
        if type(value) not in (int, float):
            msg = f"{name}{of} must be a number; got {value!r:.60}."
            raise BriefError(msg)
    return {name: float(value) for name, value in given.items()}


def _must_know(given: Iterable[str], known: tuple[str, ...], thing: str) -> None:
    for name in given:
        if name not in known:
            near = get_close_matches(name, known, n=1, cutoff=0.5)
            cure = f"did you mean {near[0]!r}?" if near else f"known: {', '.join(known)}."
            msg = f"{thing} has no {name[:60]!r}; {cure}"
            raise BriefError(msg)
