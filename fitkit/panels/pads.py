"""Pad sets side by side: what is put aside, and what each gives and costs."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fitkit.errors import FitkitError
from fitkit.fit.foam import foam, library
from fitkit.fit.pad_options import COMPARED
from fitkit.fit.pad_stock import LAYOUTS, PadOption, Stock, make_options
from fitkit.fit.padding import GUIDE_KPA, Padding, pad_out
from fitkit.fit.pads import LEAST_THICK_MM, MOST_THICK_MM, pad_area_mm2
from fitkit.fit.placement import Placement
from fitkit.panels.state import PadChoice
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Materials, Weighing, weigh
from fitkit.wearer.measures import unknown_message
from fitkit.wearer.number import number_problem
from fitkit.wearer.wearer import Wearer

#: Squeeze of the pads, and density of the wall, that are believed. [%] and [g/cm³]
SQUEEZE_PERCENT, WALL_G_CM3 = (0.0, 80.0), (0.01, 9.0)
#: Most sheets on the shelf, and most letters of a name.
MOST_SHEETS, LONGEST_NAME = 8, 60
#: Size of a picture of pressures, and its dots in an inch. [mm]
WIDE_MM, HIGH_MM, DOTS_PER_INCH = 92.0, 100.0, 130.0
#: What a picture of pressures shows, for people.
CAPTION = (
    f"Pressure upright. Blue: up to the guide of {GUIDE_KPA:.1f} kPa, darker is more; "
    "orange and hatched: beyond it. The cross marks the peak."
)


@dataclass(frozen=True, kw_only=True)
class PadCard:
    """What one set of pads gives and costs on one placement."""

    #: "It holds", or what is wrong.
    verdict: str
    #: Whether it holds and presses nowhere beyond the guide.
    good: bool
    #: Titles and figures, for people.
    figures: tuple[tuple[str, str], ...]
    #: What to look at, in words.
    cautions: tuple[str, ...]
    #: PNG of the pressure on the head; empty where it cannot be worn.
    picture: bytes


def pad_choice(
    *,
    name: object,
    foam: object,
    layout: object,
    squeeze_percent: object,
    sheets_mm: object,
    wall_g_cm3: object,
) -> PadChoice:
    """
    Check a set of pads as typed, or as a file says it.

    Parameters
    ----------
    name : str
        Made up of foam, layout and squeeze if empty.
    foam, layout : str
    squeeze_percent, wall_g_cm3 : float or str
        A decimal comma is understood.
    sheets_mm : str or sequence of float
        Thicknesses parted by spaces or semicolons, or a list of them. [mm]

    Raises
    ------
    FitkitError
        If anything cannot be used.

    Examples
    --------
    >>> pad_choice(name="", foam="hr 40", layout="ring", squeeze_percent="20",
    ...            sheets_mm="6; 10 15", wall_g_cm3="0,4").name
    'hr 40, ring, 20 %'
    """
    known = library()
    if foam not in known:
        raise FitkitError(unknown_message("foam", str(foam), known))
    if layout not in LAYOUTS:
        raise FitkitError(unknown_message("layout", str(layout), LAYOUTS))
    squeeze = _share(squeeze_percent)
    return PadChoice(
        name=str(name).strip()[:LONGEST_NAME] or f"{foam}, {layout}, {squeeze:g} %",
        foam=str(foam),
        layout=str(layout),
        squeeze_percent=squeeze,
        sheets_mm=_sheets(sheets_mm),
        wall_g_cm3=_density(wall_g_cm3),
    )


def _sheets(given: object) -> tuple[float, ...]:
    words = re.split(r"[;\s]+", given.strip()) if isinstance(given, str) else given
    if not isinstance(words, Sequence) or not 1 <= len(words) <= MOST_SHEETS:
        msg = f"Sheets must be 1 to {MOST_SHEETS} thicknesses in mm; got {given!r}."
        raise FitkitError(msg)
    return tuple(sorted({_sheet(word) for word in words}))


def _sheet(given: object) -> float:
    value = _number(given)
    low, high = LEAST_THICK_MM, MOST_THICK_MM
    wrong = number_problem("A sheet", value, low=low, high=high)
    if wrong is not None:
        raise FitkitError(wrong[0])
    return float(value)


def _share(given: object) -> float:
    value = _number(given)
    low, high = SQUEEZE_PERCENT
    wrong = number_problem("Pressed by", value, low=low, high=high, unit="%")
    if wrong is not None:
        cure = f"Write a number of {low:g} to {high:g} %."
        raise FitkitError(f"{wrong[0].split('. ')[0]}. {cure}")
    return float(value)


def _density(given: object) -> float:
    value = _number(given)
    low, high = WALL_G_CM3
    wrong = number_problem("Wall", value, low=low, high=high, unit="g/cm³")
    if wrong is not None:
        cure = f"Write a number of {low:g} to {high:g} g/cm³."
        if isinstance(value, float) and low <= value / 1000 <= high:
            cure = f"That reads like kg/m³: did you mean {value / 1000:g} g/cm³?"
        raise FitkitError(f"{wrong[0].split('. ')[0]}. {cure}")
    return float(value)


def _number(given: object) -> float | str:
    """Give a number of what was typed, or what was typed where it is none."""
    if isinstance(given, (int, float)):
        return float(given)
    text = str(given).strip()[:60]
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def pad_card(
    wearer: Wearer, piece: Piece, placement: Placement, choice: PadChoice
) -> PadCard:
    """
    Let the piece settle on one set of pads, upright, bowed and turning.

    A set that cannot be worn is no error here: its card says why.
    """
    try:
        option = _option(wearer, piece, placement, choice)
        materials = Materials(wall_g_cm3=choice.wall_g_cm3)
        weighing = weigh(piece, materials=materials, size=placement.size)
        padding = pad_out(
            wearer, piece, placement, pads=option.pads, weighing=weighing, cases=COMPARED
        )
    except FitkitError as problem:
        return PadCard(
            verdict="It cannot be worn",
            good=False,
            figures=(),
            cautions=(str(problem),),
            picture=b"",
        )
    gentle = padding.peak_kpa <= GUIDE_KPA
    cautions = [
        f"{name.capitalize()}: {words}"
        for name, one in padding.settled.items()
        for words in one.cautions
    ]
    return PadCard(
        verdict=_verdict(holds=padding.holds, gentle=gentle),
        good=padding.holds and gentle,
        figures=tuple(_figures(wearer, option, padding, weighing)),
        cautions=tuple(cautions),
        picture=_picture(wearer, padding),
    )


def _verdict(*, holds: bool, gentle: bool) -> str:
    if holds:
        return "It holds" if gentle else "It holds, but presses hard"
    return "It does not hold"


def _option(
    wearer: Wearer, piece: Piece, placement: Placement, choice: PadChoice
) -> PadOption:
    (option,) = make_options(
        wearer,
        piece,
        placement,
        stock=[Stock(foam=foam(choice.foam), sheets_mm=choice.sheets_mm)],
        layouts={choice.layout: LAYOUTS[choice.layout]},
        squeezes=[choice.squeeze_percent / 100.0],
    )
    return option


def _figures(
    wearer: Wearer, option: PadOption, padding: Padding, weighing: Weighing
) -> Iterator[tuple[str, str]]:
    upright, *others = padding.settled.values()
    slip = min(one.slip_margin for one in (upright, *others))
    right, _, up = upright.eye_line_shift_mm
    total, bare = padding.mass.mass_g, weighing.total.mass_g
    sheet = sum(
        pad_area_mm2(wearer, pad) * len(sheets)
        for pad, sheets in zip(option.pads, option.sheets_mm, strict=True)
    )
    yield "Peak pressure", f"{padding.peak_kpa:.1f} kPa (guide {GUIDE_KPA:.1f})"
    yield "Friction left", f"{100 * slip:.0f} % where it is shortest"
    yield "Rocks", f"{max(upright.wobble_deg_per_nm.values()):.1f} deg per N m"
    yield "Eye line", f"{(right**2 + up**2) ** 0.5:.1f} mm off once it has settled"
    yield "Weight", f"{total:.0f} g, of it {total - bare:.0f} g of pads"
    yield "Sheet used", f"{sheet / 100:.0f} cm²"
    for pad, sheets in zip(option.pads, option.sheets_mm, strict=True):
        glued = " + ".join(f"{thick:g}" for thick in sheets)
        yield pad.name.capitalize(), f"{glued} mm"


def _picture(wearer: Wearer, padding: Padding) -> bytes:
    from fitkit.plots.padding import draw_pressure  # drawing loads only when asked for
    from fitkit.plots.paper import new_figure, png_bytes, styled

    figure = new_figure(width_mm=WIDE_MM, height_mm=HIGH_MM)
    with styled():
        axes = [figure.add_subplot(2, 2, place) for place in (1, 2, 3, 4)]
        draw_pressure(axes, wearer.head, padding.settled["upright"])
        figure.tight_layout(pad=0.3)
        return png_bytes(figure, dots_per_inch=DOTS_PER_INCH)
