"""Notes beside a design: what a mesh alone cannot say, read strictly, kept whole."""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from fitkit.errors import DesignError, range_message
from fitkit.geometry.units import Unit
from fitkit.text_files import parse_json, read_text, replace_text

#: Version that this program writes, and the newest that it reads.
NOTES_VERSION = 1
#: Largest notes file that is read. [bytes]
NOTES_LIMIT_BYTES = 1_000_000
#: Farthest that any noted point may lie from the head's origin. [mm]
REACH_MM = 5000.0
#: Most that a hinge axis may slope or skew. [deg]
HINGE_TILT_DEG = 3.0
#: Thickest single layer that is believed. [mm]
LAYER_LIMIT_MM = 80.0
#: Most that one copy step may shrink; more reads like a slip. [%]
SHRINK_LIMIT_PERCENT = 10.0

AxisName = Literal["x", "y", "z", "+x", "+y", "+z", "-x", "-y", "-z"]
Surface = Literal["outer", "inner", "solid"]
OpeningKind = Literal["neck", "eye", "mouth", "vent", "other"]


def _within_reach(value: float) -> float:
    if not math.isfinite(value) or abs(value) > REACH_MM:
        low, high = -REACH_MM, REACH_MM
        msg = range_message("a coordinate", low=low, high=high, unit="mm", got=value)
        raise ValueError(msg)
    return value


def layer_thickness_mm(value: float) -> float:
    """Check the thickness of one layer: above 0, to 80 mm."""
    if not 0 < value <= LAYER_LIMIT_MM:
        cure = "A layer that is taken away is none: draw the surface smaller instead."
        msg = range_message(
            "thickness_mm (above 0)",
            low=0,
            high=LAYER_LIMIT_MM,
            unit="mm",
            got=value,
            cure=cure if value < 0 else "",
        )
        raise DesignError(msg)
    return value


def shrinkage_percent(value: float) -> float:
    """Check the linear shrinkage of one copy step: 0 to 10 %."""
    if not 0 <= value <= SHRINK_LIMIT_PERCENT:
        cure = "Growth is not read as shrinkage."
        if value > 0:
            cure = f"Is that tenths of a percent? Then it is {value / 10:g} %."
        msg = range_message(
            "shrink_percent",
            low=0,
            high=SHRINK_LIMIT_PERCENT,
            unit="%",
            got=value,
            cure=cure,
        )
        raise DesignError(msg)
    return value


Coordinate = Annotated[float, AfterValidator(_within_reach)]
Point = tuple[Coordinate, Coordinate, Coordinate]
Text = Annotated[str, Field(min_length=1, max_length=200)]
ShrinkPercent = Annotated[float, AfterValidator(shrinkage_percent)]
Radius = Annotated[float, Field(ge=0, le=REACH_MM)]


class _Kept(BaseModel):
    """A frozen model that keeps the keys it does not know."""

    model_config = ConfigDict(extra="allow", frozen=True)


class OpeningNote(_Kept):
    """An opening that the maker has named."""

    #: Name, for example "eye_left"; left is the wearer's.
    name: Text
    kind: OpeningKind = "other"
    #: A point near the middle of the opening. [mm]
    centre_mm: Point


class HardPoint(_Kept):
    """A bolt, lamp, battery or other thing with a mass at a place."""

    name: Text
    mass_g: Annotated[float, Field(ge=0, le=20_000)]
    at_mm: Point
    radius_mm: Radius = 0.0


class NoCut(_Kept):
    """A ball of the design that may not be cut."""

    name: Text
    centre_mm: Point
    radius_mm: Radius


class LayerNote(_Kept):
    """One layer of the build-up."""

    name: Text
    thickness_mm: Annotated[float, AfterValidator(layer_thickness_mm)]


class LayersNote(_Kept):
    """Layers that grow outward and inward from the drawn surface, in order of making."""

    outward: tuple[LayerNote, ...] = ()
    inward: tuple[LayerNote, ...] = ()


