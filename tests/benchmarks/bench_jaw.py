"""Jaw: the swept gap beside the solid kernel's own, the head, the hinge, the report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
from manifold3d import Manifold, Mesh64

from fitkit.fit.jaw_clash import mouth_points, shell_gaps
from fitkit.fit.jaw_head import head_gaps
from fitkit.fit.jaw_hinge import solve_hinge
from fitkit.fit.jaw_parts import HungJaw, hang
from fitkit.fit.jaw_report import jaw_report
from fitkit.fit.jaw_travel import chin_contacts, follow_chin
from fitkit.fit.placement import Placement
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.jaw import chin_motion
from fitkit.wearer.jaw_mesh import OpeningHead
from fitkit.wearer.record_files import read_record
from tests.benchmarks.timing import Row, best_of

SAMPLES = Path(__file__).parents[2] / "sample_heads"
#: Longest edge of the shell that is swept: brings the otter's to 100,000 faces. [mm]
EDGE_MM = 5.0
#: No gap is looked for beyond this by the solid kernel. [mm]
REACH_MM = 6.0


def rows() -> Iterator[Row]:
    """All rows, the quick ones first."""
    wearer = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))
    piece = finish(read_design(SAMPLES / "pieces" / "otter.3mf"))
    for each in (piece, _finer(piece)):
        yield _swept(hang(each, Placement()))
    hung = hang(piece, Placement())
    motion, contacts = chin_motion(wearer), chin_contacts(wearer, hung)
    head = OpeningHead(wearer, motion)
    travel = follow_chin(motion, hung, contacts, mouth_mm=mouth_points(hung))
    what = f"least gap to the opening head, {len(travel.chin_deg)} openings"
    yield Row(what, best_of(lambda: head_gaps(head, hung, travel), times=3))
    yield Row("best hinge", best_of(lambda: solve_hinge(motion, hung, contacts), times=3))
    yield Row(
        "whole report, trees kept",
        best_of(lambda: jaw_report(wearer, piece, Placement()), times=3),
    )


def _finer(piece: Piece) -> Piece:
    """The same piece with more faces to its shell."""
    parts = dict(piece.design.parts)
    fine = _solid(parts["shell"]).refine_to_length(EDGE_MM).to_mesh64()
    parts["shell"] = Mesh(fine.vert_properties[:, :3], fine.tri_verts.astype(np.int64))
    return replace(piece, design=replace(piece.design, parts=MappingProxyType(parts)))


def _swept(hung: HungJaw) -> Row:
    """Travel at a degree, trees kept, beside the solid kernel's least gap at each pose."""
    turns = hung.turns_deg
    parts = hung.piece.design.parts
    jaw, shell = _solid(parts["jaw"]), _solid(parts["shell"])
    matrices = hung.swing_sized.matrix(turns)

    def by_solids() -> None:
        for matrix in matrices:
            jaw.transform(matrix[:3]).min_gap(shell, REACH_MM)

    ours = best_of(lambda: shell_gaps(hung, turns), times=5)
    theirs = best_of(by_solids, times=1)
    faces = len(parts["shell"].faces) // 1000
    what = f"jaw travel at 1 deg, exact gaps, shell of {faces}k faces"
    return Row(what, ours, "manifold3d min_gap at each degree", theirs)


def _solid(mesh: Mesh) -> Manifold:
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64)))
