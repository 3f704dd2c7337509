"""What every run of the suite obeys: long tests on request, gaps named at the end."""

import gc
import os
import shutil
import signal
import sys
from collections import Counter
from collections.abc import Callable, Generator
from importlib.util import find_spec
from pathlib import Path
from typing import Protocol

import pytest
import structlog

from tests.faults import border

NOT_RUN = pytest.StashKey[dict[str, int]]()
TOLD = pytest.StashKey[list[str]]()
UNIT_JUDGE, BROWSER = "systemd-analyze", "chromium"
MONITORING = "prometheus-client"
TRACER = "strace"
ASKING = "kernel that asks what becomes of a call"
SMALL_PYTHON, PARSER = "micropython under Node.js", "parser of AsyncAPI"
# Run by Node.js; they lie beside the virtual environment the tests run in.
MODULES = {
    SMALL_PYTHON: "@micropython/micropython-webassembly-pyscript",
    PARSER: "@asyncapi/parser",
}
# What other packages bring, and the package that brings it.
PACKAGES = {
    "mosquitto": "Debian package: mosquitto",
    UNIT_JUDGE: "Debian package: systemd",
    BROWSER: "Debian package: chromium",
    TRACER: "Debian package: strace",
    ASKING: "Linux 5.5 or newer on x86-64 or arm64",
    MONITORING: "Python package: prometheus-client",
    **{program: f"npm package: {name}" for program, name in MODULES.items()},
}
# A test that asks for the fixture needs the program.
FIXTURES = {
    "systemd_analyze": UNIT_JUDGE,
    "chromium": BROWSER,
    "strace": TRACER,
    "border": ASKING,
    "monitoring": MONITORING,
    "micropython": SMALL_PYTHON,
    "asyncapi_parser": PARSER,
}
SBIN = os.pathsep.join((os.defpath, "/usr/sbin", "/usr/local/sbin"))


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """Look for no litter while nothing but modules and tests is made, all of it kept.

    It would be looked through time and again: a third of the time it takes.
    """
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


