"""Every question of padding asked of one placement, answered in one frozen report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._pad_words import STILL_MM
from fitkit.fit._words import listed, move_words
from fitkit.fit.foam import foam
from fitkit.fit.pad_options import OptionRow, PadBrief, Suggestion, suggest
from fitkit.fit.pad_patterns import PadPattern, pad_patterns
from fitkit.fit.pad_spread import Doubt, padding_doubt
from fitkit.fit.pad_stock import LAYOUTS, Layout, PadOption, Stock, make_options
from fitkit.fit.pad_wear import Worn, wear_in
from fitkit.fit.padding import CASES, GUIDE_KPA, Padding, pad_out
from fitkit.fit.pads import Pad
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import Piece
from fitkit.piece.generic import generic_materials
from fitkit.piece.mass import Materials, Weighing, weigh
from fitkit.wearer.wearer import Wearer

#: Sheets that are taken to be on the shelf when none are named: common practice. [mm]
USUAL_SHEETS_MM = (6.0, 10.0, 15.0, 20.0)
#: Foams of the usual shelf: soft enough for the guide, or firm enough for a heavy piece.
USUAL_FOAMS = ("hr 40", "hr 45 firm", "pu 35 firm")
#: Layouts that are tried when none are named.
USUAL_LAYOUTS = ("ring", "ring and crown", "brow, crown, back", "ring, crown, cheeks")
#: How far the pads may be pressed as the piece is put on.
USUAL_SQUEEZES = (0.1, 0.2, 0.3, 0.4, 0.5)
#: Wear that is asked for when none is named. [h]
USUAL_HOURS = 4.0

#: Reasons that are said when no set can be worn.
SAID_PROBLEMS = 3

#: Called with the number done and the number to do.
Progress = Callable[[int, int], None]


@dataclass(frozen=True, kw_only=True, eq=False)
class PaddingReport:
    """Which pads, how they press and hold, how they wear, and how they are cut."""

    #: What was taken because nobody had said, in sentences; empty means nothing.
    assumed: tuple[str, ...]
    #: The piece without pads, piece axes. [g, mm]
    weighing: Weighing
    brief: PadBrief
    #: Pad sets that were compared; empty where the pads were given.
    rows: tuple[OptionRow, ...]
    #: The set that was taken from `rows`; None where the pads were given.
    option: PadOption | None
    #: Demands of the brief that the set misses, in words; empty if it meets them.
    missed: tuple[str, ...]
    #: The set in every case of ``CASES``.
    padding: Padding
    #: What batches of foam and friction leave open.
    doubt: Doubt
    #: After hours of wear.
    worn: Worn
    #: Pads to cut, 1:1.
    patterns: tuple[PadPattern, ...]
    #: The answer in sentences, the weightiest first.
    words: tuple[str, ...]
    #: What to look out for; empty means nothing. They never say that it is safe.
    cautions: tuple[str, ...]


def usual_stock() -> tuple[Stock, ...]:
    """Give the sheets that are taken to be on the shelf when none are named."""
    return tuple(Stock(foam=foam(n), sheets_mm=USUAL_SHEETS_MM) for n in USUAL_FOAMS)


def padding_report(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    pads: Sequence[Pad] | None = None,
    materials: Materials | None = None,
    weighing: Weighing | None = None,
    stock: Sequence[Stock] | None = None,
    layouts: Mapping[str, Layout] | None = None,
    brief: PadBrief | None = None,
    hours: float = USUAL_HOURS,
    most_stretch_percent: float = 8.0,
    threads: int = 2,
    progress: Progress | None = None,
) -> PaddingReport:
    """
    Ask every question of padding of one placement.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    pads : sequence of Pad, optional
        Chosen from stock to meet the brief with the least pressure if left out.
    materials : Materials, optional
        Of the piece; generic ones if neither these nor `weighing` are given.
    weighing : Weighing, optional
        Of the piece without pads, at the size of the placement; counts before
        `materials`.
    stock : sequence of Stock, optional
        Sheets to choose from; those of `usual_stock` if left out.
    layouts : mapping of name to layout, optional
        Those of ``USUAL_LAYOUTS`` if left out.
    brief : PadBrief, optional
    hours : float
        Of wear. [h]
    most_stretch_percent : float
        As in `pad_patterns`. [percent]
    threads, progress
        As in `compare_options`.

    Returns
    -------
    PaddingReport
        Whatever was taken for want of better is said in `assumed`.

    Raises
    ------
    BriefError
        If no pad set touches the head, or anything asked is out of range.
    DesignError
        If the piece cannot be weighed.
    """
    at = wearer, piece, placement
    asked = brief or PadBrief()
    weighed, assumed = weighed_piece(
        piece, placement, materials=materials, weighing=weighing
    )
    found = None
    if pads is None:
        shelf = stock or usual_stock()
        options = make_options(
            *at, stock=shelf, layouts=layouts or _usual(), squeezes=USUAL_SQUEEZES
        )
        found = suggest(
            *at, options=options, weighing=weighed, brief=asked, cases=CASES,
            threads=threads, progress=progress,
        )  # fmt: skip
        padding = _exact(found)
        assumed += tuple(_chosen_words(found, given=stock is not None))
    else:
        padding = pad_out(*at, pads=pads, weighing=weighed, cases=CASES)
    doubt = padding_doubt(*at, padding=padding, weighing=weighed)
    worn = wear_in(*at, padding=padding, weighing=weighed, hours=hours)
    patterns, uncut = _patterns(*at, padding.pads, most_stretch_percent)
    missed = found.missed if found else ()
    return PaddingReport(
        assumed=assumed,
        weighing=weighed,
        brief=asked,
        rows=found.rows if found else (),
        option=found.row.option if found and found.row else None,
        missed=missed,
        padding=padding,
        doubt=doubt,
        worn=worn,
        patterns=patterns,
        words=tuple(_words(padding, doubt, worn, missed)),
        cautions=(*_cautions(padding, doubt, patterns), *uncut),
    )


def _usual() -> Mapping[str, Layout]:
    return {name: LAYOUTS[name] for name in USUAL_LAYOUTS}


def _exact(found: Suggestion) -> Padding:
    """Take the set that was worked out exactly; refuse if there is none."""
    if found.padding is None:
        reasons = " ".join(found.missed[:SAID_PROBLEMS])
        msg = f"No pad set of this stock can be worn. {reasons}"
        raise BriefError(msg)
    return found.padding


def _patterns(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    pads: Sequence[Pad],
    most_stretch_percent: float,
) -> tuple[tuple[PadPattern, ...], tuple[str, ...]]:
    """Lay the pads flat that can be, and say of the others why not."""
    patterns: list[PadPattern] = []
    problems = []
    for pad in pads:
        try:
            patterns += pad_patterns(
                wearer, piece, placement, pads=[pad],
                most_stretch_percent=most_stretch_percent,
            )  # fmt: skip
        except BriefError as problem:
            problems.append(str(problem))
    return tuple(patterns), tuple(problems)


def weighed_piece(
    piece: Piece,
    placement: Placement,
    *,
    materials: Materials | None = None,
    weighing: Weighing | None = None,
) -> tuple[Weighing, tuple[str, ...]]:
    """Weigh a piece at the size of a placement, and say what was taken for that."""
    if weighing is not None:
        return weighing, ()
    if materials is not None:
        return weigh(piece, materials=materials, size=placement.size), ()
    taken = generic_materials(piece)
    return weigh(piece, materials=taken.materials, size=placement.size), taken.words


def _chosen_words(found: Suggestion, *, given: bool) -> Iterator[str]:
    if found.row is None:
        return
    option, count = found.row.option, len(found.rows)
    pads = [f"{pad.name} {pad.thickness_mm:g} mm" for pad in option.pads]
    shelf = "the stock given"
    if not given:
        sheets = ", ".join(f"{sheet:g}" for sheet in USUAL_SHEETS_MM)
        shelf = f"sheets of {sheets} mm of {listed(list(USUAL_FOAMS))}"
    yield (
        f"No pads were given: these were chosen from {count} sets of {shelf}: "
        f"{listed(pads)}, of {option.pads[0].foam.name}."
    )


def _words(
    padding: Padding, doubt: Doubt, worn: Worn, missed: Sequence[str]
) -> Iterator[str]:
    loosest = min(padding.settled.values(), key=lambda one: one.slip_margin)
    hardest = max(padding.settled.values(), key=lambda one: one.peak_kpa)
    where = max(hardest.pads, key=lambda pad: pad.peak_kpa).name
    if missed:
        yield f"No set meets all that was asked; the nearest misses: {'; '.join(missed)}."
    if padding.holds:
        left = 100 * max(loosest.slip_margin, 0.0)
        yield (
            f"Held still by its pads upright, bowed, tilted, looking up, nodding and "
            f"turning: {left:.0f} % of the friction is left where it is least "
            f"({loosest.case.name})."
        )
    else:
        loose = [name for name, one in padding.settled.items() if not one.holds]
        yield (
            f"Its pads alone do not hold it ({listed(loose)}): add a strap or a lining "
            "that grips, or more foam at the sides."
        )
    yield (
        f"It presses hardest at the {where} ({hardest.case.name}): "
        f"{padding.peak_kpa:.1f} kPa. About {GUIDE_KPA:.1f} kPa is a guide to comfort "
        "over hours, not a limit; sources put it anywhere from 2.7 to 5.3 kPa."
    )
    yield from doubt.words[:1]
    yield from worn.words


def _cautions(
    padding: Padding, doubt: Doubt, patterns: Sequence[PadPattern]
) -> Iterator[str]:
    if padding.peak_kpa > GUIDE_KPA:
        most = max(one.over_guide_mm2 for one in padding.settled.values())
        yield (
            f"Up to {most / 100:.1f} cm² is pressed beyond the guide of {GUIDE_KPA:.1f} "
            "kPa: expect sore spots, plan breaks, and look at the skin afterwards."
        )
    yield from doubt.words[1:]
    yield from _state_words(padding)
    over = [pattern.name for pattern in patterns if not pattern.keeps_bound]
    if over:
        yield (
            f"{listed(over)} will stretch beyond the bound when bent to the wall: cut "
            "smaller, or heat the foam to shape."
        )


def _state_words(padding: Padding) -> Iterator[str]:
    """What pads do that they should not, each with the cases in which they do."""
    settled = padding.settled
    for index, pad in enumerate(padding.pads):
        squeezed = [n for n, one in settled.items() if one.pads[index].bottomed]
        lost = [n for n, one in settled.items() if one.pads[index].lost]
        if squeezed:
            yield (
                f"The {pad.name} pad is pressed beyond its foam's curve "
                f"({listed(squeezed)}): take it thinner or larger."
            )
        if lost:
            yield f"The {pad.name} pad hardly touches ({listed(lost)}): make it thicker."
    bare = {name: one.pads[-1].contact_mm2 for name, one in settled.items()}
    worst = max(bare, key=lambda name: bare[name])
    if bare[worst] > 0:
        yield (
            f"The bare wall presses on up to {bare[worst] / 100:.1f} cm² of head "
            f"({worst}): pad there, or make more room."
        )
    shift = next(iter(settled.values())).eye_line_shift_mm
    if float(np.hypot(shift[0], shift[2])) > STILL_MM:
        yield (
            "As it settles upright, the wall ahead of the eyes goes "
            f"{move_words((float(shift[0]), 0.0, float(shift[2])))}: allow for it where "
            "the eyes are cut."
        )
