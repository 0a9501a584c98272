"""Helper: figures of the jaw from outside, by name."""

import csv
from pathlib import Path

_FILE = Path(__file__).parents[1] / "reference" / "jaw_figures.csv"
with _FILE.open(encoding="utf-8", newline="") as _stream:
    SPAN = {
        row["name"]: (float(row["low"]), float(row["high"]))
        for row in csv.DictReader(_stream)
    }


def within(name: str, value: float) -> bool:
    low, high = SPAN[name]
    return low <= value <= high
