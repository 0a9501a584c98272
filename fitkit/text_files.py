"""Text and JSON files from anyone: bounded, in UTF-8, read strictly, saved whole."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from fitkit.errors import FitkitError

Raised = type[FitkitError]


def read_text(path: Path, *, most_bytes: int, raises: Raised) -> str:
    """
    Return the text of a file in UTF-8 of bounded size.

    Raises
    ------
    raises
        If it cannot be read, is too large, or is not UTF-8; does not name the file.
    """
    try:
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except OSError as problem:
        raise raises(f"cannot be read: {problem.strerror}.") from None
    if len(data) > most_bytes:
        msg = f"must be at most {most_bytes} bytes; it is larger. Is it the right file?"
        raise raises(msg)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        msg = "must be text in UTF-8; it is not. Save it again as UTF-8."
        raise raises(msg) from None


def replace_text(path: Path, text: str, *, raises: Raised) -> None:
    """
    Write a text file so that a reader finds the old one or the new, never half of one.

    Parameters
    ----------
    path : Path
        Written by way of a file beside it that then takes its name.
    text : str
        Saved in UTF-8.

    Raises
    ------
    raises
        If it cannot be written there.
    """
    path = path.resolve()
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        data = text.encode("utf-8")
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        msg = f"{path.name} cannot be written in {path.parent}: {problem.strerror}."
        raise raises(msg) from None
    except UnicodeEncodeError:
        msg = f"{path.name} would hold a broken letter. Type the name and notes again."
        raise raises(msg) from None


def parse_json(text: str, *, raises: Raised) -> Any:
    """
    Return what a JSON text says, refusing keys given twice and numbers that are none.

    Raises
    ------
    raises
        With the line and column where it is broken.

    Examples
    --------
    >>> parse_json('{"size": 1.05}', raises=FitkitError)
    {'size': 1.05}
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        content: dict[str, Any] = {}
        for key, value in pairs:
            if key in content:
                msg = f"{key[:80]!r} is given twice. Keep one; put repeats in a list."
                raise raises(msg)
            content[key] = value
        return content

    def no_constant(name: str) -> Any:
        msg = f"{name} is no number. Leave out what is not known."
        raise raises(msg)

    try:
        return json.loads(text, object_pairs_hook=once, parse_constant=no_constant)
    except json.JSONDecodeError as problem:
        at = f"line {problem.lineno}, column {problem.colno}"
        raise raises(f"not JSON at {at}: {problem.msg}.") from None
    except FitkitError:
        raise
    except (RecursionError, ValueError):
        msg = "holds brackets nested too deep, or a number too long, to be read."
        raise raises(msg) from None


def check_version(
    content: Any, key: str, *, newest: int, what: str, raises: Raised
) -> None:
    """
    Refuse what is no file of this kind, or one that a later version wrote.

    Parameters
    ----------
    content : any
        What the JSON said.
    key : str
        Key that holds the version, ``"fitkit_record"`` for one.
    newest : int
        The version that is read.
    what : str
        What it should be, ``"record"`` for one.
    """
    got = content.get(key) if isinstance(content, dict) else None
    if got is None:
        raise raises(f'is no {what}: it has no "{key}": {newest}.')
    if isinstance(got, bool) or got != newest:
        msg = (
            f"{key} must be {newest}; got {str(got)[:40]}. If a later fitkit wrote it, "
            "read it with that one."
        )
        raise raises(msg)
