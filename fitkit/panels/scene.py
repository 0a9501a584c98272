"""The meshes of a session as the browser wants them: sent once, cut and drawn there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.mesh import IntArray, Mesh
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer

#: What a body does when a slider moves: stays with the head, or goes with the piece, or
#: with its jaw.
Moves = Literal["head", "piece", "jaw"]
#: What a body is drawn as.
Role = Literal["head", "hair", "wall", "inner"]
#: Hair thinner than this everywhere is not drawn. [mm]
HAIR_SEEN_MM = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """One mesh to draw."""

    name: str
    role: Role
    moves: Moves
    mesh: Mesh
    #: Shift of each vertex that does not grow with the size, shape (n, 3); None for
    #: none. [mm]
    lift_mm: NDArray[np.float64] | None = None


def head_bodies(wearer: Wearer) -> Iterator[Body]:
    """Give the bare head, and the hair on it where there is any."""
    yield Body(name="head", role="head", moves="head", mesh=wearer.head)
    if float(wearer.hair_mm.max(initial=0.0)) >= HAIR_SEEN_MM:
        lift = wearer.head.vertex_normals * wearer.hair_mm[:, None]
        yield Body(name="hair", role="hair", moves="head", mesh=wearer.head, lift_mm=lift)


def piece_bodies(piece: Piece) -> Iterator[Body]:
    """
    Give the drawn parts of a piece, and its finished inner wall.

    Notes
    -----
    The finished wall is the facing surface moved along its vertex normals by the
    lining: at the true distance on smooth places, nearer in creases. It is for the eye;
    the ease is measured at the true distance.
    """
    jaw_part = piece.design.notes.jaw_part
    for name, mesh in piece.design.parts.items():
        moves: Moves = "jaw" if name == jaw_part and piece.hinge else "piece"
        yield Body(name=name, role="wall", moves=moves, mesh=mesh)
    if piece.lining_mm == 0:
        return
    jaw = piece.jaw_faces if piece.hinge else np.zeros(len(piece.facing.faces), dtype=bool)
    lift = -piece.lining_mm * piece.facing.vertex_normals
    for moves, rows in (("piece", ~jaw), ("jaw", jaw)):
        if rows.any():
            kept, faces = np.unique(piece.facing.faces[rows], return_inverse=True)
            mesh = Mesh(piece.facing.vertices[kept], faces.reshape(-1, 3))
            yield Body(
                name="inner", role="inner", moves=moves, mesh=mesh, lift_mm=lift[kept]
            )


def scene_message(wearer: Wearer | None, piece: Piece | None) -> dict[str, Any]:
    """
    Give all meshes as one message for the browser.

    Returns
    -------
    dict
        ``bodies``: each with float32 ``points`` (n, 3) and ``lift`` (n, 3) or None, in
        mm, and uint32 ``faces`` (m, 3), as bytes; faces near each other stand near each
        other. ``zone``: int8 index of each head vertex, -1 neck. ``hinge``: two ends, or
        None. ``marks``: named points of the head. ``box``: corners around head, (2, 3).
    """
    bodies: list[Body] = []
    message: dict[str, Any] = {"zone": b"", "hinge": None, "marks": {}, "box": None}
    if wearer is not None:
        bodies += head_bodies(wearer)
        message["zone"] = wearer.zone.astype(np.int8).tobytes()
        message["marks"] = _marks(wearer)
        message["box"] = _ease_box(wearer)
    if piece is not None:
        bodies += piece_bodies(piece)
        if piece.hinge is not None:
            ends = (piece.hinge.left_mm, piece.hinge.right_mm)
            message["hinge"] = [end.tolist() for end in ends]
    message["bodies"] = [_body_message(body) for body in bodies]
    return message


def _marks(wearer: Wearer) -> dict[str, list[float]]:
    marks = {
        "left pupil": wearer.eye_left.entrance_pupil,
        "right pupil": wearer.eye_right.entrance_pupil,
        "chin pole": wearer.chin_pole,
    }
    return {name: point.tolist() for name, point in marks.items()}


def _ease_box(wearer: Wearer) -> list[list[float]]:
    """Box around the part of the head where ease is asked."""
    points = wearer.head.vertices[wearer.zone >= 0]
    return [points.min(axis=0).tolist(), points.max(axis=0).tolist()]


def _body_message(body: Body) -> dict[str, Any]:
    order = near_order(body.mesh)
    lift = None if body.lift_mm is None else body.lift_mm.astype("<f4").tobytes()
    return {
        "name": body.name,
        "role": body.role,
        "moves": body.moves,
        "points": body.mesh.vertices.astype("<f4").tobytes(),
        "faces": body.mesh.faces[order].astype("<u4").tobytes(),
        "lift": lift,
    }


def near_order(mesh: Mesh) -> IntArray:
    """
    Order faces so that those near each other in space follow each other, shape (m,).

    Notes
    -----
    The order of Morton's curve through a grid of 1024 cells a side: G. M. Morton, "A
    computer oriented geodetic data base and a new technique in file sequencing", IBM
    (1966). The browser skips a whole run of faces when the cutting plane misses it.
    """
    low, extent = mesh.bounds_mm[0], max(float(mesh.size_mm.max()), 1e-9)
    cells = ((mesh.centroids - low) / extent * 1023).astype(np.uint64)
    code = np.zeros(len(cells), dtype=np.uint64)
    for axis in range(3):
        code |= _spread_bits(cells[:, axis]) << np.uint64(axis)
    return np.argsort(code, kind="stable")


def _spread_bits(values: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Put two zero bits before each of the ten bits of a number."""
    for shift, mask in ((16, 0x30000FF), (8, 0x300F00F), (4, 0x30C30C3), (2, 0x9249249)):
        values = (values | (values << np.uint64(shift))) & np.uint64(mask)
    return values
