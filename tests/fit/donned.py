"""Helper: the heron on its wearer, and the way it goes on, worked out once."""

from functools import cache
from pathlib import Path

from fitkit.fit.donning import donning_report
from fitkit.fit.size import solve_size
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record

SAMPLES = Path(__file__).parents[2] / "sample_heads"
WEARER = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))


@cache
def heron():
    return finish(read_design(SAMPLES / "pieces" / "heron.stl"))


@cache
def seat():
    return solve_size(WEARER, heron()).placement


@cache
def report():
    return donning_report(WEARER, heron(), seat())
