"""Build-up: the wall of the samples by their routes, undercuts, a split to a bed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fitkit.geometry.offsets import offset_surface
from fitkit.piece.design import read_design
from fitkit.piece.quantities import quantities
from fitkit.piece.route_files import route
from fitkit.piece.route_walls import finish_by_route, route_walls
from fitkit.piece.seams import Keys, split_to_bed
from fitkit.piece.undercuts import best_parting
from tests.benchmarks.timing import Row, best_of

PIECES = Path(__file__).parents[2] / "sample_heads" / "pieces"
PRINT, CAST = (
    "direct print, filled and painted",
    "card master, silicone mould, hollow cast",
)
#: Grid of the finished surfaces. [mm]
STEP_MM = 6.0


def rows() -> Iterator[Row]:
    """All rows, the quick ones first."""
    otter = finish_by_route(read_design(PIECES / "otter.3mf"), route=route(PRINT))
    heron = finish_by_route(read_design(PIECES / "heron.stl"), route=route(CAST))
    skin, facing, shell = otter.skin, otter.facing, otter.design.parts["shell"]
    works = {
        "otter: quantities of its route": lambda: quantities(
            outside=skin, inside=facing, route=route(PRINT)
        ),
        "otter: best parting of its outside": lambda: best_parting(
            skin, pull=(0, 1, 0), tolerance_mm=3
        ),
        "otter: shell split to a bed of 220 mm, six keys a seam": lambda: split_to_bed(
            shell, bed_mm=(220, 220, 240), keys=Keys()
        ),
    }
    for what, work in works.items():
        yield Row(what, best_of(work, times=1))
    for name, piece, made in (("otter", otter, PRINT), ("heron", heron, CAST)):
        yield Row(
            f"{name}: wall everywhere and what fills",
            best_of(lambda p=piece, m=made: route_walls(
                p, route=route(m), resolution_mm=STEP_MM), times=1),
            "its offset alone",
            best_of(lambda p=piece: offset_surface(
                p.facing, distance_mm=-p.lining_mm, resolution_mm=STEP_MM), times=1),
        )  # fmt: skip
