"""The controller of a session: edits go in, whole states come out."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from fitkit.assess import Assessment, assess
from fitkit.errors import FitkitError
from fitkit.fit.brief import Brief
from fitkit.panels.asking import ASK_BOXES
from fitkit.panels.boxes import BOXES, PLACING, Typed, numbers_of
from fitkit.panels.openings import CHOICES
from fitkit.panels.resolve import Resolver
from fitkit.panels.session_file import read_session, same_figures, write_session
from fitkit.panels.solving import SolverRun
from fitkit.panels.state import Inputs, Kept, PadChoice, SessionState, Solving
from fitkit.panels.typed import TypedRecord, typed_from_record, with_box
from fitkit.panels.worker import Tell, Work, Worker
from fitkit.wearer.measures import unknown_message
from fitkit.wearer.record import Record
from fitkit.wearer.record_files import read_record, record_from_json, write_record

Watcher = Callable[[SessionState], None]
#: Most changes that undo goes back.
MOST_UNDO = 200
#: Most placements, and most pad sets, put aside to be compared.
MOST_KEPT = 6


class SessionController:
    """
    One wearer, one piece and one brief, worked on until they fit.

    Every method that changes something returns the new state, keeps it as ``state``, and
    tells those who ``watch``. Input that cannot be used is no error here: the state says
    what is wrong with it, and has no answer.

    Parameters
    ----------
    record : Record or path, optional
        Of the wearer; an empty form if left out.
    piece : path, optional
        Mesh file with its notes beside it.
    brief : Brief, optional
        What is asked; the usual brief for the wearer if left out.
    resolver : Resolver, optional
        Keeps wearers and pieces that were made; one may serve several sessions.

    Examples
    --------
    >>> session = SessionController()
    >>> session.type_in("head_circumference_mm", "57.4").problems["head_circumference_mm"]
    'head_circumference_mm must be 470 to 700 mm; got 57.4. That reads like \
centimetres: did you mean 574 mm?'
    """

    def __init__(
        self,
        *,
        record: Record | Path | str | None = None,
        piece: Path | str | None = None,
        brief: Brief | None = None,
        resolver: Resolver | None = None,
    ) -> None:
        self._lock = threading.RLock()
        self._watchers: list[Watcher] = []
        self._resolver = Resolver() if resolver is None else resolver
        self._gesture: object = None
        self._run: SolverRun | None = None
        self._solved_for: tuple[object, ...] = ()
        self._writer: Worker[str] = Worker(self._written)
        if isinstance(record, (str, Path)):
            record = read_record(record)
        typed = typed_from_record(record) if record else TypedRecord()
        inputs = Inputs(
            typed=typed, piece_file=str(Path(piece).resolve()) if piece else "", brief=brief
        )
        self.state = self._resolver.resolve(inputs)

    # -- watching -----------------------------------------------------------------

    def watch(self, watcher: Watcher) -> Callable[[], None]:
        """Have every new state handed to ``watcher``; call what is returned to end it."""
        self._watchers.append(watcher)

        def forget() -> None:
            if watcher in self._watchers:
                self._watchers.remove(watcher)

        return forget

    def _publish(self, state: SessionState) -> SessionState:
        self.state = replace(state, revision=self.state.revision + 1)
        for watcher in tuple(self._watchers):
            watcher(self.state)
        return self.state

    # -- edits --------------------------------------------------------------------

    def edit(self, *, gesture: object = None, **numbers: Typed) -> SessionState:
        """
        Put numbers, or text as typed, into number boxes.

        Parameters
        ----------
        gesture : object, optional
            Edits in a row with the same gesture (one drag of a slider) are undone as one.
        **numbers : float or str
            By the names in ``BOXES`` and ``ASK_BOXES``; an empty box of the brief goes
            back to what is usual.

        Raises
        ------
        FitkitError
            If there is no such box.
        """
        known = {**BOXES, **ASK_BOXES}
        for name in numbers:
            if name not in known:
                raise FitkitError(unknown_message("box", name, known))
        with self._lock:
            inputs = self.state.inputs
            placed = {name: given for name, given in numbers.items() if name in BOXES}
            asked = {name: given for name, given in numbers.items() if name in ASK_BOXES}
            asked = {name: g for name, g in {**inputs.asked, **asked}.items() if g != ""}
            boxes = {**inputs.numbers, **placed}
            return self._change(replace(inputs, numbers=boxes, asked=asked), gesture)

    def type_in(self, box: str, text: str, *, gesture: object = None) -> SessionState:
        """Type into one box of the record form; see ``with_box``."""
        with self._lock:
            typed = with_box(self.state.inputs.typed, box, text)
            return self._change(replace(self.state.inputs, typed=typed), gesture)

    def use_record(self, record: Record) -> SessionState:
        """Fill the record form from a record."""
        with self._lock:
            typed = typed_from_record(record)
            said = f"Opened the record of {record.name}."
            return self._change(replace(self.state.inputs, typed=typed), message=said)

    def use_record_text(self, text: str) -> SessionState:
        """Fill the record form from the text of a record's file; say so if it is none."""
        try:
            return self.use_record(record_from_json(text))
        except FitkitError as problem:
            return self.say(f"That file was not opened: {problem}")

    def use_piece(self, path: Path | str) -> SessionState:
        """Choose the mesh file of the piece."""
        with self._lock:
            file = str(Path(path).resolve())
            inputs = replace(self.state.inputs, piece_file=file, openings={})
            return self._change(inputs)

    def name_opening(self, place: int, choice: str) -> SessionState:
        """
        Say what an opening is.

        Parameters
        ----------
        place : int
            Its place in the piece's list, from 0.
        choice : str
            One of ``CHOICES``.

        Raises
        ------
        FitkitError
            If there is no such choice.
        """
        if choice not in CHOICES:
            raise FitkitError(unknown_message("kind of opening", choice, CHOICES))
        with self._lock:
            said = {k: v for k, v in self.state.inputs.openings.items() if k != place}
            said[place] = choice
            return self._change(replace(self.state.inputs, openings=said))

    def ask(self, brief: Brief | None) -> SessionState:
        """Set what is asked of the fit; None for what is usual for this wearer."""
        with self._lock:
            return self._change(replace(self.state.inputs, brief=brief, asked={}))

    def keep(self, name: str = "") -> SessionState:
        """Put the present placement aside under a name, to be compared; at most six."""
        with self._lock:
            inputs = self.state.inputs
            if len(inputs.kept) >= MOST_KEPT:
                return self.say(f"{MOST_KEPT} placements are kept already: drop one first.")
            name = name.strip()[:60] or f"Placement {len(inputs.kept) + 1}"
            kept = (*inputs.kept, Kept(name=name, numbers=inputs.numbers))
            return self._change(replace(inputs, kept=kept), message=f"Kept as {name}.")

    def go_back_to(self, place: int) -> SessionState:
        """Put the boxes back to one of the placements put aside, by its place from 0."""
        with self._lock:
            kept = self.state.inputs.kept[place]
            placing = {name: kept.numbers[name] for name in PLACING}
            boxes = {**self.state.inputs.numbers, **placing}
            said = f"Back to {kept.name}."
            return self._change(replace(self.state.inputs, numbers=boxes), message=said)

    def drop(self, place: int) -> SessionState:
        """Drop one of the placements put aside, by its place from 0."""
        with self._lock:
            kept = self.state.inputs.kept
            left = (*kept[:place], *kept[place + 1 :])
            return self._change(replace(self.state.inputs, kept=left))

    def keep_pads(self, choice: PadChoice) -> SessionState:
        """Put a set of pads aside, to be compared; at most six, and none of them twice."""
        with self._lock:
            pads = self.state.inputs.pads
            if any(replace(one, name=choice.name) == choice for one in pads):
                return self.say("That set of pads is there already.")
            if len(pads) >= MOST_KEPT:
                return self.say(f"{MOST_KEPT} sets are kept already: drop one first.")
            inputs = replace(self.state.inputs, pads=(*pads, choice))
            return self._change(inputs, message=f"Kept {choice.name}.")

    def drop_pads(self, place: int) -> SessionState:
        """Drop one of the pad sets put aside, by its place from 0."""
        with self._lock:
            pads = self.state.inputs.pads
            left = (*pads[:place], *pads[place + 1 :])
            return self._change(replace(self.state.inputs, pads=left))

    def _change(
        self, inputs: Inputs, gesture: object = None, *, message: str = ""
    ) -> SessionState:
        """Go on to new inputs, and remember the old ones for undo."""
        state = self.state
        if inputs == state.inputs:
            return self._publish(replace(state, message=message))
        goes_on = gesture is not None and gesture == self._gesture
        self._gesture = gesture
        past = state.past if goes_on else (*state.past, state.inputs)[-MOST_UNDO:]
        return self._go(inputs, past=past, future=(), message=message)

    def _go(
        self,
        inputs: Inputs,
        *,
        past: tuple[Inputs, ...],
        future: tuple[Inputs, ...],
        message: str = "",
    ) -> SessionState:
        new = self._resolver.resolve(inputs, self.state)
        new = replace(new, past=past, future=future, message=message)
        return self._publish(replace(new, solving=self._solving_for(new)))

    def say(self, message: str) -> SessionState:
        """Say something to the maker, and change nothing."""
        with self._lock:
            return self._publish(replace(self.state, message=message))

    # -- undo ---------------------------------------------------------------------

    def undo(self) -> SessionState:
        """Take back the last change; does nothing if there is none."""
        with self._lock:
            state, self._gesture = self.state, None
            if not state.past:
                return self.say("There is nothing to undo.")
            future = (*state.future, state.inputs)
            return self._go(state.past[-1], past=state.past[:-1], future=future)

    def redo(self) -> SessionState:
        """Bring back what was last undone; does nothing if there is none."""
        with self._lock:
            state, self._gesture = self.state, None
            if not state.future:
                return self.say("There is nothing to redo.")
            past = (*state.past, state.inputs)
            return self._go(state.future[-1], past=past, future=state.future[:-1])

    # -- the longer answers -------------------------------------------------------

    def look_closer(self) -> SessionState:
        """Assess the present placement in full: how sure, what to change, cautions."""
        with self._lock:
            state = self.state
            wearer, piece, placement = state.wearer, state.piece, state.placement
            answered = state.answer is not None and state.closer is None
            if not answered or wearer is None or piece is None or placement is None:
                return state
            full = assess(wearer, piece, placement, state.brief)
            return self._publish(replace(state, closer=full))

    def start_solver(self) -> SessionState:
        """Ask the solver for size and placement; its answer comes as an offer."""
        with self._lock:
            state = self.state
            if state.solving.stage == "running":
                return state
            if state.wearer is None or state.piece is None or "fit" in state.problems:
                return self.say("The solver needs a record and a piece without problems.")
            self._solved_for = _question(state)
            self._publish(replace(state, solving=Solving(stage="running"), message=""))
            self._run = SolverRun(state.wearer, state.piece, state.brief, self._report)
            return self.state

    def stop_solver(self) -> SessionState:
        """Ask the solver to stop; nothing changes if it is not running."""
        if self._run is not None:
            self._run.stop()
        return self.state

    def wait_for_solver(self, timeout_s: float | None = None) -> SessionState:
        """Wait until the solver has offered an answer, stopped or failed."""
        if self._run is not None:
            self._run.wait(timeout_s)
        return self.state

    def solve(self) -> SessionState:
        """Ask the solver, wait for its answer and take it: for those who write code."""
        self.start_solver()
        self.wait_for_solver()
        return self.take()

    def take(self) -> SessionState:
        """Put the offered placement into the boxes; can be undone."""
        with self._lock:
            offer = self.state.solving.offer
            if offer is None:
                return self.say("There is no answer of the solver to take.")
            self._solved_for = ()
            boxes = {**self.state.inputs.numbers, **numbers_of(offer.placement)}
            return self._change(replace(self.state.inputs, numbers=boxes))

    def leave(self) -> SessionState:
        """Let the offered placement go."""
        with self._lock:
            self._solved_for = ()
            return self._publish(replace(self.state, solving=Solving()))

    def _report(self, solving: Solving) -> None:
        """Take a report from the solver's thread, if it still answers the question."""
        with self._lock:
            if self.state.solving.stage == "running":
                self._publish(replace(self.state, solving=solving))

    def _solving_for(self, new: SessionState) -> Solving:
        """Keep a run or an offer only while wearer, piece and brief are what it is for."""
        if self._solved_for and self._solved_for == _question(new):
            return self.state.solving
        if self._run is not None:
            self._run.stop()
        return Solving()

    # -- files --------------------------------------------------------------------

    def save_record(self, path: Path | str) -> SessionState:
        """Save the record; says why not if it cannot be."""
        record = self.state.checked.record
        if record is None:
            return self.say("The record was not saved: mend what is marked first.")
        try:
            write_record(record, Path(path))
        except FitkitError as problem:
            return self.say(f"The record was not saved: {problem}")
        return self.say(f"Saved the record as {Path(path).name}.")

    def save(self, path: Path | str) -> SessionState:
        """Save the whole session to a JSON file; says why not if it cannot be."""
        try:
            write_session(self.state, Path(path))
        except FitkitError as problem:
            return self.say(f"The session was not saved: {problem}")
        return self.say(f"Saved the session as {Path(path).name}.")

    def start_report(self, folder: Path | str) -> SessionState:
        """Write the report of the present placement as a folder, beside all else."""
        closer = self.look_closer().closer
        if closer is None:
            return self.say("There is no answer to report yet.")
        self._writer.start(lambda tell: report_written(closer, Path(folder), tell))
        return self.state

    def write_report(self, folder: Path | str) -> SessionState:
        """Write the report and wait for it: for those who write code."""
        self.start_report(folder)
        return self.wait_for_report()

    def wait_for_report(self) -> SessionState:
        """Wait until the report that was begun last is written, or cannot be."""
        self._writer.wait()
        return self.state

    def _written(self, work: Work[str]) -> None:
        """Say how it stands with the report."""
        problem = f"The report was not written: {work.problem}"
        self.say(problem if work.problem else work.made or work.words)

    def open(self, path: Path | str, *, pieces: Path | str | None = None) -> SessionState:
        """
        Open a saved session; the one at hand stays if it cannot be read.

        Parameters
        ----------
        path : path
        pieces : path, optional
            Folder in which its piece is looked for; that of the session if left out.

        Returns
        -------
        SessionState
            Its message says whether the figures are the same as when it was saved.
        """
        with self._lock:
            try:
                saved = read_session(
                    Path(path),
                    pieces=Path(path).parent if pieces is None else Path(pieces),
                    piece_file=self.state.inputs.piece_file,
                )
            except FitkitError as problem:
                return self.say(f"The session was not opened: {problem}")
            state = self._change(saved.inputs)
            return self.say(same_figures(state, saved))


def report_written(assessment: Assessment, folder: Path, tell: Tell) -> str:
    """Write a report over an older one; gives words on where it is."""
    from fitkit.sheets.report import write_report  # drawing loads only when asked for

    report = write_report(assessment, folder, overwrite=True, tell=tell)
    return f"Wrote the report: open {folder}/{report.page.name}."


def _question(state: SessionState) -> tuple[object, ...]:
    """What a solver's answer depends on."""
    return (state.wearer, state.piece, state.brief)
