"""Straps of the jaw as strips to cut to length, with their knots."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitkit.fit._checks import in_range
from fitkit.fit.jaw_parts import HungJaw, Strap
from fitkit.fit.jaw_return import StrapTravel, close_jaw
from fitkit.views.templates import Line, Template, Words

KIND = "straps"
#: Width of the strip that stands for a cord, and half the length of a knot's bar. [mm]
STRIP_MM, BAR_MM = 14.0, 5.0


def strap_templates(hung: HungJaw, *, knot_mm: float = 40.0) -> tuple[Template, ...]:
    """
    Give a strip for each strap of a jaw.

    Parameters
    ----------
    hung : HungJaw
        With its straps.
    knot_mm : float
        Cord added at each end, for the knot. [mm]

    Returns
    -------
    tuple of Template
        Empty if the jaw has no strap. The bars are as far apart as the knots of the cord
        without pull.

    Raises
    ------
    BriefError
        If `knot_mm` is out of range.
    """
    in_range("knot_mm", knot_mm, low=0, high=200, unit="mm")
    travels = close_jaw(hung).straps
    pairs = zip(hung.fittings.straps, travels, strict=True)
    return tuple(_strip(strap, travel, knot_mm) for strap, travel in pairs)


def _strip(strap: Strap, travel: StrapTravel, knot_mm: float) -> Template:
    whole, half = strap.free_mm + 2 * knot_mm, STRIP_MM / 2
    outline = np.array([[0.0, -half], [whole, -half], [whole, half], [0.0, half]])
    knots = (knot_mm, knot_mm + strap.free_mm)
    bars = tuple(
        Line(job="mark", points_mm=np.array([[at, -BAR_MM], [at, BAR_MM]])) for at in knots
    )
    words = Words(text=strap.name, at_mm=np.array([whole / 2, 0.0]), height_mm=2.2)
    return Template(
        name=f"strap {strap.name}",
        kind=KIND,
        lines=(Line(job="cut", points_mm=outline, closed=True), *bars),
        words=(words,),
        notes=tuple(_notes(strap, travel, knot_mm)),
    )


def _notes(strap: Strap, travel: StrapTravel, knot_mm: float) -> Iterator[str]:
    whole = strap.free_mm + 2 * knot_mm
    yield (
        f"Cut {whole:.0f} mm of cord, lying slack: {strap.free_mm:.1f} mm between the "
        f"knots and {knot_mm:g} mm for each knot."
    )
    shut, wide = float(travel.length_mm[0]), float(travel.length_mm[-1])
    yield (
        f"Knot to knot {shut:.1f} mm with the jaw shut, {wide:.1f} mm with it wide open: "
        f"stretched by up to {travel.strain_percent:.0f} % of the "
        f"{strap.most_strain_percent:.0f} % it takes. It must pull "
        f"{strap.stiffness_n_per_mm:g} N for each mm: hang a weight on a strip and measure."
    )
