"""Helper: figures from outside that build-up must reproduce, by name."""

import csv
from pathlib import Path

_PATH = Path(__file__).parents[1] / "reference" / "buildup_figures.csv"
with _PATH.open(encoding="utf-8", newline="") as _stream:
    FIGURES = {row["what"]: float(row["value"]) for row in csv.DictReader(_stream)}
