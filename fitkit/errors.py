"""Errors that a maker can read: the thing, the range, what came, the slip, the cure."""

from __future__ import annotations


class FitkitError(ValueError):
    """Base of every error that fitkit raises about what it was given."""


class MeasureError(FitkitError):
    """A reading, or a number given as one, cannot be used."""


class RecordError(FitkitError):
    """A wearer's record cannot be read, understood or saved."""


class DesignError(FitkitError):
    """A design mesh or its notes cannot be used."""


class MeshError(FitkitError):
    """A mesh file or a mesh operation failed."""


class BriefError(FitkitError):
    """A brief asks for something that has no meaning or no answer."""


class SheetError(FitkitError):
    """A report, template or table cannot be written where it was asked for."""


def range_message(
    name: str, *, low: float, high: float, unit: str, got: object, cure: str = ""
) -> str:
    """
    Say that a number is out of range, in the words used everywhere.

    Examples
    --------
    >>> range_message("head_length_mm", low=140, high=250, unit="mm", got=19.95,
    ...               cure="That reads like centimetres: did you mean 199.5 mm?")
    'head_length_mm must be 140 to 250 mm; got 19.95. That reads like centimetres: \
did you mean 199.5 mm?'
    """
    space = " " if unit else ""
    text = f"{name} must be {low:g} to {high:g}{space}{unit}; got {got}."
    return f"{text} {cure}" if cure else text
