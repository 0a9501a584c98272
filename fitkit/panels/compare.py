"""Placements put aside, side by side: verdict, figures and a picture of each."""

from __future__ import annotations

from typing import Any

import numpy as np

from fitkit.fit.brief import Brief
from fitkit.fit.placement import Placement
from fitkit.fit.verdict import Verdict, judge
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import section
from fitkit.panels.answer import line_words, zone_title
from fitkit.panels.boxes import PLACING, Typed, box_value, placement_of
from fitkit.panels.message import VERDICTS, place_words
from fitkit.panels.state import Kept, SessionState
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer

#: Most reasons that a card shows.
MOST_REASONS = 3
#: Points of a section nearer to each other than this are drawn as one. [mm]
FINE_MM = 0.8


class Comparison:
    """Answers the placements put aside, each once for a wearer, a piece and a brief."""

    def __init__(self) -> None:
        self._asked: tuple[Wearer | None, Piece | None, Brief] | None = None
        self._cards: dict[tuple[Typed, ...], dict[str, Any]] = {}

    def message(self, state: SessionState) -> dict[str, Any]:
        """
        Give all cards of a comparison.

        Returns
        -------
        dict
            JSON values only: ``cards``, each with its name, verdict, lines of words, and
            SVG path data of ``head`` and ``wall`` cut at the midplane, in mm, front to
            the right.
        """
        asked = (state.wearer, state.piece, state.brief)
        if self._asked != asked:
            self._asked, self._cards = asked, {}
        return {
            "revision": state.revision,
            "ready": state.answer is not None,
            "cards": [self._card(state, kept) for kept in state.inputs.kept],
            "message": state.message,
        }

    def _card(self, state: SessionState, kept: Kept) -> dict[str, Any]:
        placement = _placement(kept)
        if state.wearer is None or state.piece is None or placement is None:
            return {"name": kept.name, **_NO_ANSWER}
        key = tuple(kept.numbers[name] for name in PLACING)
        if key not in self._cards:
            answer = judge(state.wearer, state.piece, placement, state.brief)
            self._cards[key] = _answered(state.wearer, state.piece, placement, answer)
        return {"name": kept.name, **self._cards[key]}


_NO_ANSWER: dict[str, Any] = {
    "verdict": "No answer",
    "fits": False,
    "lines": [],
    "head": "",
    "wall": "",
}


def _placement(kept: Kept) -> Placement | None:
    """Give the placement put aside; None where one of its boxes was wrong."""
    values = {name: box_value(name, kept.numbers[name])[0] for name in PLACING}
    good = {name: value for name, value in values.items() if value is not None}
    return placement_of(good) if len(good) == len(values) else None


def _answered(
    wearer: Wearer, piece: Piece, placement: Placement, answer: Verdict
) -> dict[str, Any]:
    return {
        "verdict": VERDICTS[answer.verdict],
        "fits": answer.verdict == "fits",
        "lines": _lines(placement, answer),
        "head": _midplane(wearer.head),
        "wall": "".join(
            _midplane(mesh.moved(placement.matrix)) for mesh in piece.design.parts.values()
        ),
    }


def _lines(placement: Placement, answer: Verdict) -> list[str]:
    tight = answer.ease.tightest
    more = len(answer.reasons) - MOST_REASONS
    sight = [
        f"{side.capitalize()} eye: {line_words(eye.margin_mm)}."
        for side, eye in answer.sight.items()
        if eye.opening is not None
    ]
    return [
        place_words(placement),
        *answer.reasons[:MOST_REASONS],
        *([f"And {more} more."] if more > 0 else []),
        f"Tightest: {zone_title(tight.zone).lower()}, {tight.least_mm:.1f} mm "
        f"({round(tight.spare_mm, 1) + 0.0:+.1f} to spare).",
        *sight,
    ]


def _midplane(mesh: Mesh) -> str:
    """SVG path data of a mesh cut at the wearer's midplane, front to the right. [mm]."""
    lines = section(mesh, point_mm=(0, 0, 0), normal=(1, 0, 0))
    return "".join(_path(np.column_stack([line[:, 1], -line[:, 2]])) for line in lines)


def _path(line: np.ndarray[Any, np.dtype[np.float64]]) -> str:
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    kept = np.unique(np.searchsorted(along, np.arange(0, along[-1] + FINE_MM, FINE_MM)))
    kept = kept[kept < len(line)]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line[kept]) + "Z"
