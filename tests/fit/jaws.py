"""Helper: pieces with a jaw, of simple shape, so that answers are known in closed form."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from manifold3d import Manifold, Mesh64

from fitkit.fit.jaw_parts import make_fittings
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.jaw import ChinMotion
from fitkit.wearer.swing import hinge


class JawPiece(SimpleNamespace):
    """Stand-in for a piece, that can be kept by identity."""

    __hash__ = object.__hash__
    __eq__ = object.__eq__


def mesh_of(solid: Manifold) -> Mesh:
    raw = solid.to_mesh64()
    return Mesh(raw.vert_properties[:, :3], raw.tri_verts.astype(np.int64))


def manifold_of(mesh: Mesh) -> Manifold:
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64)))


def box(low, high) -> Manifold:
    low, high = np.asarray(low, float), np.asarray(high, float)
    return Manifold.cube((high - low).tolist()).translate(low.tolist())


#: Plain jaw: a block under a shell block, hinged behind; 2 mm of gap when closed.
JAW = box((-40, 20, -60), (40, 110, -42))
SHELL = box((-60, -20, -40), (60, 120, 40))


def jaw_piece(
    *, jaw=JAW, shell=SHELL, hinge_at=(0.0, -30.0), stops=(0.0, 25.0), lining_mm=0.0,
    growth_mm=0.0, fittings=None, half=60.0, tilt=0.0, jaw_part="jaw",
) -> JawPiece:  # fmt: skip
    """Piece of two solids whose hinge runs across at front, up."""
    parts = {"shell": mesh_of(shell), "jaw": mesh_of(jaw)}
    facing = parts["jaw"].submesh(parts["jaw"].normals[:, 2] > 0.5)
    left = np.array([-half, *hinge_at], float)
    right = np.array([half, hinge_at[0], hinge_at[1] + 2 * half * np.tan(np.radians(tilt))])
    notes = SimpleNamespace(
        jaw_part=jaw_part, model_extra={"jaw_fittings": fittings} if fittings else {}
    )
    return JawPiece(
        name="stand-in",
        design=SimpleNamespace(parts=parts, notes=notes, surface="solid"),
        build_up=SimpleNamespace(wall_mm=3.0),
        facing=facing,
        skin=parts["shell"],
        lining_mm=lining_mm,
        growth_mm=growth_mm,
        openings=(),
        jaw_faces=np.ones(len(facing.faces), bool),
        tree=SurfaceTree(facing),
        hinge=SimpleNamespace(
            left_mm=left, right_mm=right, close_stop_deg=stops[0], open_stop_deg=stops[1]
        ),
    )


def chin_about(pole, *, full_deg=30.0, teeth=(0.0, 95.0, -50.0), menton=(0.0, 80.0, -90.0)):
    """Chin that turns about one fixed pole, front and up."""
    swing = hinge(at_mm=(0.0, *pole), full_deg=full_deg)
    teeth, menton = np.array(teeth), np.array(menton)
    return ChinMotion(
        swing=swing, condyle_mm=swing.centre_mm, teeth_mm=teeth, menton_mm=menton,
        pole_mm=swing.centre_mm, pole_sd_mm=(0.0, 0.0),
        opening_mm=float(np.linalg.norm(swing.moved(teeth, full_deg) - teeth)),
        chin_drop_mm=float(menton[2] - swing.moved(menton, full_deg)[2]),
        given=frozenset(),
    )  # fmt: skip


def strap(**changes):
    plain = {"name": "left", "jaw_mm": (-40, 40, -50), "shell_mm": (-40, 20, 30),
             "stiffness_n_per_mm": 0.2, "free_mm": 60}  # fmt: skip
    return {**plain, **changes}


def fittings(**raw):
    return make_fittings(raw)
