"""Helper: wearers whose true head is known, and what a maker would read on them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from heads import mixed_draws, plain_record

from fitkit.fit._trial_model import HAIR_SHARE_SD, Seat, TrialModel, hair_ways
from fitkit.fit.ease import ease
from fitkit.fit.placement import Placement
from fitkit.fit.size import solve_size
from fitkit.wearer.build import as_by_hand, head_model, wearer_from_record
from fitkit.wearer.hair import TAPE_HAIR_SD_MM, TAPE_SHARE, USUAL_TAPE_HAIR_MM
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.reading import TAPE_TURNS_RAD
from fitkit.wearer.spread import shape_spread
from fitkit.wearer.surface import shape_head
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import SCALP_ZONES, ZONES

#: What the maker read: four measures.
MAKERS = ("head_circumference_mm", "head_length_mm", "head_breadth_mm", "menton_sellion_mm")
#: How far beside its place a gauge is held, each way; how patchy hair is. [mm, share]
BESIDE_MM, PATCHY = 2.0, 0.15


@dataclass(frozen=True, kw_only=True)
class Person:
    """Somebody as the maker knows them, and as they are."""

    known: Wearer
    true: Wearer
    plan: Placement


def from_spread(known, plan, rng) -> Person:
    """Draw a true head from what the wearer's own spread leaves open."""
    x = rng.standard_normal(len(known.spread) + 1)
    moved = np.tensordot(x[:-1], known.spread, 1)
    head = known.head.with_vertices(known.head.vertices + moved)
    hair = np.maximum(0.0, known.hair_mm + hair_ways(known) @ x)
    return Person(known=known, true=replace(known, head=head, hair_mm=hair), plan=plan)


def from_survey(piece, sex, measures_mm, rng) -> Person:
    """Draw a true head with all measures of a surveyed person; the maker has four."""
    template, ruler = head_model()
    n, usual = template.n_vertices, USUAL_TAPE_HAIR_MM[sex]
    bare = {k: mm - TAPE_TURNS_RAD.get(k, 0.0) * usual for k, mm in measures_mm.items()}
    shape = shape_head(template, ruler, bare)
    ways = shape_spread(template, ruler, shape.keys)
    points = shape.points.copy()
    points[:n] += np.tensordot(rng.standard_normal(len(ways)), ways, 1)
    tape_hair = max(0.0, usual + TAPE_HAIR_SD_MM[sex] * rng.standard_normal())
    by_hand = as_by_hand(ruler.values(points), tape_hair)
    read = {
        key: by_hand[key] + CATALOGUE[key].repeat_sd * rng.standard_normal()
        for key in MAKERS
    }
    known = wearer_from_record(plain_record(read, sex=sex))
    scalp = [float(zone in SCALP_ZONES) for zone in ZONES]
    thick = tape_hair / TAPE_SHARE * (1 + HAIR_SHARE_SD * rng.standard_normal())
    true = replace(
        known,
        head=known.head.with_vertices(points[:n]),
        hair_mm=max(0.0, thick) * template.zone_blend @ scalp,
    )
    plan = solve_size(known, piece, ways_out=False).placement
    return Person(known=known, true=true, plan=plan)


def surveyed(piece, count, *, seed):
    """People of the survey, women and men in turn."""
    rng = np.random.default_rng(seed)
    for sex, measures_mm in mixed_draws(count, seed=seed):
        yield from_survey(piece, sex, measures_mm, rng)


def sat(plan, rng, seat=None) -> Placement:
    """Give a placement as it came to sit."""
    off = (seat or Seat()).sd * rng.standard_normal(6)
    return Placement(
        size=plan.size,
        shift_mm=plan.shift_mm + off[:3],
        pitch_deg=plan.pitch_deg + off[3],
        yaw_deg=plan.yaw_deg + off[4],
        roll_deg=plan.roll_deg + off[5],
    )


def read_gaps(person, piece, placement, points, rng, *, gauge_sd_mm) -> dict[str, float]:
    """Read gaps on the true head: beside the place, over patchy hair, with the gauge."""
    from fitkit.fit._trial_places import PLACES

    places = [
        replace(
            PLACES[point.key],
            across_mm=PLACES[point.key].across_mm + BESIDE_MM * rng.standard_normal(),
            along_mm=PLACES[point.key].along_mm + BESIDE_MM * rng.standard_normal(),
        )
        for point in points
    ]
    model = TrialModel(person.true, piece, placement, places=places, seat=Seat())
    got = model.foretell(np.zeros(model.unknowns))
    gap = got.ease_mm + PATCHY * got.hair_mm * rng.standard_normal(len(places))
    gap = gap + gauge_sd_mm * rng.standard_normal(len(places))
    return {
        point.key: round(float(mm), 1)
        for point, mm, ok in zip(points, gap, got.roomy, strict=True)
        if ok
    }


def unread(wearer, points, *, farther_than_mm=10.0) -> np.ndarray:
    """Vertices of all zones that lie farther than this from every place read."""
    away = [np.linalg.norm(wearer.head.vertices - point.at, axis=1) for point in points]
    return (wearer.zone >= 0) & (np.min(away, axis=0) > farther_than_mm)


def ease_error_mm(thought, true, piece, placement, rows, *, true_placement=None):
    """Foretold less true ease at some vertices."""
    foretold = ease(thought, piece, placement).ease_mm[rows]
    real = ease(true, piece, true_placement or placement).ease_mm[rows]
    return foretold - real
