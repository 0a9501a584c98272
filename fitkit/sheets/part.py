"""One question's part of a report: what every room hands over, whatever it answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fitkit.errors import FitkitError
from fitkit.sheets.tables import Table


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A figure on a page."""

    #: File name, with its suffix.
    name: str
    data: bytes
    #: What it shows, for those who cannot see it.
    alternative: str
    caption: str


@dataclass(frozen=True, kw_only=True)
class Part:
    """What a report says of one question."""

    #: Short name, "sight" for one.
    name: str
    #: Heading on the page.
    title: str
    #: The answer in sentences, the weightiest first; or why there is none.
    sentences: tuple[str, ...]
    #: Pictures by name; empty where the question could not be answered.
    pictures: Mapping[str, Picture] = field(default_factory=dict)
    tables: tuple[Table, ...] = ()
    cautions: tuple[str, ...] = ()


def answered(name: str, title: str, ask: Callable[[], Part]) -> Part:
    """
    Ask for a part; where it cannot be answered, the part says why.

    Parameters
    ----------
    name, title : str
        Of the part, should there be no answer.
    ask : callable
        Gives the part, or raises a `FitkitError`.
    """
    try:
        return ask()
    except FitkitError as problem:
        return Part(name=name, title=title, sentences=(str(problem),))
