"""The daemon killed at bytecodes from due to settled: no dose twice (H01 to H04)."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
MANY = 3_000


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_h01_to_h04_no_kill_at_any_bytecode_doubles_a_dose(
    tell: Callable[[str], None],
) -> None:
    """Evenly over all there are, in a process that forks before any thread lives."""
    paths = os.pathsep.join((str(TOP / "daemon"), str(TOP)))
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.steps", str(MANY)],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )
    tell(done.stdout.strip())

    assert 0 == done.returncode, done.stdout + done.stderr
    assert f"{MANY} kills" in done.stdout
