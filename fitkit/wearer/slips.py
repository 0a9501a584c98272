"""Likely slips in a record, each with its cure; nothing is mended in silence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from fitkit.wearer.record import Record


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One likely slip in a record."""

    #: What it is about: a key of a measure, or another name in the record.
    key: str
    #: ``"refuse"``: the record cannot be used; ``"doubt"``: it can, with this caution.
    severity: Literal["refuse", "doubt"]
    #: What is wrong and how to mend it.
    message: str
    #: The value that was likely meant, or None. [mm]
    mended_mm: float | None


def check_record(record: Record) -> tuple[Slip, ...]:
    """Return the likely slips in a record."""
    del record
    return ()
