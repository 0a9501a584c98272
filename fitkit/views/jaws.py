"""What drawings of a jaw show: the midplane shut and open, and misfit by hinge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fitkit.fit.jaw_hinge import bolts_hold, try_hinge
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import section
from fitkit.wearer.jaw_mesh import OpeningHead

if TYPE_CHECKING:
    from fitkit.fit.jaw_hinge import HingeAnswer
    from fitkit.fit.jaw_report import JawReport
    from fitkit.wearer.wearer import Wearer

FloatArray = NDArray[np.float64]
Lines = tuple[FloatArray, ...]

#: An open mouth's outline this near to the shut one's is not drawn again. [mm]
SAME_LINE_MM = 0.7
#: Columns drawn: front to the right of the page, up to its top.
DRAWN = [1, 2]


@dataclass(frozen=True, kw_only=True, eq=False)
class JawView:
    """The midplane of a wearer in a piece with a jaw; all lines (k, 2): front, up. [mm]."""

    head_shut: Lines
    #: Only where it differs from the shut one.
    head_open: Lines
    shell: Lines
    jaw_shut: Lines
    jaw_open: Lines
    #: Ways of the edge of the lower front teeth, the menton and the jaw's lip, by name.
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
    steps, turns = np.linspace(0, chin, 40), np.linspace(0, turn, 40)
    shut = midplane(head.mesh(0.0))
    lip = report.clash.mouth_mm[0]
    paths = {
        name: np.array([motion.swing.moved(at, t)[DRAWN] for t in steps])
        for name, at in (("teeth", motion.teeth_mm), ("chin", motion.menton_mm))
    }
    paths["jaw's lip"] = np.array([hung.swing.moved(lip, t)[DRAWN] for t in turns])
    marks = {"chin pole": motion.pole_mm, "hinge as drawn": hung.swing.centre_mm}
    if report.hinge is not None:
        marks["best hinge"] = report.hinge.at_mm
    return JawView(
        head_shut=shut,
        head_open=_apart(midplane(head.mesh(chin)), shut),
        shell=tuple(line for mesh in shell for line in midplane(mesh)),
        jaw_shut=midplane(jaw),
        jaw_open=midplane(jaw.moved(hung.swing.matrix(turn))),
        paths=MappingProxyType(paths),
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


@dataclass(frozen=True, kw_only=True, eq=False)
class HingeMap:
    """What hinges around the drawn one do, seen from the side, in the head frame."""

    #: Places, to the front (k,) and up (k,). [mm]
    front_mm: FloatArray
    up_mm: FloatArray
    #: How far chin and pads part at most with the hinge there, (up, front); nan where
    #: the chin cannot open the jaw. [mm]
    misfit_mm: FloatArray
    #: Whether a bolt meets the shell on both sides, (up, front).
    held: NDArray[np.bool_]
    #: Points by name: chin's pole, drawn hinge, best hinge.
    marks: Mapping[str, FloatArray]
    #: What the best hinge does, and when it is off, at (8, 2) points. [mm]
    best_mm: float
    drawn_mm: float
    off_mm: float
    off_at: FloatArray
    off_misfit_mm: FloatArray


def hinge_map(
    report: JawReport, answer: HingeAnswer, *, reach_mm: float = 25.0, count: int = 25
) -> HingeMap:
    """
    Try hinges on a grid around the drawn one.

    Parameters
    ----------
    report : JawReport
    answer : HingeAnswer
        Its best hinge.
    reach_mm : float
        How far the grid goes to each side. [mm]
    count : int
        Places along each side of it.
    """
    motion, hung = report.motion, report.hung
    move = np.linspace(-reach_mm, reach_mm, count)
    places = np.array([(front, up) for up in move for front in move])
    tries = [
        try_hinge(motion, hung, report.contacts, front_mm=f, up_mm=u, turns=17)
        for f, u in places
    ]
    misfit = np.array([one.misfit_mm for one in tries]).reshape(count, count)
    drawn, best = hung.swing.centre_mm[DRAWN], answer.best
    ring = np.array([(one.front_mm, one.up_mm) for _, one in answer.off])
    return HingeMap(
        front_mm=drawn[0] + move,
        up_mm=drawn[1] + move,
        misfit_mm=np.where(np.isfinite(misfit), misfit, np.nan),
        held=bolts_hold(hung, places).reshape(count, count),
        marks=MappingProxyType(
            {
                "chin pole": motion.pole_mm[DRAWN],
                "hinge as drawn": drawn,
                "best hinge": drawn + np.array([best.front_mm, best.up_mm]),
            }
        ),
        best_mm=best.misfit_mm,
        drawn_mm=answer.drawn.misfit_mm,
        off_mm=answer.off_mm,
        off_at=drawn + ring,
        off_misfit_mm=np.array([one.misfit_mm for _, one in answer.off]),
    )


def _apart(lines: Lines, others: Lines) -> Lines:
    """Runs of lines that are not on any of the others."""
    if not others:
        return lines
    near = cKDTree(np.concatenate([_dense(line) for line in others]))
    runs = []
    for line in lines:
        points = _dense(line)
        off = np.asarray(near.query(points)[0]) > SAME_LINE_MM
        ends = np.nonzero(off[1:] != off[:-1])[0] + 1
        parts = np.split(points, ends)
        runs += [run for run, is_off in zip(parts, np.split(off, ends), strict=True)
                 if is_off[0] and len(run) > 1]  # fmt: skip
    return tuple(runs)


def _dense(line: FloatArray) -> FloatArray:
    """The same line with a point at least every half millimetre."""
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    at = np.linspace(0, along[-1], max(2, int(along[-1] / 0.5) + 1))
    return np.column_stack([np.interp(at, along, line[:, k]) for k in range(2)])
