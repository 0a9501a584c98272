"""Openings of a piece, named by the maker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import count
from types import MappingProxyType

from fitkit.piece.buildup import Piece
from fitkit.piece.notes import OpeningKind
from fitkit.piece.openings import Opening

#: What an opening may be said to be, and its kind; the first five are there once.
CHOICES: Mapping[str, OpeningKind] = MappingProxyType(
    {
        "eye_left": "eye",
        "eye_right": "eye",
        "visor": "eye",
        "mouth": "mouth",
        "neck": "neck",
        "vent": "vent",
        "other": "other",
    }
)
#: Choices that at most one opening has.
ONLY_ONE = ("eye_left", "eye_right", "visor", "mouth", "neck")


def choice_of(opening: Opening) -> str:
    """Say which of ``CHOICES`` an opening is."""
    if opening.name in ONLY_ONE:
        return opening.name
    return "visor" if opening.kind == "eye" else opening.kind


def with_openings_named(piece: Piece, said: Mapping[int, str]) -> Piece:
    """
    Name the openings of a piece.

    Parameters
    ----------
    piece : Piece
        With the names that were offered, or that its notes give.
    said : mapping of int to str
        One of ``CHOICES`` by the opening's place in the list. Where two openings are
        said to be the same one thing, the later has it and the other becomes "other".

    Returns
    -------
    Piece
        The same, trees and all, but for the names and kinds of its openings.
    """
    before = [choice_of(opening) for opening in piece.openings]
    after = list(before)
    for place, choice in said.items():
        if choice in ONLY_ONE:
            after = ["other" if other == choice else other for other in after]
        if place < len(after):
            after[place] = choice
    same = [a == b for a, b in zip(before, after, strict=True)]
    taken = {o.name for o, kept in zip(piece.openings, same, strict=True) if kept}
    openings = []
    for opening, choice, kept in zip(piece.openings, after, same, strict=True):
        name = opening.name if kept else _free_name(choice, taken)
        kind = opening.kind if kept else CHOICES[choice]
        taken.add(name)
        openings.append(replace(opening, name=name, kind=kind))
    return replace(piece, openings=tuple(openings))


def _free_name(choice: str, taken: set[str]) -> str:
    if choice in ONLY_ONE:
        return choice
    return next(name for n in count(1) if (name := f"{choice}_{n}") not in taken)
