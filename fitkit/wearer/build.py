"""From a record to a wearer: complete the measures, shape the head, place eyes and chin."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import pi
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.mesh import Mesh
from fitkit.wearer.hair import USUAL_TAPE_HAIR_MM, TapeHair, shell_hair_mm, tape_hair
from fitkit.wearer.jaw import usual_pole
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.reading import MESH_KEYS, TAPE_TURNS_RAD, Ruler
from fitkit.wearer.record import Reading, Record
from fitkit.wearer.spread import Ways, head_spread, shape_spread, ways_of_measures
from fitkit.wearer.surface import shape_head
from fitkit.wearer.survey import Completion, complete
from fitkit.wearer.template import Template, load_template
from fitkit.wearer.wearer import Eye, Wearer

if TYPE_CHECKING:
    from collections.abc import Mapping

Floats = NDArray[np.float64]

#: Entrance pupil and centre of rotation behind the front of the cornea. [mm] From
#: memory of the Gullstrand and Le Grand eyes (3.0 to 3.05; 13 to 14).
ENTRANCE_PUPIL_MM, ROTATION_CENTRE_MM = 3.05, 13.5


def wearer_from_record(record: Record) -> Wearer:
    """
    Make the wearer that a record describes.

    Measures that were read are met by the head to 0.5 mm (tapes over the hair they
    ran over); measures that were not are set to what the survey expects of someone
    with these readings; all else is as likely as can be.

    Parameters
    ----------
    record : Record
        At least one reading.

    Returns
    -------
    Wearer

    Raises
    ------
    MeasureError
        If the readings contradict each other so that no head has them all.

    Examples
    --------
    >>> from fitkit.wearer.record import make_record
    >>> wearer = wearer_from_record(make_record(head_circumference_mm=574.0))
    >>> abs(wearer.measures_mm["head_circumference_mm"] - 574.0) < 0.5
    True
    """
    template, ruler = head_model()
    hair = tape_hair(record)
    completion = complete(_as_surveyed(record, hair))
    targets = _targets(record, completion, hair)
    shape = shape_head(template, ruler, targets)
    n = template.n_vertices
    ways = _ways(record, completion, hair, shape.keys)
    free = shape_spread(template, ruler, shape.keys)
    return Wearer(
        record=record,
        completion=completion,
        head=Mesh(shape.points[:n], template.faces),
        zone=template.zone,
        hair_mm=shell_hair_mm(record, template.zone_blend, hair),
        tape_hair_mm=hair.mean_mm,
        measures_mm=MappingProxyType(as_by_hand(ruler.values(shape.points), hair.mean_mm)),
        landmarks=MappingProxyType(place_landmarks(template, ruler, shape.points)),
        eye_left=place_eye(shape.points[template.landmarks["cornea_left"]]),
        eye_right=place_eye(shape.points[template.landmarks["cornea_right"]]),
        chin_pole=place_chin_pole(template, shape.points),
        spread=np.concatenate([head_spread(template, shape, ways), free]),
        spread_names=ways.names + ("shape",) * len(free),
        cautions=_cautions(record, completion, hair),
    )


@cache
def head_model() -> tuple[Template, Ruler]:
    """The template and its ruler, read once."""
    template = load_template()
    return template, Ruler(template)


def as_by_hand(bare_mm: Mapping[str, float], tape_hair_mm: float) -> dict[str, float]:
    """Measures as the hand reads them: tapes run over the hair. [mm]."""
    return {
        key: value + TAPE_TURNS_RAD.get(key, 0.0) * tape_hair_mm
        for key, value in bare_mm.items()
    }


def place_eye(cornea: Floats) -> Eye:
    """Eye that looks straight ahead, from the front of its cornea."""
    ahead = np.array([0.0, 1.0, 0.0])
    return Eye(
        cornea=cornea,
        entrance_pupil=cornea - ENTRANCE_PUPIL_MM * ahead,
        rotation_centre=cornea - ROTATION_CENTRE_MM * ahead,
    )


def place_landmarks(template: Template, ruler: Ruler, points: Floats) -> dict[str, Floats]:
    """Landmarks of a head; the back and the top are where they are on this head."""
    at = {name: points[index] for name, index in template.landmarks.items()}
    at["opisthocranion"] = ruler.opisthocranion(points)[1]
    at["vertex"] = points[ruler.top(points)]
    at["stomion"] = (at["stomion_upper"] + at["stomion_lower"]) / 2
    return at


def place_chin_pole(template: Template, points: Floats) -> Floats:
    """Where this head's chin turns about in the mean of people; see `wearer.jaw`."""
    return usual_pole({name: points[at] for name, at in template.landmarks.items()})


def _as_surveyed(record: Record, hair: TapeHair) -> Record:
    """The record as if its hair were usual: the survey's tape ran over usual hair."""
    tape = record.readings.get("head_circumference_mm")
    if tape is None or hair.origin.startswith("usual"):
        return record
    surplus = 2 * pi * (hair.mean_mm - USUAL_TAPE_HAIR_MM[record.sex])
    even = Reading(values_mm=tuple(v - surplus for v in tape.values_mm))
    return replace(record, readings={**record.readings, "head_circumference_mm": even})


def _targets(record: Record, completion: Completion, hair: TapeHair) -> dict[str, float]:
    """Bare-head value of every measure that the head shall meet. [mm]."""
    usual = 2 * pi * USUAL_TAPE_HAIR_MM[record.sex]
    targets = dict(zip(completion.keys, completion.mean_mm.tolist(), strict=True))
    targets["head_circumference_mm"] -= usual
    for key in MESH_KEYS:
        if key in record.readings:
            over_hair = TAPE_TURNS_RAD.get(key, 0.0) * hair.mean_mm
            targets[key] = record.readings[key].mean_mm - over_hair
    return targets


def _ways(
    record: Record, completion: Completion, hair: TapeHair, keys: tuple[str, ...]
) -> Ways:
    """Named ways in which the targets may be wrong: survey, other readings, hair."""
    survey = ways_of_measures(completion.keys, completion.covariance_mm2, completion.given)
    names = list(survey.names)
    row = {key: i for i, key in enumerate(keys)}
    change = np.zeros((len(keys), len(names)))
    change[[row[key] for key in completion.keys]] = survey.change_mm
    extra = []
    for key in keys:
        if key not in completion.keys:
            repeats = len(record.readings[key].values_mm)
            extra.append((key, {key: CATALOGUE[key].repeat_sd / repeats**0.5}))
    if hair.sd_mm > 0:
        turns = {k: -TAPE_TURNS_RAD[k] * hair.sd_mm for k in TAPE_TURNS_RAD if k in row}
        extra.append(("tape_hair_mm", turns))
    for name, moves in extra:
        names.append(name)
        column = np.zeros(len(keys))
        for key, value in moves.items():
            column[row[key]] = value
        change = np.c_[change, column]
    return Ways(names=tuple(names), change_mm=change)


def _cautions(record: Record, completion: Completion, hair: TapeHair) -> tuple[str, ...]:
    said = []
    if hair.origin != "recorded":
        said.append(
            f"Hair under the tape taken as {hair.mean_mm:.1f} mm ({hair.origin}); "
            "record tape_hair_mm to know the bare head."
        )
    if not record.hair_mm:
        said.append(
            "Hair under the shell not recorded; taken from the hair under the tape. "
            "Record hair_mm by zone, or 0 for a bald cap."
        )
    if len(completion.given) < 3:
        said.append(
            f"Only {len(completion.given)} of {len(completion.keys)} survey measures were "
            "read; the rest are what the survey expects, with the spread shown."
        )
    return tuple(said)
