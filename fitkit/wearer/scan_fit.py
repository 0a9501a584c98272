"""
Lay the template head on a scan: first its modes, then its skin.

Modes are fitted by Gauss-Newton with a rigid motion free, point to plane against the
nearest point of the scan; what the modes cannot say is then drawn onto the scan by the
displacement that bends least. Where the scan shows nothing the modes speak alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg import solve
from scipy.sparse.linalg import splu
from scipy.spatial.transform import Rotation

from fitkit.geometry.crossings import crossing_faces
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.reading import Ruler
from fitkit.wearer.surface import measure_all
from fitkit.wearer.template import Template
from fitkit.wearer.zones import NECK, ZONES

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Reach within which the scan is the same skin as the template: at first, at last, and
#: when the skin is drawn onto it. [mm]
FIRST_REACH_MM, LAST_REACH_MM, DRAWN_REACH_MM = 30.0, 8.0, 6.0
#: Least cosine between the two normals, and between a normal and the way across.
ALIKE = 0.6
#: The whole surface counts as this many independent looks, each this exact. [mm]
LOOKS, LOOK_SD_MM = 300, 1.0
#: How exactly a landmark is placed, by hand or on the template. [mm]
LANDMARK_SD_MM = 3.0
#: Steps in which the reach shrinks, steps after, and the step at which the fit settles.
_FIRST_STEPS, _LAST_STEPS, _SETTLED = 8, 12, 0.05
#: Length below which drawing the skin smooths the scan, pass by pass; and the length
#: over which a displacement dies away where the scan shows nothing. [mm]
SMOOTH_MM, FADE_MM = (12.0, 7.0, 5.0, 4.0), 25.0
#: A landmark farther than this from where the fit has it is not followed. [mm]
LANDMARK_REACH_MM = 12.0
#: Rings around the ears that modes are not fitted to: their root is not everyone's.
_EAR_RINGS = 3
#: Rings of the neck next to where the scan ends that are not drawn onto it.
_CUT_RINGS = 2
#: Times that the skin may be smoothed where it folds.
_UNFOLDINGS = 12
#: Share of an ear that must lie on the scan for the scan to have ears.
EAR_SHOWN = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Pose:
    """Rigid motion from the head frame to the scan's: ``points @ turn.T + shift_mm``."""

    #: Rotation matrix, shape (3, 3).
    turn: Floats
    #: Where the head frame's origin lies, shape (3,). [mm]
    shift_mm: Floats

    def to_scan(self, points: Floats) -> Floats:
        """Carry points of the head frame to the scan, shape (n, 3)."""
        return np.asarray(points @ self.turn.T + self.shift_mm)

    def to_head(self, points: Floats) -> Floats:
        """Carry points of the scan to the head frame, shape (n, 3)."""
        return np.asarray((points - self.shift_mm) @ self.turn)

    def moved(self, spin: Floats, shift_mm: Floats) -> Pose:
        """Turn by a small rotation vector about the head's axes, then shift. [rad, mm]."""
        turn = self.turn @ Rotation.from_rotvec(spin).as_matrix()
        return Pose(turn=turn, shift_mm=self.shift_mm + shift_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Match:
    """Where each head vertex meets the scan."""

    #: Whether the scan shows this vertex's skin, shape (n,).
    seen: Bools
    #: Nearest point of the scan, in the scan's frame, shape (n, 3). [mm]
    point: Floats
    #: The scan's normal there, shape (n, 3).
    normal: Floats
    #: Way to the scan along that normal, shape (n,). [mm]
    gap_mm: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedHead:
    """The template laid on a scan."""

    #: Points (vertices, then marks) in the head frame, shape (p, 3). [mm]
    points: Floats
    #: Mode weights of the fit, before the skin was drawn onto the scan, shape (k,).
    weights: Floats
    #: Whether the scan shows the skin at each vertex, shape (n,).
    seen: Bools
    #: Distance from each seen vertex to the scan, in order. [mm]
    off_mm: Floats
    #: Where the head lies on the scan.
    pose: Pose
    #: Covariance of the mode weights, given the scan, shape (k, k).
    covariance: Floats
    #: Landmarks too far from the fitted head to be followed.
    strayed: tuple[str, ...]


def lay_on(
    template: Template,
    ruler: Ruler,
    scan: Mesh,
    *,
    pose: Pose,
    landmarks_mm: Mapping[str, Floats],
    expected_mm: Mapping[str, tuple[float, float]],
) -> FittedHead:
    """
    Fit the template's modes and pose to a scan, then draw its skin onto it.

    Parameters
    ----------
    template : Template
        Mean and modes.
    ruler : Ruler
        Reads measures off that template's mesh.
    scan : Mesh
        In mm, wound outward, without loose bits.
    pose : Pose
        From landmarks; within some 15 degrees and 20 mm.
    landmarks_mm : mapping of str to ndarray, shape (3,)
        Landmarks in the scan's frame, by their name in the template. [mm]
    expected_mm : mapping of str to (float, float)
        Bare-head measures that are known or likely from elsewhere, with their SD; where
        the scan shows the skin it prevails. [mm]

    Returns
    -------
    FittedHead
        In the template's head frame: tragia level and square, orbitalia as high.
    """
    fit = _Fit(template, ruler, scan, landmarks_mm, expected_mm)
    weights, pose = fit.modes(pose)
    rows, _ = fit.equations(weights, pose, LAST_REACH_MM)
    points = template.mean_mm + template.modes_mm @ weights
    strayed = fit.strayed(points, pose)
    seen = fit.shown(points, pose)
    points = fit.drawn(points, pose, seen)
    off = fit.off_mm(points, pose, seen)
    turn, origin = frankfort(points, template.landmarks)
    return FittedHead(
        points=(points - origin) @ turn,
        weights=weights,
        seen=seen,
        off_mm=off,
        pose=Pose(turn=pose.turn @ turn, shift_mm=pose.to_scan(origin)),
        covariance=np.asarray(np.linalg.inv(rows.T @ rows)[:-6, :-6]),
        strayed=tuple(k for k, far in zip(landmarks_mm, strayed, strict=True) if far),
    )


class _Fit:
    """One fit: what stays the same from step to step."""

    def __init__(
        self,
        template: Template,
        ruler: Ruler,
        scan: Mesh,
        landmarks_mm: Mapping[str, Floats],
        expected_mm: Mapping[str, tuple[float, float]],
    ) -> None:
        n = template.n_vertices
        self.template, self.ruler = template, ruler
        self.scan, self.tree = scan, SurfaceTree(scan)
        self.keys = tuple(expected_mm)
        self.expected, self.doubt = np.array(list(expected_mm.values())).reshape(-1, 2).T
        self.mark = np.array([template.landmarks[k] for k in landmarks_mm], dtype=np.int64)
        self.given = np.array(list(landmarks_mm.values())).reshape(-1, 3)
        self.ear, self.neck = zone_mask(template, "ear"), template.zone == NECK
        self.mean = Mesh(template.mean_mm[:n], template.faces)
        self.stiff, self.area = bending(self.mean)
        self.ring = neighbour_mean(template.faces, n)
        #: Skin that a scan may show: not the eyes, whose wet front it does not, nor the
        #: flat cut at the collar, whose middle is the last vertex.
        cut = np.arange(n) == n - 1
        self.skin = ~zone_mask(template, "eye") & ~self._around(cut, 1)
        #: Skin to leave out of the fit of the modes for now.
        self.unsure = self._around(self.ear, _EAR_RINGS)

    def _around(self, chosen: Bools, rings: int) -> Bools:
        """Chosen vertices and so many rings around them."""
        for _ in range(rings):
            chosen = np.asarray(self.ring @ chosen.astype(np.float64)) > 0
        return chosen

    # -- meeting the scan --------------------------------------------------------------

    def match(self, points: Floats, pose: Pose, *, reach_mm: float) -> Match:
        """Nearest points of the scan that are the same skin."""
        head = self.mean.with_vertices(pose.to_scan(points[: self.template.n_vertices]))
        near = self.tree.nearest(head.vertices)
        normal = self.scan.normals[near.face]
        way = near.point - head.vertices
        gap = np.einsum("ij,ij->i", way, normal)
        alike = np.einsum("ij,ij->i", head.vertex_normals, normal) > ALIKE
        across = np.abs(gap) >= ALIKE * near.distance_mm - 0.5
        seen = alike & across & ~near.on_boundary & (near.distance_mm < reach_mm)
        return Match(seen=seen, point=near.point, normal=normal, gap_mm=gap)

    def shown(
        self, points: Floats, pose: Pose, *, reach_mm: float = DRAWN_REACH_MM
    ) -> Bools:
        """Vertices whose skin the scan shows: never eyes, ears only if it has both."""
        seen = self.match(points, pose, reach_mm=reach_mm).seen & self.skin
        for side in ("ear_left", "ear_right"):
            ear = self.template.zone == ZONES.index(side)
            if seen[ear].mean() < EAR_SHOWN:
                seen = seen & ~self.ear
        return np.asarray(seen & ~(self.neck & self._around(~seen, _CUT_RINGS)))

    # -- modes -------------------------------------------------------------------------

    def modes(self, pose: Pose) -> tuple[Floats, Pose]:
        """Weights of the modes and pose; ears join in if the scan turns out to have any."""
        weights = np.zeros(self.template.modes_mm.shape[2])
        reaches = np.geomspace(FIRST_REACH_MM, LAST_REACH_MM, _FIRST_STEPS)
        settled = np.full(_LAST_STEPS, LAST_REACH_MM)
        weights, pose = self._stepped(weights, pose, np.r_[reaches, settled])
        points = self.template.mean_mm + self.template.modes_mm @ weights
        if self.shown(points, pose, reach_mm=LAST_REACH_MM)[self.ear].any():
            self.unsure = np.zeros_like(self.ear)
            weights, pose = self._stepped(weights, pose, settled)
        return weights, pose

    def _stepped(
        self, weights: Floats, pose: Pose, reaches_mm: Floats
    ) -> tuple[Floats, Pose]:
        """Take Gauss-Newton steps, one for each reach, until they are short."""
        for reach in reaches_mm:
            rows, wanted = self.equations(weights, pose, reach)
            step = solve(rows.T @ rows, rows.T @ wanted, assume_a="pos")
            weights = weights + step[:-6]
            pose = pose.moved(step[-6:-3] / 100, step[-3:])
            if np.abs(step).max() < _SETTLED:
                break
        return weights, pose

    def equations(self, weights: Floats, pose: Pose, reach: float) -> tuple[Floats, Floats]:
        """Least-squares rows in steps of the weights, the turn (1/100 rad), the shift."""
        template = self.template
        points = template.mean_mm + template.modes_mm @ weights
        skin, gap = self._skin_rows(points, pose, reach)
        marks, far = self._mark_rows(points, pose)
        value, slope = measure_all(template, self.ruler, points, self.keys)
        none, doubt = np.zeros((len(value), 6)), self.doubt[:, None]
        prior = np.eye(len(weights), len(weights) + 6)
        rows = np.vstack([skin, marks, np.c_[slope / doubt, none], prior])
        return rows, np.r_[gap, far, (self.expected - value) / self.doubt, -weights]

    def _skin_rows(self, points: Floats, pose: Pose, reach: float) -> tuple[Floats, Floats]:
        match = self.match(points, pose, reach_mm=reach)
        use = np.nonzero(match.seen & self.skin & ~self.unsure)[0]
        gap, modes = match.gap_mm[use], self.template.modes_mm[use]
        area = self.area[use] / self.area.sum()
        heed = 1 / (1 + (gap / (reach / 3)) ** 2)  # Geman and McClure's weight, rooted
        weight = np.sqrt(LOOKS * area) * heed / LOOK_SD_MM
        normal = match.normal[use] @ pose.turn
        bend = np.einsum("ij,ijk->ik", normal, modes)
        spin = np.cross(points[use], normal) / 100
        return np.c_[bend, spin, match.normal[use]] * weight[:, None], gap * weight

    def _mark_rows(self, points: Floats, pose: Pose) -> tuple[Floats, Floats]:
        at, sd = points[self.mark], LANDMARK_SD_MM
        bend = np.einsum("ij,pjk->pik", pose.turn, self.template.modes_mm[self.mark])
        spin = -np.einsum("ij,pjk->pik", pose.turn, _crossed(at)) / 100
        shift = np.tile(np.eye(3), (len(at), 1, 1))
        rows = np.concatenate([bend, spin, shift], axis=2)
        far = self.given - pose.to_scan(at)
        return rows.reshape(-1, rows.shape[2]) / sd, far.ravel() / sd

    # -- skin --------------------------------------------------------------------------

    def drawn(self, points: Floats, pose: Pose, seen: Bools) -> Floats:
        """Points with landmarks where they were put and the skin on the scan."""
        n = self.template.n_vertices
        skin = points[:n] + self._to_landmarks(points, pose)
        for smooth_mm in SMOOTH_MM:
            match = self.match(skin, pose, reach_mm=DRAWN_REACH_MM)
            here = seen & match.seen
            skin = skin + self._spread(pose.to_head(match.point) - skin, here, smooth_mm)
        skin = self._unfolded(skin)
        return np.vstack([skin, self._marks(points, skin - points[:n], pose)])

    def strayed(self, points: Floats, pose: Pose) -> Bools:
        """Which landmarks given lie too far from the fitted head's own, shape (l,)."""
        way = pose.to_head(self.given) - points[self.mark]
        return np.asarray(np.linalg.norm(way, axis=1) > LANDMARK_REACH_MM)

    def _to_landmarks(self, points: Floats, pose: Pose) -> Floats:
        """Smooth displacement that brings landmarks to where they were put."""
        way = pose.to_head(self.given) - points[self.mark]
        on_skin = ~self.strayed(points, pose) & (self.mark < self.template.n_vertices)
        target = np.zeros((self.template.n_vertices, 3))
        target[self.mark[on_skin]] = way[on_skin]
        held = np.zeros(len(target))
        held[self.mark[on_skin]] = 1e4
        return self._spread(target, held, FADE_MM)

    def _spread(self, way: Floats, held: Floats | Bools, smooth_mm: float) -> Floats:
        """Displacement that follows a way where held, bends least, and dies away."""
        pull = self.area * (held + (smooth_mm / FADE_MM) ** 4 * (held == 0))
        solver = splu((self.stiff * smooth_mm**4 + sp.diags(pull)).tocsc())
        return np.asarray(solver.solve((self.area * held)[:, None] * way))

    def _unfolded(self, skin: Floats) -> Floats:
        """Smooth the skin where it passes through itself, until it no longer does."""
        for _ in range(_UNFOLDINGS):
            pairs = crossing_faces(self.mean.with_vertices(skin))
            if not len(pairs):
                break
            fold = np.zeros(len(skin), dtype=bool)
            fold[self.template.faces[pairs]] = True
            fold = self._around(fold, 1)
            skin = np.where(fold[:, None], self.ring @ skin, skin)
        return skin

    def _marks(self, points: Floats, moved: Floats, pose: Pose) -> Floats:
        """Fronts of the corneas: as given, else carried along by the lids."""
        out = points[self.template.n_vertices :].copy()
        for side in ("left", "right"):
            index = self.template.landmarks[f"cornea_{side}"]
            row = index - self.template.n_vertices
            lids = self.template.zone == ZONES.index(f"eye_{side}")
            out[row] += moved[lids].mean(axis=0)
            given = np.nonzero(self.mark == index)[0]
            if len(given):
                out[row] = pose.to_head(self.given[given[0]])
        return out

    def off_mm(self, points: Floats, pose: Pose, seen: Bools) -> Floats:
        """Distance from each seen vertex to the scan."""
        match = self.match(points, pose, reach_mm=DRAWN_REACH_MM)
        off = np.linalg.norm(pose.to_scan(points[: len(seen)]) - match.point, axis=1)
        return np.asarray(off[seen])


def share_shown(template: Template, fitted: FittedHead) -> float:
    """Share of scalp and face, by area and without eyes, that a scan shows."""
    skin = (template.zone != NECK) & ~zone_mask(template, "ear", "eye")
    head = Mesh(fitted.points[: len(skin)], template.faces)
    weight = np.bincount(head.faces.ravel(), np.repeat(head.areas_mm2, 3))
    return float(weight[skin & fitted.seen].sum() / weight[skin].sum())


def _crossed(vectors: Floats) -> Floats:
    """Matrices that take the cross product of each vector (p, 3) with another."""
    return np.stack([np.cross(vectors, axis) for axis in np.eye(3)], axis=2)


def zone_mask(template: Template, *stems: str) -> Bools:
    """Whether each vertex lies in a zone whose name starts with one of some words."""
    names = [i for i, zone in enumerate(ZONES) if zone.startswith(stems)]
    return np.asarray(np.isin(template.zone, names))


def frankfort(points: Floats, at: Mapping[str, int]) -> tuple[Floats, Floats]:
    """Axes (columns right, front, up) and origin of a head's own frame."""
    left, right = points[at["tragion_left"]], points[at["tragion_right"]]
    origin = (left + right) / 2
    eyes = (points[at["orbitale_left"]] + points[at["orbitale_right"]]) / 2
    return axes(right - left, eyes - origin), np.asarray(origin)


def axes(across: Floats, ahead: Floats) -> Floats:
    """Axes (columns right, front, up) from a way across and a way roughly ahead."""
    right = across / np.linalg.norm(across)
    front = ahead - (ahead @ right) * right
    front = front / np.linalg.norm(front)
    return np.column_stack([right, front, np.cross(right, front)])


def bending(mesh: Mesh) -> tuple[sp.csr_matrix, Floats]:
    """
    Bending energy of a field on a closed mesh, and the area at each vertex.

    Returns
    -------
    stiff : sparse matrix, shape (n, n)
        ``field @ stiff @ field`` is the integral of the squared Laplacian. [1/mm2]
    area : ndarray, shape (n,)
        A third of the faces around each vertex. [mm2]

    Notes
    -----
    Cotangent weights: U. Pinkall and K. Polthier, "Computing discrete minimal surfaces
    and their conjugates", Experim. Math. 2(1), 15-36 (1993), from memory.
    """
    n, faces = len(mesh.vertices), mesh.faces
    cotangent = 1 / np.tan(np.radians(np.clip(mesh.corner_angles_deg, 2, 178)))
    ends = np.roll(faces, -1, axis=1), np.roll(faces, -2, axis=1)
    half = sp.coo_matrix(
        (cotangent.ravel() / 2, (ends[0].ravel(), ends[1].ravel())), shape=(n, n)
    )
    weight = (half + half.T).tocsr()
    laplacian = sp.diags(np.asarray(weight.sum(axis=1)).ravel()) - weight
    area = np.bincount(faces.ravel(), np.repeat(mesh.areas_mm2, 3), minlength=n) / 3
    stiff = (laplacian @ sp.diags(1 / area) @ laplacian).tocsr()
    return stiff, area


def neighbour_mean(faces: NDArray[np.int64], n: int) -> sp.csr_matrix:
    """Matrix that takes the mean over each vertex and its neighbours, shape (n, n)."""
    own = np.arange(n)
    ends = [faces.ravel(), np.roll(faces, -1, axis=1).ravel()]
    row, column = np.r_[ends[0], ends[1], own], np.r_[ends[1], ends[0], own]
    link = sp.coo_matrix((np.ones(len(row)), (row, column)), shape=(n, n)).tocsr()
    link.data[:] = 1.0  # met from both sides, an edge was counted twice
    link.data /= np.repeat(np.diff(link.indptr), np.diff(link.indptr))
    return link
