"""Helper: figures from outside that answers of sight must reproduce, by name."""

import csv
from pathlib import Path

_PATH = Path(__file__).parents[1] / "reference" / "sight_figures.csv"
with _PATH.open(encoding="utf-8") as stream:
    FIGURES = {row["what"]: float(row["value"]) for row in csv.DictReader(stream)}