class HingeNote(_Kept):
    """The jaw's hinge: one point on each side, and how far it turns."""

    left_mm: Point
    right_mm: Point
    #: Widest opening, from the drawn pose; opening is positive. [deg]
    open_stop_deg: Annotated[float, Field(gt=0, le=90)] = 25.0
    #: Where it stops closing, from the drawn pose. [deg]
    close_stop_deg: Annotated[float, Field(ge=-30, le=30)] = 0.0

    @model_validator(mode="after")
    def _sensible(self) -> Self:
        across, ahead, rise = (
            r - a for a, r in zip(self.left_mm, self.right_mm, strict=True)
        )
        if across <= 0:
            msg = (
                f"left_mm must lie to the wearer's left of right_mm; got left "
                f"{self.left_mm[0]:g} mm and right {self.right_mm[0]:g} mm. "
                "Left is the wearer's, at negative right: are the two swapped?"
            )
            raise ValueError(msg)
        for word, off, axis in (("level", rise, "up"), ("square across", ahead, "front")):
            tilt = math.degrees(math.atan2(abs(off), across))
            if tilt > HINGE_TILT_DEG:
                msg = (
                    f"the axis must run {word} to {HINGE_TILT_DEG:g} deg, or the jaw "
                    f"swings sideways; got {tilt:.1f} deg ({axis} differs by "
                    f"{abs(off):g} mm over {across:g} mm). Give both ends the same {axis}."
                )
                raise ValueError(msg)
        if self.close_stop_deg >= self.open_stop_deg:
            msg = (
                f"close_stop_deg must be below open_stop_deg; got "
                f"{self.close_stop_deg:g} and {self.open_stop_deg:g}."
            )
            raise ValueError(msg)
        return self


class Notes(_Kept):
    """
    What a mesh alone cannot say about a piece.

    All points are in millimetres along right, front, up, after the file's unit, axes
    and origin have been applied. Keys that are not known are kept and written back.
    """

    fitkit_notes: Literal[1] = 1
    name: Text | None = None
    #: Unit of the mesh file; None if its format says.
    unit: Unit | None = None
    #: Axis of the file that points to the wearer's front, and up; None if not said.
    front: AxisName | None = None
    up: AxisName | None = None
    #: Midpoint of the tragia of the head it was drawn for, in mm along right, front,
    #: up, counted from the file's own origin.
    origin_mm: Point = (0.0, 0.0, 0.0)
    #: What is drawn: outer skin, inner skin, or a solid with its wall.
    surface: Surface | None = None
    #: More mesh files beside this one: part name to file name.
    part_files: dict[str, str] = Field(default_factory=dict)
    jaw_part: str | None = None
    hinge: HingeNote | None = None
    openings: tuple[OpeningNote, ...] = ()
    hard_points: tuple[HardPoint, ...] = ()
    no_cut: tuple[NoCut, ...] = ()
    layers: LayersNote = Field(default_factory=LayersNote)
    shrink_percent: tuple[ShrinkPercent, ...] = ()

    @model_validator(mode="after")
    def _sensible(self) -> Self:
        if (self.front is None) != (self.up is None):
            msg = "give front and up together; one of them is missing."
            raise ValueError(msg)
        if self.front is not None and self.front[-1] == str(self.up)[-1]:
            msg = (
                f"front and up must be different axes of the file; got front "
                f"'{self.front}' and up '{self.up}'."
            )
            raise ValueError(msg)
        for label, entries in (
            ("openings", self.openings),
            ("hard_points", self.hard_points),
            ("no_cut", self.no_cut),
        ):
            _no_twins(label, [entry.name for entry in entries])
        return self

    def unknown_keys(self) -> tuple[str, ...]:
        """Keys of the outermost level that were kept without being understood."""
        return tuple(self.model_extra or ())


def parse_notes(raw: Mapping[str, Any], *, source: str) -> Notes:
    """
    Check notes given as a mapping.

    Parameters
    ----------
    raw : mapping
        Keys and values as in a notes file; ``fitkit_notes`` (the version) may be left
        out of a mapping written by hand.
    source : str
        Where they came from, for the message.

    Raises
    ------
    DesignError
        If the version is newer than this program, or a value cannot be used.
    """
    version = raw.get("fitkit_notes", NOTES_VERSION)
    if type(version) is not int or not 1 <= version <= NOTES_VERSION:
        msg = (
            f"{source}: fitkit_notes (the version) must be {NOTES_VERSION}; got "
            f"{version!r}. If it is newer, update fitkit."
        )
        raise DesignError(msg)
    try:
        return Notes.model_validate(dict(raw))
    except ValidationError as error:
        raise DesignError(_in_words(error, source=source)) from None


