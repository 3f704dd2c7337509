"""Statements and branches of the pure floors that their own tests take.

`python -m tests.bench.branches` runs the folders that mirror floors 0 to 4 in this
process and prints what none of them took; it ends with 1 where anything is left.
"""

import sys
from pathlib import Path

import coverage
import pytest

TOP = Path(__file__).resolve().parents[2]
FLOORS = (
    "water",
    "facts",
    "assessment",
    "planning",
    "gate",
    "pump",
    "audit",
    "turn",
    "alarms",
)
# Counting makes each test slower.
TIMEOUT_S = 600


def main() -> int:
    """Count, print and say whether everything was taken."""
    counted = coverage.Coverage(
        data_file=None,
        branch=True,
        config_file=str(TOP / "pyproject.toml"),
        source_pkgs=["slackwater.errors", *(f"slackwater.{one}" for one in FLOORS)],
    )
    tests = ["tests/test_errors.py", *(f"tests/{one}" for one in FLOORS)]
    counted.start()
    failed = pytest.main(["-q", f"--timeout={TIMEOUT_S}", *tests])
    counted.stop()
    percent = counted.report(show_missing=True, skip_covered=True, precision=2)
    return int(failed != pytest.ExitCode.OK or percent < 100)


if __name__ == "__main__":
    sys.exit(main())
