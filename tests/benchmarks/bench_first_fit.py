"""First fit: ease, head generation, solve, and re-assessment after a size change."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import igl
import numpy as np
import trimesh

from fitkit.assess import assess as assess_placement
from fitkit.fit.ease import ease
from fitkit.fit.placement import Placement
from fitkit.fit.size import solve_size
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from fitkit.wearer.wearer import Wearer
from tests.benchmarks.timing import Row, best_of

SAMPLES = Path(__file__).parents[2] / "sample_heads"
POINTS = 20_000


def rows() -> Iterator[Row]:
    """All rows, the quick ones first."""
    wearer = wearer_from_record(read_record(SAMPLES / "wearers" / "tamsin.json"))
    pieces = {name: finish(read_design(SAMPLES / "pieces" / name))
              for name in ("otter.3mf", "heron.stl", "beetle.glb")}  # fmt: skip
    yield from _distances()
    yield from _heads()
    for name, piece in pieces.items():
        yield from _answers(name, wearer, piece)


def _distances() -> Iterator[Row]:
    """Distances of 20k points, beside the bare kept tree and the obvious public route."""
    for halvings, name in ((6, "82k"), (7, "328k")):
        ball = trimesh.creation.icosphere(halvings, 120.0)
        mesh = Mesh(np.asarray(ball.vertices), np.asarray(ball.faces))
        rng = np.random.default_rng(5)
        points = rng.normal(size=(POINTS, 3))
        points *= (
            rng.uniform(70, 118, (POINTS, 1)) / np.linalg.norm(points, axis=1)[:, None]
        )
        tree, bare = SurfaceTree(mesh), igl.AABB()
        bare.init(np.array(mesh.vertices), np.array(mesh.faces))
        vertices, faces = np.array(mesh.vertices), np.array(mesh.faces)
        ours = best_of(lambda t=tree, p=points: t.nearest(p))
        theirs = best_of(lambda b=bare, v=vertices, f=faces, p=points:
                         b.squared_distance(v, f, p))  # fmt: skip
        what = f"nearest of {POINTS} points on {name} faces"
        yield Row(what, ours, "the bare kept tree", theirs)
        few = points[:: POINTS // 500]
        ours = best_of(lambda t=tree, p=few: t.signed_mm(p), times=3)
        public = trimesh.proximity.ProximityQuery(ball)
        theirs = best_of(lambda q=public, p=few: q.signed_distance(p), times=1)
        yield Row(f"signed distance of 500 points on {name} faces", ours,
                  "trimesh proximity", theirs)  # fmt: skip


def _heads() -> Iterator[Row]:
    """A head from a record, beside reading its measures once."""
    for name in ("tamsin", "odile"):
        record = read_record(SAMPLES / "wearers" / f"{name}.json")
        yield Row(f"head of {name}", best_of(lambda r=record: wearer_from_record(r)))


def _answers(name: str, wearer: Wearer, piece: Piece) -> Iterator[Row]:
    """Solve and re-assess, beside one exact ease of every head vertex."""
    drawn = Placement()
    one = best_of(lambda: ease(wearer, piece, drawn))
    faces = len(piece.facing.faces)
    yield Row(f"{name}: ease of {len(wearer.zone)} points on {faces} facing faces", one)
    larger = Placement(size=np.full(3, 1.03))
    yield Row(f"{name}: re-assessment after a size change",
              best_of(lambda: assess_placement(wearer, piece, larger), times=3),
              "one ease", one)  # fmt: skip
    solve = best_of(lambda: solve_size(wearer, piece), times=2)
    yield Row(f"{name}: solve", solve, "one ease", one)
