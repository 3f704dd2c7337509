"""Runs tests on a spoiled copy, each time in a process of its own.

`python -B -m tests.bugs.nursery` answers lines `[FILE, WORDS]`, as JSON, with what
pytest ends with on these words and what was printed: forked with the libraries and the
whole copy imported, which spares the seconds an interpreter takes to get there. FILE is
the spoiled one, empty for none. Each process imports it anew, and with it whatever
imports it, directly or not; a module that came along from before would show at once,
for no test would turn red.
"""

import gc
import importlib
import json
import os
import pkgutil
import sys
import tempfile
from contextlib import suppress

import pytest
from grimp import ImportGraph, build_graph
from hypothesis import Phase, settings

LIBRARIES = (
    "pydantic",
    "structlog",
    "click",
    "rich.console",
    "pint",
    "paho.mqtt.client",
    "apscheduler.schedulers.background",
    "pytest_timeout",
)
COPY = "slackwater"
# Of the plugins only what the settings of this project name.
PLUGINS = ("-p", "pytest_timeout")


def load() -> ImportGraph:
    """Import what every process shares, and look for no litter among it.

    Gives who imports whom in the copy.
    """
    for name in LIBRARIES:
        importlib.import_module(name)
    package = importlib.import_module(COPY)
    for module in pkgutil.walk_packages(package.__path__, f"{COPY}."):
        if not module.name.endswith(".__main__"):
            importlib.import_module(module.name)
    build_readers()
    graph = build_graph(COPY, cache_dir=None)
    gc.freeze()
    return graph


def build_readers() -> None:
    """Read nothing as an entry and as a state, which builds and keeps their readers."""
    codec = importlib.import_module(f"{COPY}.ledger.codec")
    damaged = importlib.import_module(f"{COPY}.errors").LedgerDamagedError
    for read in (codec.decode, codec.load_state):
        with suppress(damaged):
            read("")


def forget(graph: ImportGraph, file: str) -> None:
    """Let this process import a file of the copy anew, and all that imports it."""
    spoiled = f"{COPY}.{file.removesuffix('.py').replace('/', '.')}"
    stale = {spoiled, *graph.find_downstream_modules(spoiled)}
    for name in stale:
        # A package keeps its modules by name as well.
        above, _, last = name.rpartition(".")
        vars(sys.modules[above]).pop(last, None)
    for name in stale:
        sys.modules.pop(name, None)


def run_apart(graph: ImportGraph, spoiled: str, words: list[str]) -> tuple[int, str]:
    """What pytest ends with and prints, in a forked process."""
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as printed:
        child = os.fork()
        if child == 0:
            os.dup2(printed.fileno(), 1)
            os.dup2(printed.fileno(), 2)
            if spoiled:
                forget(graph, spoiled)
            code = int(pytest.main([*PLUGINS, *words]))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(child, 0)
        printed.seek(0)
        return os.waitstatus_to_exitcode(status), printed.read()


def keep_nursery() -> None:
    """Answer every line until the input ends."""
    graph = load()
    # Else each process would look for the plugins of all packages that are installed.
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    # One red example is enough; nobody reads a smaller one.
    found = (Phase.explicit, Phase.generate)
    settings.register_profile("planted", settings.default, phases=found)
    settings.load_profile("planted")
    for line in sys.stdin:
        answer = json.dumps(run_apart(graph, *json.loads(line)))
        sys.stdout.write(answer + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    keep_nursery()
