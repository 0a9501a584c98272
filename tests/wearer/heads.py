"""People drawn from the survey, the sample wearers, and a real head, for tests."""

from __future__ import annotations

import csv
import warnings
from functools import cache
from pathlib import Path

import numpy as np

from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import head_model
from fitkit.wearer.hair import USUAL_TAPE_HAIR_MM
from fitkit.wearer.measures import SURVEY_KEYS
from fitkit.wearer.reading import TAPE_TURNS_RAD
from fitkit.wearer.record import Reading, Record
from fitkit.wearer.survey import population
from fitkit.wearer.zones import ZONES

REFERENCE = Path(__file__).parents[1] / "reference"
#: Zones in which a head is compared with a scan: all but ears and neck.
FACE_AND_SCALP = [i for i, zone in enumerate(ZONES) if not zone.startswith("ear")]


def draws(sex, count, *, seed):
    """People drawn from the survey's distribution, one dict of measures each. [mm]."""
    people = population(sex)
    mean, covariance = people.working
    work = np.random.default_rng(seed).multivariate_normal(mean, covariance, size=count)
    log = np.isfinite(people.log_origin_mm)
    work[:, log] = people.log_origin_mm[log] + np.exp(work[:, log])
    return [dict(zip(SURVEY_KEYS, row.tolist(), strict=True)) for row in work]


def mixed_draws(count, *, seed):
    """Women and men in turn: pairs of sex and measures."""
    half = (count + 1) // 2
    women, men = (draws(sex, half, seed=seed) for sex in ("female", "male"))
    pairs = [("female", w) for w in women] + [("male", m) for m in men]
    return [pairs[i // 2 + half * (i % 2)] for i in range(count)]


def bare(measures_mm, sex):
    """Measures of the head under usual hair: tapes less the turn they take over it."""
    hair = USUAL_TAPE_HAIR_MM[sex]
    return {k: mm - TAPE_TURNS_RAD.get(k, 0.0) * hair for k, mm in measures_mm.items()}


def plain_record(readings_mm, *, sex=None, tape_hair_mm=None, hair_mm=None):
    """A record without the checks of ``make_record``: a drawn person may be odd."""
    readings = {key: Reading(values_mm=(float(mm),)) for key, mm in readings_mm.items()}
    return Record(
        name="drawn",
        sex=sex,
        readings=readings,
        hair_mm=hair_mm or {},
        tape_hair_mm=tape_hair_mm,
        glasses=None,
        notes="",
    )


def mean_head():
    """The template's mean head."""
    template, _ = head_model()
    return Mesh(template.mean_mm[: template.n_vertices], template.faces)


@cache
def fsaverage():
    """
    A real head as a scan: mesh in mm, and its three fiducials by landmark name.

    ``fsaverage-head.fif`` and ``fsaverage-fiducials.fif`` as packaged with ``mne``: the
    average of 40 adults from MRI, larger than life, no ears, neck cut flat.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import mne
    folder = Path(mne.__file__).parent / "data" / "fsaverage"
    (surface,) = mne.read_bem_surfaces(folder / "fsaverage-head.fif", verbose=False)
    marks, _ = mne.io.read_fiducials(folder / "fsaverage-fiducials.fif", verbose=False)
    names = ("tragion_left", "sellion", "tragion_right")
    places = [1000.0 * mark["r"].astype(float) for mark in marks]
    mesh = Mesh(1000.0 * surface["rr"], surface["tris"].astype(np.int64))
    return mesh, dict(zip(names, places, strict=True))


def published(head):
    """Size of a real head by measure, and its slack, found apart from this code. [mm]."""
    with (REFERENCE / "real_heads.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["head"] == head]
    return {row["key"]: (float(row["value_mm"]), float(row["slack_mm"])) for row in rows}
