"""What a drawing of a jaw shows: the midplane with the mouth shut and open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import section
from fitkit.wearer.jaw_mesh import OpeningHead

if TYPE_CHECKING:
    from fitkit.fit.jaw_report import JawReport
    from fitkit.wearer.wearer import Wearer

FloatArray = NDArray[np.float64]
Lines = tuple[FloatArray, ...]

#: Columns drawn: front to the right of the page, up to its top.
DRAWN = [1, 2]


@dataclass(frozen=True, kw_only=True, eq=False)
class JawView:
    """The midplane of a wearer in a piece with a jaw; all lines (k, 2): front, up. [mm]."""

    head_shut: Lines
    head_open: Lines
    shell: Lines
    jaw_shut: Lines
    jaw_open: Lines
    #: Way of the edge of the lower front teeth and of the menton, by name.
    paths: Mapping[str, FloatArray]
    #: Points by name: chin's pole, drawn hinge, best hinge if it was asked for.
    marks: Mapping[str, FloatArray]
    #: Opening of the mouth, of the jaw, and of the piece's mouth, as drawn open.
    opening_mm: float
    jaw_deg: float
    seen_mm: float


def jaw_view(wearer: Wearer, report: JawReport) -> JawView:
    """Cut the midplane, mouth shut and at the largest opening that is kept inside."""
    motion, travel, hung = report.motion, report.travel, report.hung
    row = int(np.argmin(np.abs(travel.opening_mm - travel.kept_opening_mm)))
    head = OpeningHead(wearer, motion)
    chin, turn = float(travel.chin_deg[row]), float(travel.jaw_deg[row])
    parts = hung.piece.design.parts
    name = str(hung.piece.design.notes.jaw_part)
    jaw = parts[name].moved(hung.placement.matrix)
    shell = [
        mesh.moved(hung.placement.matrix) for key, mesh in parts.items() if key != name
    ]
    steps = np.linspace(0, chin, 40)
    marks = {"chin pole": motion.pole_mm, "hinge as drawn": hung.swing.centre_mm}
    if report.hinge is not None:
        marks["best hinge"] = report.hinge.at_mm
    return JawView(
        head_shut=midplane(head.mesh(0.0)),
        head_open=midplane(head.mesh(chin)),
        shell=tuple(line for mesh in shell for line in midplane(mesh)),
        jaw_shut=midplane(jaw),
        jaw_open=midplane(jaw.moved(hung.swing.matrix(turn))),
        paths=MappingProxyType(
            {
                name: np.array([motion.swing.moved(at, t)[DRAWN] for t in steps])
                for name, at in (("teeth", motion.teeth_mm), ("chin", motion.menton_mm))
            }
        ),
        marks=MappingProxyType({name: at[DRAWN] for name, at in marks.items()}),
        opening_mm=float(travel.opening_mm[row]),
        jaw_deg=turn,
        seen_mm=float(travel.seen_mm[row]),
    )


def midplane(mesh: Mesh) -> Lines:
    """Cut a mesh at the midplane: lines (k, 2) of front and up, in mm."""
    low, high = mesh.bounds_mm[:, 0]
    if not low < 0 < high:
        return ()
    cut = section(
        mesh, point_mm=np.array([0.01, 0.0, 0.0]), normal=np.array([1.0, 0.0, 0.0])
    )
    return tuple(line[:, DRAWN] for line in cut)
