"""From inputs to a state: check every box, make wearer and piece once, answer."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import replace
from pathlib import Path
from typing import Generic, TypeVar

from fitkit.errors import FitkitError
from fitkit.fit.brief import Brief, brief_for
from fitkit.fit.verdict import judge
from fitkit.panels.asking import asked_brief
from fitkit.panels.boxes import BOXES, PLACING, box_value, placement_of
from fitkit.panels.openings import with_openings_named
from fitkit.panels.state import Inputs, SessionState, Solving
from fitkit.panels.typed import CheckedRecord, TypedRecord, check_typed
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import notes_path, read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record import Record
from fitkit.wearer.record_files import record_to_json
from fitkit.wearer.wearer import Wearer

Made = TypeVar("Made")
#: How many wearers, and how many pieces, are kept for undo to come back to.
KEPT = 4
PLACING_BOXES = frozenset(PLACING)


class Recent(Generic[Made]):
    """The last few things made, by what they were made from."""

    def __init__(self) -> None:
        self._made: OrderedDict[Hashable, Made] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """Give what was made from ``key``, making it if it is not at hand."""
        if key not in self._made:
            self._made[key] = make()
            while len(self._made) > KEPT:
                self._made.popitem(last=False)
        self._made.move_to_end(key)
        return self._made[key]


class Resolver:
    """Makes states of inputs; keeps wearers, pieces and their trees between edits."""

    def __init__(self) -> None:
        self._wearers: Recent[Wearer] = Recent()
        self._pieces: Recent[Piece] = Recent()
        self._named: Recent[Piece] = Recent()
        self._checked: tuple[TypedRecord, CheckedRecord] | None = None

    def resolve(self, inputs: Inputs, before: SessionState | None = None) -> SessionState:
        """
        Find all that follows from the inputs.

        Parameters
        ----------
        inputs : Inputs
        before : SessionState, optional
            The state so far: its answer stands if nothing that it depends on has changed.

        Returns
        -------
        SessionState
            Without history; with an answer only if nothing is wrong.
        """
        problems: dict[str, str] = {}
        checked = self._check(inputs.typed)
        problems |= _refusals(checked)
        wearer = self._wearer(checked.record, problems)
        piece = self._piece(inputs, problems)
        brief = inputs.brief or Brief()
        if checked.record is not None:
            brief = brief_for(checked.record, inputs.brief)
        brief, wrong = asked_brief(brief, inputs.asked)
        problems |= wrong
        values = _values(inputs, problems)
        placement = placement_of(values) if values.keys() >= PLACING_BOXES else None
        state = SessionState(
            inputs=inputs,
            revision=0,
            past=(),
            future=(),
            checked=checked,
            wearer=wearer,
            piece=piece,
            brief=brief,
            values=values,
            placement=placement,
            problems=problems,
            answer=None,
            closer=None,
            solving=Solving(),
            message="",
        )
        if wearer is None or piece is None or placement is None or problems:
            return state
        if before is not None and before.answer and _same_question(state, before):
            return replace(state, answer=before.answer, closer=before.closer)
        return replace(state, answer=judge(wearer, piece, placement, brief))

    def _check(self, typed: TypedRecord) -> CheckedRecord:
        if self._checked is None or self._checked[0] != typed:
            self._checked = (typed, check_typed(typed))
        return self._checked[1]

    def _wearer(self, record: Record | None, problems: dict[str, str]) -> Wearer | None:
        if record is None:
            return None
        try:
            key = record_to_json(record)
            return self._wearers.get(key, lambda: wearer_from_record(record))
        except FitkitError as problem:
            problems["record"] = str(problem)
            return None

    def _piece(self, inputs: Inputs, problems: dict[str, str]) -> Piece | None:
        file = inputs.piece_file
        if not file:
            return None
        key = (file, _stamp(Path(file)), _stamp(notes_path(file)))
        try:
            drawn = self._pieces.get(key, lambda: finish(read_design(file)))
        except FitkitError as problem:
            problems["piece"] = str(problem)
            return None
        if not inputs.openings:
            return drawn
        said = (key, tuple(inputs.openings.items()))
        return self._named.get(said, lambda: with_openings_named(drawn, inputs.openings))


def _same_question(new: SessionState, old: SessionState) -> bool:
    """Whether two states ask about the same wearer, piece, brief and placement."""
    return (
        new.wearer is old.wearer
        and new.piece is old.piece
        and new.brief == old.brief
        and all(new.values[name] == old.values[name] for name in PLACING)
    )


def _refusals(checked: CheckedRecord) -> dict[str, str]:
    """Give the first slip of each box that refuses the record."""
    refused: dict[str, str] = {}
    for slip in checked.slips:
        if slip.severity == "refuse":
            refused.setdefault(slip.key or "record", slip.message)
    return refused


def _values(inputs: Inputs, problems: dict[str, str]) -> dict[str, float]:
    values: dict[str, float] = {}
    for name in BOXES:
        value, problem = box_value(name, inputs.numbers[name])
        if value is None:
            problems[name] = problem
        else:
            values[name] = value
    return values


def _stamp(path: Path) -> int:
    """Tell one state of a file from another; 0 if it is not there."""
    return path.stat().st_mtime_ns if path.is_file() else 0
