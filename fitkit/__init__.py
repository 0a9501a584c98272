"""
Fit wearable headpieces to the person who will wear them.

The way through: a record becomes a wearer, a design becomes a piece, a brief says
what is asked, the solver finds size and place, and an assessment answers.

>>> import fitkit
>>> record = fitkit.make_record(sex="female", head_circumference_mm=561.0)
>>> wearer = fitkit.wearer_from_record(record)
>>> round(wearer.measures_mm["head_circumference_mm"])
561

Lengths are in mm, angles in degrees; axes are right, front, up from the middle of the
tragia. It sizes costumes; it is not protective equipment and certifies nothing.
"""

from typing import TYPE_CHECKING, Any

from fitkit.assess import Assessment
from fitkit.assess import assess as assess_placement
from fitkit.assess import fit as fit_piece
from fitkit.errors import FitkitError
from fitkit.fit.brief import Brief, Ease
from fitkit.fit.cut import smallest_cut, with_cut
from fitkit.fit.ease import EaseMap, ease
from fitkit.fit.field import field_of_view
from fitkit.fit.glare import Lamp, glare
from fitkit.fit.lens import Lens, Perforated
from fitkit.fit.placement import Placement
from fitkit.fit.sight_report import SightReport, sight_report
from fitkit.fit.sight_words import sight_words
from fitkit.fit.size import SizeAnswer, most_ease, solve_size
from fitkit.fit.slit import best_slits
from fitkit.fit.wanted import wanted_en166, wanted_limits
from fitkit.piece.buildup import (
    BuildUp,
    Layer,
    Piece,
    finish,
    finished_inner,
    finished_outer,
)
from fitkit.piece.design import Design, read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import Glasses, Record, make_record
from fitkit.wearer.record_files import read_record, write_record
from fitkit.wearer.record_table import read_records_csv, write_records_csv
from fitkit.wearer.scan import wearer_from_scan
from fitkit.wearer.scan_accuracy import RoundTrip, scan_round_trip
from fitkit.wearer.scan_files import Scan, read_scan
from fitkit.wearer.scan_landmarks import ProposedLandmarks, propose_landmarks
from fitkit.wearer.slips import check_record
from fitkit.wearer.survey import complete, population
from fitkit.wearer.wearer import Eye, Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.sheets.report import write_report

__all__ = [
    "CATALOGUE",
    "ZONES",
    "Assessment",
    "Brief",
    "BuildUp",
    "Design",
    "Ease",
    "EaseMap",
    "Eye",
    "FitkitError",
    "Glasses",
    "Lamp",
    "Layer",
    "Lens",
    "Perforated",
    "Piece",
    "Placement",
    "ProposedLandmarks",
    "Record",
    "RoundTrip",
    "Scan",
    "SightReport",
    "SizeAnswer",
    "Wearer",
    "assess_placement",
    "best_slits",
    "check_record",
    "complete",
    "ease",
    "field_of_view",
    "finish",
    "finished_inner",
    "finished_outer",
    "fit_piece",
    "glare",
    "make_record",
    "most_ease",
    "population",
    "propose_landmarks",
    "read_design",
    "read_record",
    "read_records_csv",
    "read_scan",
    "scan_round_trip",
    "sight_report",
    "sight_words",
    "smallest_cut",
    "solve_size",
    "wanted_en166",
    "wanted_limits",
    "wearer_from_record",
    "wearer_from_scan",
    "with_cut",
    "write_record",
    "write_records_csv",
    "write_report",
]


def __getattr__(name: str) -> Any:
    """Load the report, and matplotlib with it, only when it is asked for."""
    if name != "write_report":
        raise AttributeError(f"module 'fitkit' has no attribute {name!r}")
    from fitkit.sheets.report import write_report

    return write_report
