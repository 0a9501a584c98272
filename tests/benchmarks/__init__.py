"""Speed, as ratios of figures taken in one run; run with ``python -m tests.benchmarks``."""
