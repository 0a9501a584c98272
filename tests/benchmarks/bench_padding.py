"""Padding: one settling on 5,000 contacts, a padded piece, a sweep of pad sets."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from fitkit.fit._contact import Contacts, Pose, Walls
from fitkit.fit._settle import Load, settle
from fitkit.fit.foam import foam, library
from fitkit.fit.pad_options import COMPARED, compare_options
from fitkit.fit.pad_stock import LAYOUTS, Stock, make_options
from fitkit.fit.padding import pad_out
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.piece.mass import Materials, weigh
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from tests.benchmarks.timing import Row, best_of

SAMPLES = Path(__file__).parents[2] / "sample_heads"
CONTACTS = 5_000


def rows() -> Iterator[Row]:
    """All rows, the quick ones first."""
    yield Row(
        f"one rest of a cap on {CONTACTS} contacts (goal 50 ms)", best_of(_rest_of_cap())
    )
    yield from _otter()


def _rest_of_cap():
    """A cap of foam on a ball of 90 mm: everything touches."""
    place = np.arange(CONTACTS)
    up = 1 - 0.75 * (place + 0.5) / CONTACTS
    turn = place * np.pi * (3 - np.sqrt(5))
    out = np.sqrt(1 - up**2)
    way = np.column_stack([out * np.cos(turn), out * np.sin(turn), up])
    area = np.full(CONTACTS, 2 * np.pi * 90**2 * 0.75 / CONTACTS)
    thick = np.full(CONTACTS, 20.0)
    contacts = Contacts(90 * way, area, thick, thick, np.zeros(CONTACTS, int),
                        (foam("hr 40"),), np.full(CONTACTS, 0.32))  # fmt: skip
    walls = Walls(108 * way, -way, np.zeros(CONTACTS))
    load = Load(np.array([0, 0, -15.0]), np.zeros(3), np.array([5.0, 20.0, 40.0]))
    pose = Pose(np.eye(3), np.zeros(3), np.zeros(3))
    return lambda: settle(contacts, load, pose, lambda _: walls)


def _otter() -> Iterator[Row]:
    wearer = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))
    piece = finish(read_design(SAMPLES / "pieces" / "otter.3mf"))
    placement = Placement(size=1.004, shift_mm=(-0.9, -1.1, -1.4), pitch_deg=-2.4)
    weighing = weigh(piece, materials=Materials(wall_g_cm3=0.4), size=placement.size)
    stock = [Stock(foam=one, sheets_mm=(6, 10, 15)) for one in library().values()]
    options = make_options(
        wearer, piece, placement, stock=stock, squeezes=np.linspace(0.05, 0.5, 8).tolist()
    )[:200]
    pads = make_options(
        wearer, piece, placement, stock=[Stock(foam=foam("hr 40"), sheets_mm=(6, 10, 15))],
        layouts={"ring and crown": LAYOUTS["ring and crown"]}, squeezes=[0.2],
    )[0].pads  # fmt: skip
    yield Row("otter: five pads in three cases, exact", best_of(
        lambda: pad_out(wearer, piece, placement, pads=pads, weighing=weighing,
                        cases=COMPARED), times=3))  # fmt: skip
    sweeps = [
        best_of(lambda n=n: compare_options(wearer, piece, placement, options=options,
                weighing=weighing, threads=n), times=1)
        for n in (2, 1)
    ]  # fmt: skip
    yield Row(f"otter: {len(options)} pad sets on 2 cores", sweeps[0],
              "on one core", sweeps[1])  # fmt: skip
