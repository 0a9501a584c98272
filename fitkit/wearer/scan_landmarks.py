"""
Landmarks proposed on a scan that has none: the head model is laid on it from all sides.

A coarse search over turns stands the mean head on the scan's top, a few rigid steps
bring each to rest, and the best few are fitted with the model's modes. The one that
lies on the scan closest says where its landmarks are.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from fitkit.errors import MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.repair import mend
from fitkit.wearer.build import head_model
from fitkit.wearer.scan_fit import FittedHead, Pose, lay_on, share_shown, zone_mask
from fitkit.wearer.scan_pose import check_size, outward
from fitkit.wearer.template import Template
from fitkit.wearer.zones import NECK

Floats = NDArray[np.float64]

#: Landmarks that are proposed: those that stand a head upright.
PROPOSED = ("tragion_left", "tragion_right", "sellion", "orbitale_left", "orbitale_right")
#: Points of the mean head that are laid on the scan in the coarse search.
LAID = 300
#: Turns tried beside those along the axes of the file, and turns kept for a closer look.
TURNS, CLOSER, FITTED = 240, 12, 4
#: Rigid steps of the coarse search and of the closer look; reach of the first and last
#: of them. [mm]
COARSE_STEPS, CLOSE_STEPS, REACH_MM = 6, 14, (40.0, 10.0)
#: A point this far from the scan counts half. [mm]
HALF_MM = 5.0
#: Score from which a turn along the file's axes is believed without trying others.
BELIEVED = 0.70
#: Share of scalp and face that a fit must find shown, and that ends the search.
LEAST_SHOWN, ENOUGH_SHOWN = 0.60, 0.97
#: Mean square of the mode weights from which what was fitted is no head: 1 for heads
#: drawn from the model, less for fits; a box has 2.4, an egg 1.3.
MOST_ODD = 1.1
#: Poses nearer to each other than this are the same. [deg]
SAME_DEG = 15.0
#: Height of the vertex over the origin of a head whose size is not known. [mm]
USUAL_TOP_MM = 130.0
#: What lies within this of the top along the way up is head, not shoulder. [mm]
HEAD_DEPTH_MM = 120.0


@dataclass(frozen=True, kw_only=True, eq=False)
class ProposedLandmarks:
    """Where the landmarks of a scan seem to be."""

    #: Points on the scan, in its own frame, by name, shape (3,) each. [mm]
    landmarks_mm: Mapping[str, Floats]
    #: Share of scalp and face that the fitted head finds shown.
    shown: float
    #: What a user should do before relying on them; never empty.
    cautions: tuple[str, ...]


def propose_landmarks(mesh: Mesh) -> ProposedLandmarks:
    """
    Propose the landmarks that `wearer_from_scan` needs.

    Parameters
    ----------
    mesh : Mesh
        The scan, in mm, in any pose; it must show most of scalp and face.

    Returns
    -------
    ProposedLandmarks
        Both tragia, both orbitalia and the sellion.

    Raises
    ------
    MeshError
        If the scan is not in mm, or no head is recognised in it.
    """
    check_size(mesh)
    template, _ = head_model()
    whole, _ = mend(mesh)
    scan = max(whole.parts(), key=lambda part: part.area_mm2)
    on, fitted = _best_fit(template, scan)
    if on < LEAST_SHOWN or np.mean(fitted.weights**2) > MOST_ODD:
        raise MeshError(
            f"No head was recognised in the scan: the nearest to one shows {on:.0%} of "
            f"scalp and face (at least {LEAST_SHOWN:.0%} is needed) or is unlike any. Give "
            "landmarks_mm yourself: tragion_left, tragion_right and sellion, read off in "
            "the program that shows the scan."
        )
    return ProposedLandmarks(
        landmarks_mm=MappingProxyType(_landmarks(template, scan, fitted)),
        shown=on,
        cautions=(
            "Landmarks were proposed, not placed by hand: look at the tragia and the "
            "orbitalia, a few millimetres tilt the whole head.",
        ),
    )


def _landmarks(template: Template, scan: Mesh, fitted: FittedHead) -> dict[str, Floats]:
    at = fitted.points[[template.landmarks[name] for name in PROPOSED]]
    near = SurfaceTree(scan).nearest(fitted.pose.to_scan(at))
    return dict(zip(PROPOSED, near.point, strict=True))


# -- the search -----------------------------------------------------------------------


class _Laid:
    """A few points of the mean head, evenly spread, and the scan they are laid on."""

    def __init__(self, template: Template, scan: Mesh) -> None:
        head = Mesh(template.mean_mm[: template.n_vertices], template.faces)
        skin = np.nonzero((template.zone != NECK) & ~zone_mask(template, "ear", "eye"))[0]
        chosen = skin[_spread_out(head.vertices[skin], LAID)]
        self.points, self.normals = head.vertices[chosen], head.vertex_normals[chosen]
        self.scan, self.tree = scan, SurfaceTree(scan)

    def placed(self, turn: Floats) -> Pose:
        """Stand the head in a turn so that its crown is at the scan's top."""
        along = self.scan.vertices @ turn
        top = np.quantile(along[:, 2], 0.999)
        head = along[along[:, 2] > top - HEAD_DEPTH_MM]
        middle = (np.quantile(head, 0.02, axis=0) + np.quantile(head, 0.98, axis=0)) / 2
        centre = np.array([middle[0], middle[1], top - USUAL_TOP_MM])
        ahead = (self.points[:, 1].max() + self.points[:, 1].min()) / 2
        return Pose(turn=turn, shift_mm=turn @ (centre - [0.0, ahead, 0.0]))

    def rested(self, pose: Pose, steps: int) -> tuple[float, Pose]:
        """Bring a pose to rest by rigid steps, point to plane; and its score."""
        for reach in np.geomspace(*REACH_MM, steps):
            points = pose.to_scan(self.points)
            near = self.tree.nearest(points)
            normal = self.scan.normals[near.face]
            gap = np.einsum("ij,ij->i", near.point - points, normal)
            facing = np.abs(np.einsum("ij,ij->i", self.normals @ pose.turn.T, normal))
            weight = facing / (1 + (near.distance_mm / (reach / 2)) ** 2)
            inward = normal @ pose.turn
            rows = np.c_[np.cross(self.points, inward) / 100, normal]
            square = rows.T @ (rows * weight[:, None]) + 1e-3 * np.eye(6)
            step = np.linalg.solve(square, rows.T @ (weight * gap))
            pose = pose.moved(step[:3] / 100, step[3:])
        return self.score(pose), pose

    def score(self, pose: Pose) -> float:
        """How much of the head lies on the scan, its skin the same way, in [0, 1]."""
        points = pose.to_scan(self.points)
        near = self.tree.nearest(points)
        normal = self.scan.normals[near.face]
        facing = np.abs(np.einsum("ij,ij->i", self.normals @ pose.turn.T, normal))
        return float(np.mean(facing**2 / (1 + (near.distance_mm / HALF_MM) ** 2)))


