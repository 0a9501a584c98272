"""A folder that appears whole or not at all, and never takes the place of anything else."""

from __future__ import annotations

import json
import shutil
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from fitkit.errors import SheetError
from fitkit.text_files import parse_json, read_text

#: File that lists what a folder of sheets holds.
CONTENTS = "contents.json"
#: Version of that list.
CONTENTS_VERSION = 1
#: Largest list that is read. [bytes]
LARGEST_CONTENTS = 1_000_000


@contextmanager
def whole_folder(target: Path, *, overwrite: bool) -> Iterator[Path]:
    """
    Give an empty folder beside `target` that takes its place at the end.

    Parameters
    ----------
    target : Path
        Folder to be; may be there if it is empty.
    overwrite : bool
        Whether a folder of sheets may be replaced; never one that holds anything else.

    Raises
    ------
    SheetError
        If something is in the way, or the place cannot be written.
    """
    must_be_free(target, overwrite=overwrite)
    target = target.expanduser().resolve()
    part = target.with_name(f".{target.name}.{uuid.uuid4().hex[:12]}.part")
    try:
        part.mkdir(parents=True)
        yield part
        _put_in_place(part, target)
    except OSError as problem:
        msg = f"{target} cannot be written: {problem.strerror or problem}."
        raise SheetError(msg) from problem
    finally:
        shutil.rmtree(part, ignore_errors=True)


def write_contents(folder: Path, names: Sequence[str]) -> None:
    """List the files of a folder, so that a later report knows them for its own."""
    content = {"fitkit_sheets": CONTENTS_VERSION, "files": sorted([*names, CONTENTS])}
    (folder / CONTENTS).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def must_be_free(target: Path, *, overwrite: bool) -> None:
    """
    Refuse a folder that is in use; best asked before a long computation.

    Raises
    ------
    SheetError
        If `target` is a file, holds what no report wrote, or holds a report that may
        not be replaced.
    """
    target = target.expanduser().resolve()
    if not target.exists():
        return
    if not target.is_dir():
        msg = f"{target} is a file, not a folder. Choose another name."
        raise SheetError(msg)
    held = sorted(
        path.relative_to(target).as_posix()
        for path in target.rglob("*")
        if not path.is_dir()
    )
    if not held and not any(target.iterdir()):
        return
    foreign = [name for name in held if name not in _known(target)]
    if foreign or not held:
        first = foreign[0] if foreign else "empty folders"
        msg = (
            f"{target} holds what no report wrote ({first}), so it is never replaced. "
            "Choose another folder."
        )
        raise SheetError(msg)
    if not overwrite:
        msg = (
            f"{target} holds a report already. Choose another folder, or replace it with "
            "overwrite=True (--overwrite)."
        )
        raise SheetError(msg)


def _known(target: Path) -> frozenset[str]:
    """Files that a list in the folder says it holds; none if there is no good list."""
    path = target / CONTENTS
    if not path.is_file():
        return frozenset()
    try:
        text = read_text(path, most_bytes=LARGEST_CONTENTS, raises=SheetError)
        content = parse_json(text, raises=SheetError)
    except SheetError:
        return frozenset()
    files = content.get("files") if isinstance(content, dict) else None
    return (
        frozenset(str(name) for name in files) if isinstance(files, list) else frozenset()
    )


def _put_in_place(part: Path, target: Path) -> None:
    if not target.exists():
        part.replace(target)
        return
    old = target.with_name(f".{target.name}.{uuid.uuid4().hex[:12]}.old")
    target.replace(old)
    try:
        part.replace(target)
    except OSError:
        old.replace(target)
        raise
    shutil.rmtree(old, ignore_errors=True)
