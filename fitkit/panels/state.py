"""The state of a session: all that a maker has set, and all that follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from fitkit.assess import Assessment
from fitkit.fit.brief import Brief
from fitkit.fit.placement import Placement
from fitkit.fit.size import SizeAnswer
from fitkit.fit.verdict import Verdict
from fitkit.panels.boxes import Typed, starting_numbers
from fitkit.panels.typed import CheckedRecord, TypedRecord
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer


@dataclass(frozen=True, kw_only=True)
class Kept:
    """A placement put aside to be compared with others."""

    name: str
    #: What stood in the placing boxes.
    numbers: Mapping[str, Typed]


@dataclass(frozen=True, kw_only=True)
class PadChoice:
    """A set of pads put aside to be compared with others."""

    name: str
    #: Of the foams that the library knows.
    foam: str
    #: One of ``fitkit.fit.pad_stock.LAYOUTS``.
    layout: str
    #: How far each pad shall be pressed where its gap is the median. [%]
    squeeze_percent: float
    #: Thicknesses of the sheets on the shelf. [mm]
    sheets_mm: tuple[float, ...]
    #: Density of the piece's wall, which the pads carry. [g/cm³]
    wall_g_cm3: float


@dataclass(frozen=True, kw_only=True)
class Inputs:
    """All that the maker has set, as set: maybe wrong. Nothing here is computed."""

    #: The record as typed.
    typed: TypedRecord = field(default_factory=TypedRecord)
    #: Mesh file of the piece; empty if none is chosen.
    piece_file: str = ""
    #: What the maker has said of openings, by their place in the piece's list, from 0.
    openings: Mapping[int, str] = field(default_factory=dict)
    #: What is asked of the fit; None is the usual brief for this wearer.
    brief: Brief | None = None
    #: What stands in the boxes of the brief that were changed, by the names in
    #: ``ASK_BOXES``.
    asked: Mapping[str, Typed] = field(default_factory=dict)
    #: What stands in each number box, by the names in ``BOXES``.
    numbers: Mapping[str, Typed] = field(default_factory=starting_numbers)
    #: Placements put aside, at most six.
    kept: tuple[Kept, ...] = ()
    #: Pad sets put aside, at most six.
    pads: tuple[PadChoice, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Solving:
    """How it stands with the solver."""

    stage: Literal["idle", "running", "offer", "stopped", "failed"] = "idle"
    #: How often the wall has been asked about so far.
    queries: int = 0
    #: Time since the solver was asked. [s]
    elapsed_s: float = 0.0
    #: Its answer, until it is taken or left; None at any other stage.
    offer: SizeAnswer | None = None
    #: What went wrong; empty unless it failed.
    problem: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class SessionState:
    """
    One state of a session, whole: what was set, what follows, and what is wrong.

    Every field is always there. Where anything is wrong there is no answer: an old one
    is never left beside a problem.
    """

    inputs: Inputs
    #: Counts up with every change.
    revision: int
    #: Inputs before each undoable change, the oldest first.
    past: tuple[Inputs, ...]
    #: Inputs that undo went back from, the next to redo last.
    future: tuple[Inputs, ...]
    #: What the record's boxes mean, and what is wrong or doubtful in them.
    checked: CheckedRecord
    #: None while the record cannot be used.
    wearer: Wearer | None
    #: None while there is no piece that can be used.
    piece: Piece | None
    #: What is asked of the fit: the maker's brief, or the usual one for this wearer.
    brief: Brief
    #: Number boxes that can be used, by name.
    values: Mapping[str, float]
    #: None while a placing box is wrong.
    placement: Placement | None
    #: What is wrong, by box; ``"record"``, ``"piece"`` and ``"fit"`` stand for the whole.
    problems: Mapping[str, str]
    #: None while anything is wrong or missing.
    answer: Verdict | None
    #: The full assessment of this very answer, once asked for; else None.
    closer: Assessment | None
    solving: Solving
    #: What was last done, for people; empty if there is nothing to say.
    message: str

    @property
    def ready(self) -> bool:
        """Whether wearer and piece are both there, so that a fit can be asked for."""
        return self.wearer is not None and self.piece is not None
