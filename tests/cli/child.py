"""Runs the program in a process of its own and says what it loaded."""

import json
import os
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
# Told at the very end, so that what the work itself loads counts too.
CODE = (
    "import atexit, json, sys\n"
    "atexit.register(lambda: print(json.dumps(sorted(sys.modules)), "
    "file=sys.stderr))\n"
    "from slackwater.cli.main import main\n"
    "main()\n"
)


def in_process(*words: object, **extra: str) -> "subprocess.CompletedProcess[str]":
    """The program in a process of its own; the last line of errors names modules.

    `extra` stands in its environment.
    """
    return subprocess.run(
        [sys.executable, "-c", CODE, *(str(word) for word in words)],
        env={"PYTHONPATH": str(TOP / "daemon"), "PATH": os.defpath, **extra},
        capture_output=True,
        text=True,
        check=False,
    )


def modules_of(done: "subprocess.CompletedProcess[str]") -> set[str]:
    """Every module that was loaded when it ended."""
    found = json.loads(done.stderr.splitlines()[-1])
    return {str(name) for name in found}


def packages_of(modules: set[str]) -> set[str]:
    """Their top packages; of our own the rooms, as `slackwater.gate`."""
    return {
        ".".join(name.split(".")[:2])
        if name.startswith("slackwater.")
        else name.split(".", maxsplit=1)[0]
        for name in modules
    }
