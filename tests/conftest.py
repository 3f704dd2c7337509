"""What every run of the suite obeys: long tests on request, gaps named at the end."""

import os
import shutil
from collections.abc import Callable

import pytest

NOT_RUN = pytest.StashKey[int]()
TOLD = pytest.StashKey[list[str]]()
SBIN = os.pathsep.join((os.defpath, "/usr/sbin", "/usr/local/sbin"))


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--long` for the slow half and `--require-all` for CI."""
    parser.addoption("--long", action="store_true", help="run the long tests too")
    parser.addoption(
        "--require-all",
        action="store_true",
        help="fail when a test could not run on this machine",
    )


@pytest.fixture
def tell(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Keeps lines that a person should read after the run, whatever came of it."""
    return request.config.stash.setdefault(TOLD, []).append


def mosquitto_is_here() -> bool:
    """Whether a Mosquitto lies on the PATH or in one of the sbin folders."""
    return bool(shutil.which("mosquitto") or shutil.which("mosquitto", path=SBIN))


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Leave long tests to `--long`, and count those that need a missing broker."""
    long = bool(config.getoption("--long"))
    left_out = [item for item in items if item.get_closest_marker("long") and not long]
    missing: list[pytest.Item] = []
    if not mosquitto_is_here():
        missing = [item for item in items if item.get_closest_marker("mosquitto")]
    config.stash[NOT_RUN] = len(missing)
    dropped = {id(item) for item in (*left_out, *missing)}
    config.hook.pytest_deselected(items=[i for i in items if id(i) in dropped])
    items[:] = [item for item in items if id(item) not in dropped]


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Turn a run with gaps red where no gap is allowed."""
    gaps = session.config.stash.get(NOT_RUN, 0)
    if gaps and session.config.getoption("--require-all"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """End with what this machine could not try."""
    for line in config.stash.get(TOLD, []):
        terminalreporter.write_line(line)
    gaps = config.stash.get(NOT_RUN, 0)
    why = "no Mosquitto was found (Debian package: mosquitto)"
    terminalreporter.write_line(
        f"not run here: {gaps} tests" + (f", because {why}" if gaps else "")
    )
