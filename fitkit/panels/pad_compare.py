"""The comparison of pad sets on a session: worked out one by one, gone when it moves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fitkit.fit.foam import library
from fitkit.fit.pad_stock import LAYOUTS
from fitkit.fit.verdict import Verdict
from fitkit.panels.controller import SessionController
from fitkit.panels.pads import CAPTION, PadCard, pad_card
from fitkit.panels.questions import NO_FIT
from fitkit.panels.state import PadChoice, SessionState
from fitkit.panels.worker import Tell, Work, Worker


class PadComparison:
    """
    The pad sets put aside, each settled on the present placement when asked.

    What was worked out stays while wearer, piece, brief and placement stay.

    Parameters
    ----------
    session : SessionController
    """

    def __init__(self, session: SessionController) -> None:
        self.session = session
        self._watchers: list[Callable[[Work[None]], None]] = []
        self._about: Verdict | None = session.state.answer
        self._cards: dict[PadChoice, PadCard] = {}
        self._worker: Worker[None] = Worker(self._tell)
        session.watch(self._moved)

    @property
    def work(self) -> Work[None]:
        """How it stands with the comparison."""
        return self._worker.work

    @property
    def cards(self) -> dict[PadChoice, PadCard]:
        """What is worked out so far, by choice."""
        return dict(self._cards)

    def watch(self, watcher: Callable[[Work[None]], None]) -> None:
        """Have every new ``Work`` handed to ``watcher``, often from another thread."""
        self._watchers.append(watcher)

    def compare(self) -> str:
        """Work out every set that is not yet; gives what stands in the way, if anything."""
        state = self.session.state
        wearer, piece, placement = state.wearer, state.piece, state.placement
        if state.answer is None or wearer is None or piece is None or placement is None:
            return NO_FIT
        cards, choices = self._cards, state.inputs.pads
        missing = [choice for choice in choices if choice not in cards]

        def work(tell: Tell) -> None:
            for place, choice in enumerate(missing, start=1):
                tell(f"Set {place} of {len(missing)}: {choice.name}.")
                cards[choice] = pad_card(wearer, piece, placement, choice)

        self._worker.start(work)
        return ""

    def stop(self) -> None:
        """Let go what is still to be worked out."""
        self._worker.let_go()

    def wait(self, timeout_s: float | None = None) -> dict[PadChoice, PadCard]:
        """Wait for the comparison: for those who write code."""
        self._worker.wait(timeout_s)
        return self.cards

    def _moved(self, state: SessionState) -> None:
        if state.answer is not self._about:
            self._about, self._cards = state.answer, {}
            self._worker.let_go()

    def _tell(self, work: Work[None]) -> None:
        for watcher in tuple(self._watchers):
            watcher(work)


def pad_fields() -> dict[str, Any]:
    """Give what the browser offers to choose from, and where its boxes start."""
    return {
        "foams": {name: f"{name}: {one.material}" for name, one in library().items()},
        "layouts": list(LAYOUTS),
        "start": {"squeeze_percent": "20", "sheets_mm": "6 10 15", "wall_g_cm3": "0.4"},
        "caption": CAPTION,
    }


def cards_message(state: SessionState, cards: dict[PadChoice, PadCard]) -> dict[str, Any]:
    """Give every set put aside, with what is worked out of it; bytes for pictures."""
    return {"cards": [_card(one, cards.get(one)) for one in state.inputs.pads]}


def _card(choice: PadChoice, card: PadCard | None) -> dict[str, Any]:
    return {
        "name": choice.name,
        "asked": (
            f"{choice.foam}, {choice.layout}, pressed by {choice.squeeze_percent:g} %, "
            f"wall {choice.wall_g_cm3:g} g/cm³"
        ),
        "verdict": card.verdict if card else "Not compared yet",
        "good": card is not None and card.good,
        "known": card is not None,
        "figures": [list(pair) for pair in card.figures] if card else [],
        "cautions": list(card.cautions) if card else [],
        "picture": card.picture if card else b"",
    }
