"""A trial fitting: the list of gaps to read, and one update of the wearer."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fitkit.fit.placement import Placement
from fitkit.fit.trial import learn_from_trial, trial_points
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from tests.benchmarks.timing import Row, best_of

SAMPLES = Path(__file__).parents[2] / "sample_heads"


def rows() -> Iterator[Row]:
    """Points to read, then what 30 gaps teach, each 1.5 mm more than foretold."""
    wearer = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))
    piece = finish(read_design(SAMPLES / "pieces" / "otter.3mf"))
    placement = Placement(size=1.004, shift_mm=(-0.9, -1.1, -1.4), pitch_deg=-2.4)
    points = trial_points(wearer, piece, placement)
    gaps = {point.key: point.ease_mm + 1.5 for point in points}
    yield Row(
        f"otter: choose {len(points)} gaps to read",
        best_of(lambda: trial_points(wearer, piece, placement)),
    )
    yield Row(
        f"otter: learn from {len(points)} gaps (goal 1000 ms)",
        best_of(lambda: learn_from_trial(wearer, piece, placement, gaps)),
    )
