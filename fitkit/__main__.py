"""Run ``python -m fitkit`` as the command ``fitkit``."""

import sys

from fitkit.cli import main

if __name__ == "__main__":
    sys.exit(main())
