"""Runs the invented reef: `python -m demo.reef --help`."""

import sys

from demo.reef.reef import main

if __name__ == "__main__":
    sys.exit(main())