def read_notes(path: Path | str) -> Notes:
    """
    Read a notes file.

    Raises
    ------
    DesignError
        If it is missing, too large, not JSON, of a newer version, or a value in it
        cannot be used.
    """
    path = Path(path)
    try:
        text = read_text(path, most_bytes=NOTES_LIMIT_BYTES, raises=DesignError)
        raw = parse_json(text, raises=DesignError)
    except DesignError as problem:
        raise DesignError(f"{path.name}: {problem}") from None
    if not isinstance(raw, dict):
        kind = type(raw).__name__
        msg = f"{path.name}: notes must be one JSON object, {{...}}; got {kind}."
        raise DesignError(msg)
    if "fitkit_notes" not in raw:
        msg = (
            f'{path.name}: the version is missing. Add "fitkit_notes": {NOTES_VERSION} '
            "at the top."
        )
        raise DesignError(msg)
    return parse_notes(raw, source=path.name)


def write_notes(notes: Notes, path: Path | str) -> None:
    """
    Save notes as JSON, unknown keys too; a good file is never half overwritten.

    Raises
    ------
    DesignError
        If the folder cannot be written to.
    """
    path = Path(path)
    given = notes.model_fields_set | {"fitkit_notes"} | set(notes.unknown_keys())
    text = json.dumps(notes.model_dump(mode="json", include=given), indent=2) + "\n"
    replace_text(path, text, raises=DesignError)


def nearest_name(wanted: str, names: Iterable[str]) -> str:
    """
    Point to the name that was probably meant, or list them all.

    Examples
    --------
    >>> nearest_name("jow", ["shell", "jaw"])
    "Did you mean 'jaw'?"
    >>> nearest_name("lid", ["shell", "jaw"])
    'There are: jaw, shell.'
    """
    known = sorted(names)
    folded = {name.casefold(): name for name in known}
    close = difflib.get_close_matches(wanted.casefold(), folded, n=1)
    if close:
        return f"Did you mean '{folded[close[0]]}'?"
    return f"There are: {', '.join(known)}." if known else "There are none."


def misspelt_keys(notes: Notes) -> tuple[str, ...]:
    """Say which kept keys look like misspellings of known ones."""
    known = list(Notes.model_fields)
    words = []
    for key in notes.unknown_keys():
        close = difflib.get_close_matches(key.casefold(), known, n=1, cutoff=0.75)
        if close:
            words.append(
                f"The notes' key '{key}' is not known and was kept unread: did you mean "
                f"'{close[0]}'?"
            )
    return tuple(words)


def _no_twins(label: str, names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        msg = f"{label} must have different names; '{twice[0]}' is there twice."
        raise ValueError(msg)


def _in_words(error: ValidationError, *, source: str) -> str:
    """Turn every complaint of the checker into one line each."""
    return "\n".join(_one_line(dict(item), source=source) for item in error.errors())


def _one_line(item: dict[str, Any], *, source: str) -> str:
    where = _where(item["loc"])
    context = item.get("ctx", {})
    got = item["input"]
    if item["type"] == "missing":
        return f"{source}: {where} is missing."
    if item["type"] == "literal_error":
        cure = nearest_name(str(got), re.findall(r"'([^']*)'", context["expected"]))
        return f"{source}: {where} must be {context['expected']}; got {got!r}. {cure}"
    if item["type"] == "value_error":
        return f"{source}: {where}{': ' if where else ''}{context['error']}"
    said = item["msg"].replace("Input should be", "must be").replace("Field required", "")
    shown = repr(got) if not isinstance(got, dict | list | tuple) else type(got).__name__
    return f"{source}: {where} {said[0].lower() + said[1:]}; got {shown}."


def _where(location: tuple[int | str, ...]) -> str:
    text = ""
    for step in location:
        text += f"[{step}]" if isinstance(step, int) else f".{step}"
    return text.lstrip(".")
