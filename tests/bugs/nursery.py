"""Runs tests on a spoiled copy, each time in a process of its own.

`python -B -m tests.bugs.nursery` answers lines of words for pytest, as JSON, with the
exit code and what was printed: forked with the libraries imported and nothing of the
daemon, which spares the half second an interpreter takes to get there.
"""

import importlib
import json
import os
import sys
import tempfile

import pytest
from hypothesis import Phase, settings

# Of other people only: the daemon is the copy's, imported anew by each process.
LIBRARIES = (
    "pydantic",
    "structlog",
    "click",
    "rich.console",
    "pint",
    "paho.mqtt.client",
    "apscheduler.schedulers.background",
    "pytest_cov.plugin",
    "pytest_randomly",
    "pytest_timeout",
    "xdist.plugin",
)


def run_apart(words: list[str]) -> tuple[int, str]:
    """What pytest ends with and prints, in a forked process."""
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as printed:
        child = os.fork()
        if child == 0:
            os.dup2(printed.fileno(), 1)
            os.dup2(printed.fileno(), 2)
            code = int(pytest.main(words))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(child, 0)
        printed.seek(0)
        return os.waitstatus_to_exitcode(status), printed.read()


def keep_nursery() -> None:
    """Answer every line until the input ends."""
    for name in LIBRARIES:
        importlib.import_module(name)
    # One red example is enough; nobody reads a smaller one.
    found = (Phase.explicit, Phase.generate)
    settings.register_profile("planted", settings.default, phases=found)
    settings.load_profile("planted")
    for line in sys.stdin:
        answer = json.dumps(run_apart(json.loads(line)))
        sys.stdout.write(answer + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    keep_nursery()
