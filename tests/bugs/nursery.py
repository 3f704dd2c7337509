"""Runs tests on a spoiled copy, each time in a process of its own.

`python -B -m tests.bugs.nursery` answers lines `[FILE, WORDS]`, as JSON, with what
pytest ends with on these words and what was printed: forked with the libraries and the
copy's lowest floors imported, which spares the half second an interpreter takes to get
there. FILE is the spoiled one, empty for none. What stands on the floors above is
imported by each process anew; where one of the lowest is spoiled, those are too.
"""

import gc
import importlib
import json
import os
import pkgutil
import sys
import tempfile

import pytest
from hypothesis import Phase, settings

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
# They import nothing from above, which the import linter sees to: no spoiled file of
# the floors above can have come along.
LOWEST = ("errors", "water", "facts")


def load() -> None:
    """Import what every process shares, and look for no litter among it."""
    for name in LIBRARIES:
        importlib.import_module(name)
    for room in LOWEST:
        package = importlib.import_module(f"slackwater.{room}")
        inside = pkgutil.iter_modules(getattr(package, "__path__", ()))
        for module in inside:
            importlib.import_module(f"{package.__name__}.{module.name}")
    gc.freeze()


def forget_the_daemon() -> None:
    """Let this process import all of the copy anew."""
    for name in list(sys.modules):
        if name.partition(".")[0] == "slackwater":
            del sys.modules[name]


def run_apart(spoiled: str, words: list[str]) -> tuple[int, str]:
    """What pytest ends with and prints, in a forked process."""
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as printed:
        child = os.fork()
        if child == 0:
            os.dup2(printed.fileno(), 1)
            os.dup2(printed.fileno(), 2)
            if spoiled.removesuffix(".py").partition("/")[0] in LOWEST:
                forget_the_daemon()
            code = int(pytest.main(words))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(child, 0)
        printed.seek(0)
        return os.waitstatus_to_exitcode(status), printed.read()


def keep_nursery() -> None:
    """Answer every line until the input ends."""
    load()
    # One red example is enough; nobody reads a smaller one.
    found = (Phase.explicit, Phase.generate)
    settings.register_profile("planted", settings.default, phases=found)
    settings.load_profile("planted")
    for line in sys.stdin:
        answer = json.dumps(run_apart(*json.loads(line)))
        sys.stdout.write(answer + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    keep_nursery()
