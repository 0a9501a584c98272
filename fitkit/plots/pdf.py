"""Figures as the pages of one PDF: true to size, fonts embedded, text that is text."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from fitkit.plots.paper import styled

#: TrueType, whole letters rather than shapes, so that text can be searched and copied;
#: lines keep every corner.
_PDF_STYLE: Any = {"pdf.fonttype": 42, "path.simplify": False, "pdf.compression": 6}


def pdf_bytes(figures: Iterable[Figure], *, title: str) -> bytes:
    """
    Give figures as one PDF, a page each, at their own size.

    The same figures give the same bytes.
    """
    whole = io.BytesIO()
    metadata = {
        "Title": title,
        "Creator": "fitkit",
        "Producer": "matplotlib",
        "CreationDate": None,
    }
    with (
        styled(),
        mpl.rc_context(_PDF_STYLE),
        PdfPages(whole, metadata=metadata) as pages,
    ):
        for figure in figures:
            pages.savefig(figure)
    return whole.getvalue()
