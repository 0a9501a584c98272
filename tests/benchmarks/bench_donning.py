"""Donning: how long the answer takes over the demo pieces and wearers like the survey's."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from fitkit.assess import fit
from fitkit.errors import BriefError
from fitkit.fit.donning import DonningBrief, donning_report
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record import Record, make_record
from fitkit.wearer.survey import SEXES, population
from tests.benchmarks.timing import Row

PIECES = Path(__file__).parents[2] / "sample_heads" / "pieces"
#: Wearers drawn from the survey, for each piece.
WEARERS = 30
#: What is read of each; the rest is completed as for any wearer.
READ = (
    "head_circumference_mm",
    "head_length_mm",
    "head_breadth_mm",
    "menton_sellion_mm",
    "bizygomatic_breadth_mm",
)
#: Hair that they wear, pressed. [mm]
HAIR_MM = (0.0, 4.0, 10.0, 18.0)


@dataclass(frozen=True, kw_only=True)
class Timed:
    """One answer."""

    #: "goes on", "refused", or "seat in clash".
    answer: str
    wall_s: float
    processor_s: float


def rows() -> Iterator[Row]:
    """A row for each piece: the median answer, beside its processor time."""
    for name in ("otter.3mf", "heron.stl", "beetle.glb"):
        piece = finish(read_design(PIECES / name))
        times = [timed(record, piece) for record in drawn_records(WEARERS)]
        counts = {one.answer: 0 for one in times}
        for one in times:
            counts[one.answer] += 1
        told = ", ".join(f"{count} {answer}" for answer, count in sorted(counts.items()))
        yield Row(
            f"{piece.name}: {told}; median",
            median(one.wall_s for one in times),
            "processor time",
            median(one.processor_s for one in times),
        )


def drawn_records(count: int, *, seed: int = 4) -> list[Record]:
    """Draw wearers from the survey's populations, women and men in turn."""
    rng = np.random.default_rng(seed)
    records = []
    for k in range(count):
        people = population(SEXES[k % 2])
        mean, covariance = people.working
        drawn = rng.multivariate_normal(mean, covariance)
        is_log = np.isfinite(people.log_origin_mm)
        grown = people.log_origin_mm + np.exp(np.where(is_log, drawn, 0.0))
        values = np.where(is_log, grown, drawn)
        of = dict(zip(people.keys, values, strict=True))
        readings: dict[str, Any] = {key: round(float(of[key]), 1) for key in READ}
        records.append(
            make_record(
                name=f"{SEXES[k % 2]} {k}",
                sex=SEXES[k % 2],
                hair_mm=float(rng.choice(HAIR_MM)),
                **readings,
            )
        )
    return records


def timed(record: Record, piece: Piece) -> Timed:
    """Time the answer for one wearer in the seat that is solved for."""
    wearer = wearer_from_record(record)
    placement = fit(wearer, piece).placement
    wall, processor = time.perf_counter(), time.process_time()
    try:
        report = donning_report(wearer, piece, placement, brief=DonningBrief())
        answer = "goes on" if report.goes_on else "refused"
    except BriefError:
        answer = "seat in clash"
    return Timed(
        answer=answer,
        wall_s=time.perf_counter() - wall,
        processor_s=time.process_time() - processor,
    )
