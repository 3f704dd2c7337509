"""A person at a narrow terminal, for dialogues."""

import contextlib
import os
import pty
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
COLUMNS = 60


def at_a_terminal(words: tuple[str, ...], typed: str, code: int = 0) -> str:
    """What the screen shows of a run that a person answers; no line runs over.

    `code` is the exit code the run must end with.
    """
    here, there = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "slackwater", *words],
        stdin=there,
        stdout=there,
        stderr=there,
        env={"PYTHONPATH": str(TOP / "daemon"), "COLUMNS": str(COLUMNS)},
    )
    os.close(there)
    os.write(here, typed.encode())
    shown = b""
    # On Linux a terminal that nobody holds open any more ends with an error.
    with contextlib.suppress(OSError):
        while piece := os.read(here, 4096):
            shown += piece
    os.close(here)
    assert code == process.wait(timeout=30)
    return "\n".join(shown.decode().splitlines())
