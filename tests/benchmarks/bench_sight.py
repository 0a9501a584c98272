"""Sight: fields against the bare ray tracer, the live map, the cut and the slit."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import cycle
from pathlib import Path

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene

from fitkit.fit._directions import direction_grid
from fitkit.fit._shell import Shell, eye_of
from fitkit.fit.cut import smallest_cut
from fitkit.fit.field import field_of_view
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import eye_pupil
from fitkit.fit.sight import SIDES
from fitkit.fit.sight_report import sight_report
from fitkit.fit.slit import best_slits
from fitkit.fit.wanted import wanted_limits
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from fitkit.wearer.wearer import Wearer
from tests.benchmarks.timing import Row, best_of

SAMPLES = Path(__file__).parents[2] / "sample_heads"


def rows() -> Iterator[Row]:
    """All rows, the quick ones first."""
    wearer = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))
    piece = finish(read_design(SAMPLES / "pieces" / "heron.stl"))
    yield from _fields(wearer, piece)
    yield from _slider(wearer, piece)
    yield from _answers(wearer, piece)


def _fields(wearer: Wearer, piece: Piece) -> Iterator[Row]:
    """Both eyes on a shell of 100k faces, beside as many bare rays."""
    placement = Placement()
    mesh = Shell(piece, placement).wall.whole.mesh
    faces = f"{len(mesh.faces) // 1000}k faces"
    for step, samples, refine in ((0.5, 19, 1), (1.0, 1, 1)):
        bare = best_of(lambda m=mesh, s=step, n=samples: _bare(wearer, m, s, n), times=3)
        ours = best_of(
            lambda s=step, n=samples, r=refine: field_of_view(
                wearer, piece, placement, step_deg=s, samples=n, refine=r
            ),
            times=3,
        )
        what = f"both eyes, {step:g} deg, {samples} pupil points, {faces}"
        yield Row(what, ours, "bare embreex, all directions", bare)


def _bare(wearer: Wearer, mesh: Mesh, step_deg: float, samples: int) -> None:
    """Cast a ray along every direction of the grid from every point of both pupils."""
    scene = _kept_scene(mesh)
    ways = direction_grid(step_deg).directions.astype(np.float32)
    for side in SIDES:
        eye = eye_of(wearer, side)
        pupil = eye_pupil(eye, side=side, diameter_mm=4, samples=samples)
        for point in pupil.points.astype(np.float32):
            starts = np.ascontiguousarray(np.broadcast_to(point, ways.shape))
            scene.run(starts, ways, query="OCCLUDED")


_SCENES: dict[int, EmbreeScene] = {}


def _kept_scene(mesh: Mesh) -> EmbreeScene:
    if id(mesh) not in _SCENES:
        scene = EmbreeScene(robust=True)
        TriangleMesh(scene, mesh.vertices.astype(np.float32), mesh.faces.astype(np.int32))
        scene.run(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32))
        _SCENES[id(mesh)] = scene
    return _SCENES[id(mesh)]


def _slider(wearer: Wearer, piece: Piece) -> Iterator[Row]:
    """The map under a moving slider of size: kept scene, then layers pushed anew."""

    def live(size: float) -> None:
        field_of_view(wearer, piece, Placement(size=size), samples=1, refine=1)

    live(1.0)
    yield Row("size slider, layers within the kept step", best_of(lambda: live(1.005)))
    sizes = cycle((0.86, 0.93, 1.0, 1.07, 1.14, 1.2))  # more than are kept
    yield Row(
        "size slider, layers pushed anew", best_of(lambda: live(next(sizes)), times=5)
    )


def _answers(wearer: Wearer, piece: Piece) -> Iterator[Row]:
    placement = Placement()
    wanted = [
        wanted_limits(side=side, up_deg=12, down_deg=28, nasal_deg=10, temporal_deg=45)
        for side in SIDES
    ]
    yield Row(
        "whole report", best_of(lambda: sight_report(wearer, piece, placement), times=2)
    )
    yield Row(
        "ten best slits", best_of(lambda: best_slits(wearer, piece, placement), times=2)
    )
    yield Row(
        "smallest cut for both eyes",
        best_of(
            lambda: smallest_cut(wearer, piece, placement, wanted=wanted, settle=True),
            times=2,
        ),
    )
