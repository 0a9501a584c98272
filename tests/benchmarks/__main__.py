"""Run every benchmark, or those named: ``python -m tests.benchmarks first_fit sight``."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main(names: list[str]) -> None:
    """Print the rows of each benchmark as it ends."""
    known = sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))
    unknown = sorted(set(names) - set(known))
    if unknown:
        sys.exit(f"No benchmark named {', '.join(unknown)}; known: {', '.join(known)}.")
    for name in names or known:
        print(f"-- {name}")
        for row in importlib.import_module(f"tests.benchmarks.bench_{name}").rows():
            print(row.line(), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
