"""A wearer moved and made surer by what was learnt of the head."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import MeasureError
from fitkit.geometry.crossings import crossing_faces
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import (
    as_by_hand,
    head_model,
    place_chin_pole,
    place_eye,
    place_landmarks,
)
from fitkit.wearer.hair import tape_hair
from fitkit.wearer.reading import TAPE_TURNS_RAD
from fitkit.wearer.record import Record
from fitkit.wearer.scan_fit import neighbour_mean
from fitkit.wearer.spread import ways_of_measures
from fitkit.wearer.survey import Completion, Component
from fitkit.wearer.wearer import Wearer

Floats = NDArray[np.float64]

#: Ways of the head smaller than this are not kept. [mm, root mean square over the head]
_NEGLIGIBLE_MM = 1e-3
#: Rounds in which crossing skin is evened out, each wider; share of a neighbour above
#: which a vertex counts as near.
_ROUNDS, _TOUCHED = 6, 1e-6
#: Landmarks by which a cornea moves: the corners of its lids.
_LIDS = ("endocanthus", "ectocanthus")


@dataclass(frozen=True, kw_only=True, eq=False)
class HeadNews:
    """What was learnt of a head: unknowns that were standard normal before."""

    #: Likeliest value of the wearer's k ways, then of hair all over, shape (k + 1,).
    mean: Floats
    #: Their covariance, shape (k + 1, k + 1).
    covariance: Floats
    #: Change of hair under the shell by each, shape (n, k + 1). [mm]
    hair_ways: Floats


def learnt_wearer(wearer: Wearer, news: HeadNews, *, record: Record) -> Wearer:
    """
    Move a wearer's head to where it now most likely is, and narrow its spread.

    Parameters
    ----------
    wearer : Wearer
        On the mesh of the template, from a record or from a scan.
    news : HeadNews
    record : Record
        To go with the new wearer.

    Returns
    -------
    Wearer
        With everything that hangs on the head moved with it. Its spread is again of
        independent ways: first what is not known of the measures, in the order of
        `ways_of_measures`, then the rest, as "shape". Doubt about hair under the shell
        is part of it, along the normal, since ease cannot tell the two apart.
    """
    template, ruler = head_model()
    moved = _uncrossed(wearer.head, np.tensordot(news.mean[:-1], wearer.spread, 1))
    points = np.vstack([wearer.head.vertices + moved, _corneas(wearer, moved)])
    head = wearer.head.with_vertices(points[: template.n_vertices])
    tape = _tape_hair_mm(wearer, news.mean)
    bare = ruler.values(points)
    slope = _measure_slope(wearer, points)
    completion = _completion(wearer, bare, slope, news.covariance)
    fields, names = _ways(wearer, news, head.vertex_normals, slope, completion)
    hair = np.maximum(0.0, wearer.hair_mm + news.hair_ways @ news.mean)
    return replace(
        wearer,
        record=record,
        completion=completion,
        head=head,
        hair_mm=hair,
        tape_hair_mm=tape,
        measures_mm=MappingProxyType(as_by_hand(bare, tape)),
        landmarks=MappingProxyType(place_landmarks(template, ruler, points)),
        eye_left=place_eye(points[template.landmarks["cornea_left"]]),
        eye_right=place_eye(points[template.landmarks["cornea_right"]]),
        chin_pole=place_chin_pole(template, points),
        spread=fields,
        spread_names=names,
    )


def _uncrossed(head: Mesh, moved: Floats) -> Floats:
    """
    Even out a displacement, shape (n, 3), where the skin would pass through itself.

    Folds as at lids, lips and ears lie closer together than a displacement by ways of
    the whole head can tell apart; there the skin moves with its neighbours.

    Raises
    ------
    MeasureError
        If it still passes through itself after `_ROUNDS`.
    """
    ring = neighbour_mean(head.faces, len(head.vertices))
    moved = moved.copy()
    for reach in range(1, _ROUNDS + 1):
        crossing = crossing_faces(head.with_vertices(head.vertices + moved))
        if not len(crossing):
            return moved
        near = np.zeros(len(moved))
        near[head.faces[crossing.ravel()].ravel()] = 1.0
        for _ in range(2 * reach):
            near = np.maximum(near, ring @ near)
        rows = near > _TOUCHED
        for _ in range(10 * reach):
            moved[rows] = (ring @ moved)[rows]
    msg = (
        "No likely head has these gaps together with the tape readings: its skin would "
        "pass through itself. Check that piece and placement are those of the fitting, "
        "and read the flagged gaps again."
    )
    raise MeasureError(msg)


def _corneas(wearer: Wearer, moved: Floats) -> Floats:
    """Fronts of the corneas, moved with the corners of their lids, shape (2, 3)."""
    template, _ = head_model()
    eyes = {"left": wearer.eye_left, "right": wearer.eye_right}
    marks = {}
    for side, eye in eyes.items():
        lids = [template.landmarks[f"{name}_{side}"] for name in _LIDS]
        marks[template.landmarks[f"cornea_{side}"]] = eye.cornea + moved[lids].mean(axis=0)
    return np.array([marks[index] for index in sorted(marks)])


def _tape_hair_mm(wearer: Wearer, mean: Floats) -> float:
    if "tape_hair_mm" not in wearer.spread_names:
        return wearer.tape_hair_mm
    way = wearer.spread_names.index("tape_hair_mm")
    return max(0.0, wearer.tape_hair_mm + tape_hair(wearer.record).sd_mm * float(mean[way]))


def _measure_slope(wearer: Wearer, points: Floats) -> Floats:
    """Change of each completed measure, tapes over hair, by each way, (m, k + 1). [mm]."""
    template, ruler = head_model()
    n, k = template.n_vertices, len(wearer.spread)
    ways = np.zeros((k, len(points), 3))
    ways[:, :n] = wearer.spread
    for side in ("left", "right"):
        lids = [template.landmarks[f"{name}_{side}"] for name in _LIDS]
        ways[:, template.landmarks[f"cornea_{side}"]] = ways[:, lids].mean(axis=1)
    slope = np.zeros((len(wearer.completion.keys), k + 1))
    for row, key in enumerate(wearer.completion.keys):
        reading = ruler.read(points, key)
        slope[row, :k] = np.tensordot(ways[:, reading.points], reading.slope, 2)
    if "tape_hair_mm" in wearer.spread_names:
        way = wearer.spread_names.index("tape_hair_mm")
        turns = [TAPE_TURNS_RAD.get(key, 0.0) for key in wearer.completion.keys]
        slope[:, way] += np.array(turns) * tape_hair(wearer.record).sd_mm
    return slope


def _completion(
    wearer: Wearer, bare: Mapping[str, float], slope: Floats, covariance: Floats
) -> Completion:
    """The measures as they now are, as one normal distribution."""
    known = wearer.completion
    before = _bare_before(wearer, known.keys)
    mean = known.mean_mm + np.array([bare[key] - before[key] for key in known.keys])
    spread = slope @ covariance @ slope.T
    part = Component(
        label="after a trial fitting",
        weight=1.0,
        mean_mm=mean,
        covariance_mm2=spread,
        working_mean=mean,
        working_sd=np.sqrt(np.maximum(np.diag(spread), 1e-18)),
    )
    return replace(
        known,
        mean_mm=mean,
        covariance_mm2=spread,
        components=(part,),
        log_origin_mm=np.full(len(mean), np.nan),
    )


def _bare_before(wearer: Wearer, keys: tuple[str, ...]) -> dict[str, float]:
    return {
        key: wearer.measures_mm[key] - TAPE_TURNS_RAD.get(key, 0.0) * wearer.tape_hair_mm
        for key in keys
    }


def _ways(
    wearer: Wearer, news: HeadNews, normals: Floats, slope: Floats, completion: Completion
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Independent ways of a correlated head: of the measures first, then the rest."""
    measured = ways_of_measures(
        completion.keys, completion.covariance_mm2, completion.given
    )
    whiten = np.linalg.pinv(measured.change_mm) @ slope
    by_measure = news.covariance @ whiten.T
    left = news.covariance - by_measure @ by_measure.T
    value, vector = np.linalg.eigh((left + left.T) / 2)
    rest = vector * np.sqrt(np.maximum(value, 0.0))
    weights = np.column_stack([by_measure, rest[:, ::-1]])
    along = (news.hair_ways @ weights).T[:, :, None] * normals
    fields = np.tensordot(weights[:-1].T, wearer.spread, 1) + along
    size = np.sqrt((fields**2).sum(axis=2).mean(axis=1))
    kept = size > _NEGLIGIBLE_MM
    names = measured.names + ("shape",) * rest.shape[1]
    return (
        np.ascontiguousarray(fields[kept], dtype=np.float32),
        tuple(name for name, keep in zip(names, kept, strict=True) if keep),
    )
