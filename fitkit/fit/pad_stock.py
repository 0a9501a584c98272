"""Pads from the sheets on the shelf: usual layouts, thicknesses that fit the gaps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement, product
from types import MappingProxyType

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.foam import Foam
from fitkit.fit.pads import HeadInPiece, Pad, gaps_mm, head_in_piece
from fitkit.fit.placement import FloatArray, Placement
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer

Layout = Mapping[str, tuple[str, ...]]

#: Usual layouts: pad name to the zones under it.
LAYOUTS: Mapping[str, Layout] = MappingProxyType(
    {
        "ring": {
            "brow": ("brow",),
            "left temple": ("temple_left",),
            "right temple": ("temple_right",),
            "back": ("back",),
        },
        "ring and crown": {
            "brow": ("brow",),
            "left temple": ("temple_left",),
            "right temple": ("temple_right",),
            "back": ("back",),
            "crown": ("crown",),
        },
        "brow, crown, back": {"brow": ("brow",), "crown": ("crown",), "back": ("back",)},
        "ring, crown, cheeks": {
            "brow": ("brow",),
            "left temple": ("temple_left",),
            "right temple": ("temple_right",),
            "back": ("back",),
            "crown": ("crown",),
            "left cheek": ("cheek_left",),
            "right cheek": ("cheek_right",),
        },
    }
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Stock:
    """Sheets of one foam on the shelf."""

    foam: Foam
    #: Thicknesses there are. [mm]
    sheets_mm: tuple[float, ...]
    #: Most sheets that are glued on one another.
    most_layers: int = 2

    def thicknesses_mm(self) -> tuple[float, ...]:
        """All thicknesses that one sheet, or a stack of them, can have, in mm."""
        sums = {
            sum(sheets)
            for count in range(1, self.most_layers + 1)
            for sheets in combinations_with_replacement(self.sheets_mm, count)
        }
        return tuple(sorted(sums))

    def layers_mm(self, thickness_mm: float) -> tuple[float, ...]:
        """Sheets that make up a thickness, as few as possible, in mm."""
        for count in range(1, self.most_layers + 1):
            for sheets in combinations_with_replacement(self.sheets_mm, count):
                if abs(sum(sheets) - thickness_mm) < 1e-9:
                    return sheets
        made = ", ".join(f"{t:g}" for t in self.thicknesses_mm())
        msg = f"{thickness_mm:g} mm cannot be made of {self.foam.name}: {made} mm can."
        raise BriefError(msg)


@dataclass(frozen=True, kw_only=True, eq=False)
class PadOption:
    """One set of pads to be compared."""

    name: str
    pads: tuple[Pad, ...]
    #: Thicknesses of the sheets that each pad is glued up from. [mm]
    sheets_mm: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        if len(self.sheets_mm) != len(self.pads):
            msg = (
                f"{self.name}: give the sheets of every pad; got {len(self.sheets_mm)} "
                f"for {len(self.pads)} pads."
            )
            raise BriefError(msg)


def make_options(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    stock: Sequence[Stock],
    layouts: Mapping[str, Layout] = LAYOUTS,
    squeezes: Sequence[float] = (0.1, 0.2, 0.3, 0.4),
) -> tuple[PadOption, ...]:
    """
    Make a pad set of every foam, layout and squeeze, with thicknesses from stock.

    Parameters
    ----------
    wearer, piece, placement
    stock : sequence of Stock
    layouts : mapping of name to layout
    squeezes : sequence of float
        How far each pad shall be pressed where its gap is the median, as a share of its
        thickness; the stock thickness nearest to that is taken.

    Returns
    -------
    tuple of PadOption
        Sets that come out the same are made once.
    """
    head, walls = head_in_piece(wearer, piece, placement)
    gap = gaps_mm(head.start.local(wearer.head.vertices[head.rows]), walls)
    found: dict[tuple[object, ...], PadOption] = {}
    for one, (name, layout), squeeze in product(stock, layouts.items(), squeezes):
        in_range("squeeze", squeeze, low=0.0, high=0.8, unit="")
        pads = tuple(
            _stock_pad(head, gap, one, pad, zones, squeeze) for pad, zones in layout.items()
        )
        key = (one.foam.name, name, *(pad.thickness_mm for pad in pads))
        label = f"{one.foam.name}, {name}, {100 * squeeze:.0f} %"
        sheets = tuple(one.layers_mm(pad.thickness_mm) for pad in pads)
        found.setdefault(key, PadOption(name=label, pads=pads, sheets_mm=sheets))
    return tuple(found.values())


def _stock_pad(
    head: HeadInPiece,
    gap: FloatArray,
    stock: Stock,
    name: str,
    zones: tuple[str, ...],
    squeeze: float,
) -> Pad:
    rough = Pad(name=name, foam=stock.foam, thickness_mm=10.0, zones=zones)
    median = float(np.median(gap[rough.covers(head.wearer)[head.rows]]))
    wanted = median / (1.0 - squeeze)
    thick = min(stock.thicknesses_mm(), key=lambda t: abs(t - wanted))
    return Pad(name=name, foam=stock.foam, thickness_mm=thick, zones=zones)
