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

from importlib import import_module
from typing import TYPE_CHECKING, Any

from fitkit.assess import Assessment
from fitkit.assess import assess as assess_placement
from fitkit.assess import fit as fit_piece
from fitkit.errors import FitkitError
from fitkit.fit.balance_report import balance_report
from fitkit.fit.brief import Brief, Ease
from fitkit.fit.cut import smallest_cut, with_cut
from fitkit.fit.donning import DonningBrief, donning_report
from fitkit.fit.ease import EaseMap, ease
from fitkit.fit.field import field_of_view
from fitkit.fit.fixings import fixing_clearance
from fitkit.fit.foam import foam, foam_from_readings
from fitkit.fit.glare import Lamp, glare
from fitkit.fit.jaw_report import jaw_report
from fitkit.fit.jaw_words import jaw_words
from fitkit.fit.lens import Lens, Perforated
from fitkit.fit.pad_options import PadBrief, compare_options
from fitkit.fit.pad_stock import Stock, make_options
from fitkit.fit.padding_report import padding_report
from fitkit.fit.pads import Pad
from fitkit.fit.parting import donning_seam
from fitkit.fit.placement import Placement
from fitkit.fit.route_ease import route_spread, slip_ease
from fitkit.fit.sight_report import SightReport, sight_report
from fitkit.fit.sight_words import sight_words
from fitkit.fit.size import SizeAnswer, most_ease, solve_size
from fitkit.fit.slit import best_slits
from fitkit.fit.trial import learn_from_trial, trial_points
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
from fitkit.piece.fixings import Fixing, check_fixings, hole_template
from fitkit.piece.lamps import LedChain, led_answer
from fitkit.piece.mass import Materials, weigh
from fitkit.piece.pours import hollow_cast, silicone_blanket
from fitkit.piece.quantities import Shop, quantities
from fitkit.piece.route_files import read_routes, route, route_library, write_routes
from fitkit.piece.route_walls import finish_by_route
from fitkit.piece.routes import Route
from fitkit.piece.seams import split_to_bed
from fitkit.piece.undercuts import best_parting
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
    from fitkit.sheets.workshop import BenchWork, write_sheets

#: What draws, and where it is: loaded, and matplotlib with it, once it is asked for.
_DRAWING = {
    "write_report": "fitkit.sheets.report",
    "write_sheets": "fitkit.sheets.workshop",
    "BenchWork": "fitkit.sheets.workshop",
}

__all__ = [
    "CATALOGUE",
    "ZONES",
    "Assessment",
    "BenchWork",
    "Brief",
    "BuildUp",
    "Design",
    "DonningBrief",
    "Ease",
    "EaseMap",
    "Eye",
    "FitkitError",
    "Fixing",
    "Glasses",
    "Lamp",
    "Layer",
    "LedChain",
    "Lens",
    "Materials",
    "Pad",
    "PadBrief",
    "Perforated",
    "Piece",
    "Placement",
    "ProposedLandmarks",
    "Record",
    "RoundTrip",
    "Route",
    "Scan",
    "Shop",
    "SightReport",
    "SizeAnswer",
    "Stock",
    "Wearer",
    "assess_placement",
    "balance_report",
    "best_parting",
    "best_slits",
    "check_fixings",
    "check_record",
    "compare_options",
    "complete",
    "donning_report",
    "donning_seam",
    "ease",
    "field_of_view",
    "finish",
    "finish_by_route",
    "finished_inner",
    "finished_outer",
    "fit_piece",
    "fixing_clearance",
    "foam",
    "foam_from_readings",
    "glare",
    "hole_template",
    "hollow_cast",
    "jaw_report",
    "jaw_words",
    "learn_from_trial",
    "led_answer",
    "make_options",
    "make_record",
    "most_ease",
    "padding_report",
    "population",
    "propose_landmarks",
    "quantities",
    "read_design",
    "read_record",
    "read_records_csv",
    "read_routes",
    "read_scan",
    "route",
    "route_library",
    "route_spread",
    "scan_round_trip",
    "sight_report",
    "sight_words",
    "silicone_blanket",
    "slip_ease",
    "smallest_cut",
    "solve_size",
    "split_to_bed",
    "trial_points",
    "wanted_en166",
    "wanted_limits",
    "wearer_from_record",
    "wearer_from_scan",
    "weigh",
    "with_cut",
    "write_record",
    "write_records_csv",
    "write_report",
    "write_routes",
    "write_sheets",
]


def __getattr__(name: str) -> Any:
    """Load what draws only when it is asked for."""
    if name not in _DRAWING:
        raise AttributeError(f"module 'fitkit' has no attribute {name!r}")
    return getattr(import_module(_DRAWING[name]), name)