def _best_poses(template: Template, scan: Mesh) -> list[Pose]:
    """The few poses that are worth a fit, the likeliest first."""
    laid = _Laid(template, scan)
    best = _closer(laid, _square_turns())
    if best[0][0] < BELIEVED:
        best = sorted(best + _closer(laid, _even_turns()), key=lambda pair: -pair[0])
    poses: list[Pose] = []
    for _, pose in best:
        if all(_apart_deg(pose, kept) > SAME_DEG for kept in poses):
            poses.append(pose)
    return poses[:FITTED]


def _apart_deg(one: Pose, other: Pose) -> float:
    turn = Rotation.from_matrix(one.turn.T @ other.turn)
    return float(np.degrees(turn.magnitude()))


def _closer(laid: _Laid, turns: Iterable[Floats]) -> list[tuple[float, Pose]]:
    coarse = [laid.rested(laid.placed(turn), COARSE_STEPS) for turn in turns]
    coarse.sort(key=lambda pair: -pair[0])
    close = [laid.rested(pose, CLOSE_STEPS) for _, pose in coarse[:CLOSER]]
    return sorted(close, key=lambda pair: -pair[0])


@cache
def _square_turns() -> tuple[Floats, ...]:
    """The 24 turns that bring axes onto axes, as most scanners write their files."""
    return tuple(Rotation.create_group("O").as_matrix())


@cache
def _even_turns() -> tuple[Floats, ...]:
    """
    Turns spread evenly over all there are.

    Super-Fibonacci spirals: M. Alexa, CVPR 2022, doi 10.1109/CVPR52688.2022.00811,
    from memory.
    """
    phi, psi = np.sqrt(2.0), 1.533751168755204288118041
    at = np.arange(TURNS) + 0.5
    inner, outer = np.sqrt(at / TURNS), np.sqrt(1 - at / TURNS)
    alpha, beta = 2 * np.pi * at / phi, 2 * np.pi * at / psi
    quaternions = np.c_[
        inner * np.sin(alpha), inner * np.cos(alpha),
        outer * np.sin(beta), outer * np.cos(beta),
    ]  # fmt: skip
    return tuple(Rotation.from_quat(quaternions).as_matrix())


def _spread_out(points: Floats, count: int) -> NDArray[np.int64]:
    """Pick points far from each other, each the farthest from those before."""
    chosen = [0]
    away = np.linalg.norm(points - points[0], axis=1)
    for _ in range(count - 1):
        chosen.append(int(away.argmax()))
        away = np.minimum(away, np.linalg.norm(points - points[chosen[-1]], axis=1))
    return np.array(chosen)


# -- the fit --------------------------------------------------------------------------


def _best_fit(template: Template, scan: Mesh) -> tuple[float, FittedHead]:
    """Fit the model from the likeliest poses; share shown, and the fit that shows most."""
    _, ruler = head_model()
    best: tuple[float, FittedHead] | None = None
    for pose in _best_poses(template, scan):
        facing = outward(template, scan, pose)
        fitted = lay_on(template, ruler, facing, pose=pose, landmarks_mm={}, expected_mm={})
        shown = share_shown(template, fitted)
        if best is None or shown > best[0]:
            best = shown, fitted
        if shown > ENOUGH_SHOWN:
            break
    assert best is not None  # there is always a pose
    return best