def pytest_configure() -> None:
    """Let pages be as long as they need, and whoever is told to end do so.

    A worker process states a width.
    """
    os.environ.pop("COLUMNS", None)
    # A script that runs this beside itself has it ignored, by all that starts here too.
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--long` for the slow half and `--require-all` for CI."""
    parser.addoption("--long", action="store_true", help="run the long tests too")
    parser.addoption(
        "--require-all",
        action="store_true",
        help="fail when a test could not run on this machine",
    )


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol() -> Generator[None, object, object]:
    """No test inherits a level or a renderer of the log from the one before it.

    Verbs set the log up for their whole process, and here many share one. A fixture
    would do the same at several times the cost, before each of thousands of tests.
    """
    structlog.reset_defaults()
    try:
        return (yield)
    finally:
        structlog.reset_defaults()


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Keeps lines that a person should read after the run, whatever came of it."""
    return request.config.stash.setdefault(TOLD, []).append


def found(program: str) -> str:
    """Where a program lies, on the PATH or in an sbin folder; empty if nowhere."""
    if program == MONITORING:
        return program if find_spec("prometheus_client") else ""
    if program == ASKING:
        return program if border.is_there() else ""
    if program in MODULES:
        here = (node_modules() / MODULES[program] / "package.json").is_file()
        return str(node_modules()) if here and shutil.which("node") else ""
    return shutil.which(program) or shutil.which(program, path=SBIN) or ""


def node_modules() -> Path:
    """Where npm put what `.ci/package.json` asks for."""
    return Path(
        os.environ.get("SLACKWATER_NODE_MODULES") or sys.prefix + "/node_modules"
    )


def needed_by(item: pytest.Item) -> str:
    """The program of another package that a test cannot do without; often none."""
    if item.get_closest_marker("mosquitto"):
        return "mosquitto"
    asked = getattr(item, "fixturenames", ())
    return next((FIXTURES[name] for name in FIXTURES if name in asked), "")


@pytest.fixture
def systemd_analyze() -> str:
    """Where the program lies that judges units; a test that asks for it needs it."""
    return found(UNIT_JUDGE)


@pytest.fixture(scope="session")
def chromium() -> str:
    """Where the browser lies that opens reports; a test that asks for it needs it."""
    return found(BROWSER)


@pytest.fixture(scope="session")
def monitoring() -> str:
    """The package that speaks to monitoring systems; its tests need it."""
    return found(MONITORING)


@pytest.fixture(scope="session")
def strace() -> str:
    """The program that strikes system calls; a test that asks for it needs it."""
    return found(TRACER)


@pytest.fixture(scope="session", name="border")
def asking_kernel() -> str:
    """What asks a test about system calls; a test that asks for it needs it."""
    return found(ASKING)


@pytest.fixture(scope="session")
def micropython() -> str:
    """The folder of modules that holds the small Python; its tests need it."""
    return found(SMALL_PYTHON)


@pytest.fixture(scope="session")
def asyncapi_parser() -> str:
    """The folder of modules that holds the parser; a test that asks for it needs it."""
    return found(PARSER)


def allowed_s(item: pytest.Item) -> float:
    """The seconds a test may take where it says so itself, else 0."""
    marker = item.get_closest_marker("timeout")
    return float(marker.args[0]) if marker else 0.0


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Leave long tests to `--long`, count what cannot run, begin with the longest."""
    long = bool(config.getoption("--long"))
    left_out = [item for item in items if item.get_closest_marker("long") and not long]
    gone = {program for program in PACKAGES if not found(program)}
    missing = [item for item in items if needed_by(item) in gone]
    config.stash[NOT_RUN] = dict(Counter(needed_by(item) for item in missing))
    dropped = {id(item) for item in (*left_out, *missing)}
    config.hook.pytest_deselected(items=[i for i in items if id(i) in dropped])
    kept = [item for item in items if id(item) not in dropped]
    worker: dict[str, int] = getattr(config, "workerinput", {})
    items[:] = dealt(kept, worker.get("workercount", 1))


def dealt(items: list[pytest.Item], processes: int) -> list[pytest.Item]:
    """Tests in the order that keeps all cores busy to the end.

    Each of several processes begins with its own stretch of the list and takes from the
    others when it is done. The first stretch opens with the longest, which might begin
    last else, with all others done; the rest open with what waits for daemons, brokers
    and browsers, and needs little of a core. What is short and waits for nothing
    follows, and fills in at the end.
    """
    longest_first = sorted(items, key=allowed_s, reverse=True)
    waiting = [item for item in longest_first if waits(item)]
    long = [item for item in longest_first if allowed_s(item) and not waits(item)]
    short = [item for item in longest_first if not allowed_s(item) and not waits(item)]
    if processes == 1:
        return [*long, *waiting, *short]
    openings = [long, *(waiting[at :: processes - 1] for at in range(processes - 1))]
    order: list[pytest.Item] = []
    for at, opening in enumerate(openings):
        size = (len(items) - len(order)) // (processes - at) - len(opening)
        order += [*opening, *short[: max(0, size)]]
        del short[: max(0, size)]
    return [*order, *short]


def waits(item: pytest.Item) -> bool:
    """Whether a test spends its time waiting for another program."""
    area = item.nodeid.split("/")[1:2]
    return needed_by(item) in {"mosquitto", BROWSER} or area in (["service"], ["demo"])


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Turn a run with gaps red where no gap is allowed."""
    gaps = session.config.stash.get(NOT_RUN, {})
    # One of several processes hands on what the first one tells at the end.
    handed = getattr(session.config, "workeroutput", None)
    if handed is not None:
        handed["told"] = session.config.stash.get(TOLD, [])
        handed["gaps"] = gaps
        return
    if gaps and session.config.getoption("--require-all"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


class Worker(Protocol):
    """One of several processes, as the plugin that starts them shows it."""

    config: pytest.Config


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Worker) -> None:
    """Gather what a process of several wants to be told; each counted the same gaps."""
    handed = getattr(node, "workeroutput", {})
    node.config.stash.setdefault(TOLD, []).extend(handed.get("told", []))
    if handed.get("gaps"):
        node.config.stash[NOT_RUN] = handed["gaps"]


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """End with what this machine could not try."""
    for line in config.stash.get(TOLD, []):
        terminalreporter.write_line(line)
    gaps = config.stash.get(NOT_RUN, {})
    line = f"not run here: {sum(gaps.values())} tests"
    if gaps:
        line += ", because " + ", ".join(
            f"no {program} was found ({PACKAGES[program]})" for program in sorted(gaps)
        )
    terminalreporter.write_line(line)
