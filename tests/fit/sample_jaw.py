"""Helper: the report of the otter's jaw on one of the sample wearers, worked out once."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from types import SimpleNamespace

from fitkit.fit.jaw_report import JawReport, jaw_report
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record

SAMPLES = Path(__file__).parents[2] / "sample_heads"


@cache
def placed_otter() -> SimpleNamespace:
    """Wearer, piece and placement, as an assessment holds them."""
    return SimpleNamespace(
        wearer=wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json")),
        piece=finish(read_design(SAMPLES / "pieces" / "otter.3mf")),
        placement=Placement(),
    )


@cache
def otter_report() -> JawReport:
    placed = placed_otter()
    return jaw_report(placed.wearer, placed.piece, placed.placement)
