"""Routes in files: the examples that come along, and the maker's own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitkit.errors import DesignError
from fitkit.piece.laminate import Laminate, card_thickness_mm
from fitkit.piece.notes import nearest_name
from fitkit.piece.route_steps import CopyStep, LayerStep, Region, RemoveStep, Step
from fitkit.piece.routes import Route
from fitkit.text_files import parse_json, read_text

#: Version that this program writes, and the newest that it reads.
ROUTES_VERSION = 1
#: Largest file of routes that is read. [bytes]
ROUTES_LIMIT_BYTES = 200_000
#: Most routes in one file.
MOST_ROUTES = 100
_KINDS: Mapping[str, type[LayerStep] | type[CopyStep] | type[RemoveStep]] = {
    "layer": LayerStep,
    "copy": CopyStep,
    "remove": RemoveStep,
}


@cache
def route_library() -> Mapping[str, Route]:
    """
    Give the typical routes by name, to be edited: `Route.edited`, or a file of one's own.

    Thicknesses and shrinkages are common practice, from memory; SOURCES.md says which.
    """
    text = files("fitkit.data").joinpath("routes.json").read_text(encoding="utf-8")
    return _parsed(text, source="routes.json")


def route(name: str) -> Route:
    """
    Give one typical route.

    Raises
    ------
    DesignError
        If there is none of that name.

    Examples
    --------
    >>> round(route("foam sheet").lining_mm, 1)
    10.0
    """
    known = route_library()
    if name not in known:
        msg = f"There is no route '{name}'. {nearest_name(name, known)}"
        raise DesignError(msg)
    return known[name]


def read_routes(path: Path | str) -> Mapping[str, Route]:
    """
    Read routes by name from a JSON file, laid out as `write_routes` writes it.

    Raises
    ------
    DesignError
        If it is missing, over 200 kB, not JSON, of a newer version, or a step cannot be
        used; the message names the route and the step.
    """
    path = Path(path)
    try:
        text = read_text(path, most_bytes=ROUTES_LIMIT_BYTES, raises=DesignError)
    except DesignError as problem:
        raise DesignError(f"{path.name}: {problem}") from None
    return _parsed(text, source=path.name)


def write_routes(
    routes: Mapping[str, Route], path: Path | str, *, overwrite: bool = False
) -> None:
    """
    Save routes as JSON that `read_routes` reads.

    Raises
    ------
    DesignError
        If the file is there already and may not be replaced, or cannot be written.
    """
    path = Path(path)
    content = {
        "fitkit_routes": ROUTES_VERSION,
        "routes": [_route_as_json(route) for route in routes.values()],
    }
    try:
        with path.open("w" if overwrite else "x", encoding="utf-8") as file:
            file.write(json.dumps(content, indent=1, ensure_ascii=False) + "\n")
    except FileExistsError:
        msg = (
            f"{path} is there already. Choose another name, or replace it with "
            "overwrite=True."
        )
        raise DesignError(msg) from None
    except OSError as error:
        msg = f"{path}: cannot be written ({error.strerror})."
        raise DesignError(msg) from None


def _parsed(text: str, *, source: str) -> Mapping[str, Route]:
    try:
        raw = parse_json(text, raises=DesignError)
    except DesignError as problem:
        raise DesignError(f"{source}: {problem}") from None
    top = _mapping(raw, f"{source}: the whole file")
    version = top.get("fitkit_routes")
    if type(version) is not int or not 1 <= version <= ROUTES_VERSION:
        msg = (
            f"{source}: fitkit_routes (the version) must be {ROUTES_VERSION}; got "
            f"{version!r}. If it is newer, update fitkit."
        )
        raise DesignError(msg)
    entries = _list(top.get("routes"), f"{source}: routes", most=MOST_ROUTES)
    found: dict[str, Route] = {}
    for number, entry in enumerate(entries, start=1):
        one = _route(_mapping(entry, f"{source}: route {number}"), source=source)
        if one.name in found:
            msg = f"{source}: two routes are named '{one.name}'."
            raise DesignError(msg)
        found[one.name] = one
    return MappingProxyType(found)


def _route(entry: Mapping[str, Any], *, source: str) -> Route:
    name = _text(entry.get("name"), f"{source}: name of a route")
    where = f"{source}: {name}"
    _known_keys(entry, ("name", "about", "drawn_wall", "steps"), where)
    drawn = entry.get("drawn_wall", False)
    if not isinstance(drawn, bool):
        msg = f"{where}: drawn_wall must be true or false; got {drawn!r}."
        raise DesignError(msg)
    raw = _list(entry.get("steps"), f"{where}: steps", most=1000)
    steps = tuple(
        _step(_mapping(step, f"{where}: step {number}"), f"{where}: step {number}")
        for number, step in enumerate(raw, start=1)
    )
    about = _text(entry.get("about", "-"), f"{where}: about")
    about = "" if about == "-" else about
    try:
        return Route(name=name, about=about, drawn_wall=drawn, steps=steps)
    except DesignError as error:
        msg = f"{source}: {error}"
        raise DesignError(msg) from None


def _step(entry: Mapping[str, Any], where: str) -> Step:
    given = dict(entry)
    kind = str(given.pop("step", None))
    if kind not in _KINDS:
        msg = f"{where}: step must be layer, copy or remove; got {kind!r}."
        raise DesignError(msg + " " + nearest_name(kind, _KINDS))
    made = _KINDS[kind]
    if "card_g_m2" in given:
        weight = _number(given.pop("card_g_m2"), f"{where}: card_g_m2")
        given["thickness_mm"] = card_thickness_mm(weight_g_m2=weight)
    fields = made.__dataclass_fields__
    _known_keys(given, fields, where)
    checked = {key: _value(key, value, f"{where}: {key}") for key, value in given.items()}
    needed = {"layer": ("name", "side"), "copy": ("name", "shrink_percent")}
    for key in needed.get(kind, ("name", "side", "depth_mm")):
        if key not in checked:
            msg = f"{where}: {key} is missing."
            raise DesignError(msg)
    try:
        return made(**checked)
    except DesignError as error:
        msg = f"{where}: {error}"
        raise DesignError(msg) from None


def _value(key: str, value: object, where: str) -> Any:
    if key == "name":
        return _text(value, where)
    if key in ("side", "keeps"):
        allowed = ("outward", "inward") if key == "side" else ("outer", "inner", "both")
        if value not in allowed:
            near = nearest_name(str(value), allowed)
            msg = f"{where} must be {' or '.join(allowed)}; got {value!r}. {near}"
            raise DesignError(msg)
        return value
    if key == "laminate":
        fields = Laminate.__dataclass_fields__
        return Laminate(**_numbers(_mapping(value, where), tuple(fields), where))
    if key == "regions":
        return tuple(_region(one, where) for one in _list(value, where, most=100))
    return _number(value, where)


def _region(value: object, where: str) -> Region:
    entry = _mapping(value, where)
    _known_keys(entry, Region.__dataclass_fields__, where)
    centre = _list(entry.get("centre_mm"), f"{where}: centre_mm", most=3)
    if len(centre) != 3:
        msg = f"{where}: centre_mm must be three numbers: right, front, up."
        raise DesignError(msg)
    right, front, up = (_number(one, f"{where}: centre_mm") for one in centre)
    return Region(
        name=_text(entry.get("name"), f"{where}: name"),
        centre_mm=(right, front, up),
        radius_mm=_number(entry.get("radius_mm"), f"{where}: radius_mm"),
        thickness_mm=_number(entry.get("thickness_mm"), f"{where}: thickness_mm"),
    )


def _numbers(
    entry: Mapping[str, Any], known: tuple[str, ...], where: str
) -> dict[str, Any]:
    _known_keys(entry, known, where)
    return {key: _number(value, f"{where}: {key}") for key, value in entry.items()}


def _known_keys(entry: Mapping[str, Any], known: Any, where: str) -> None:
    for key in entry:
        if key not in known:
            msg = f"{where}: '{key}' is not known. {nearest_name(key, known)}"
            raise DesignError(msg)


def _number(value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        msg = f"{where} must be a number; got {value!r}."
        raise DesignError(msg)
    return value


def _text(value: object, where: str) -> str:
    if not isinstance(value, str) or not 1 <= len(value) <= 500:
        msg = f"{where} must be a text of 1 to 500 letters; got {str(value)[:40]!r}."
        raise DesignError(msg)
    return value


def _mapping(value: object, where: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        msg = f"{where} must be an object, {{...}}; got {type(value).__name__}."
        raise DesignError(msg)
    return value


def _list(value: object, where: str, *, most: int) -> list[Any]:
    if not isinstance(value, list) or len(value) > most:
        msg = f"{where} must be a list of at most {most}; got {type(value).__name__}."
        raise DesignError(msg)
    return value


def _route_as_json(route: Route) -> dict[str, Any]:
    kinds = {made: kind for kind, made in _KINDS.items()}
    entry: dict[str, Any] = {"name": route.name, "drawn_wall": route.drawn_wall}
    if route.about:
        entry["about"] = route.about
    entry["steps"] = [{"step": kinds[type(s)], **_plain(s)} for s in route.steps]
    return entry


def _plain(item: object) -> dict[str, Any]:
    """Fields of a step, laminate or region that are set, ready for JSON."""
    found: dict[str, Any] = {}
    for key in item.__dataclass_fields__:  # type: ignore[attr-defined]
        value = getattr(item, key)
        if isinstance(value, Laminate):
            value = _plain(value)
        elif key == "regions":
            value = [_plain(region) for region in value]
        if value is not None and value != []:
            found[key] = value
    return found
