"""Each import contract, broken on purpose in a copy, is reported."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.rules import tree

LINT = Path(sys.executable).with_name("lint-imports")
ROOMS = "daemon/slackwater"
# Contract, module that breaks it (made if missing), and what it imports.
BREACHES = [
    ("floors", "gate.verdict", "slackwater.pump.command"),
    ("floors", "facts.tank", "slackwater.gate.moment"),
    ("floors", "turn.step", "slackwater.ledger.store"),
    ("floors", "outside.clock", "slackwater.ledger.store"),
    ("pure", "gate.verdict", "time"),
    ("pure", "facts.tank", "pydantic"),
    ("pure", "water.units", "logging"),
    ("units", "water.seawater", "pint"),
    ("units", "outside.settings.quantities", "pint"),
    ("units", "service.loop", "pint"),
    ("pure", "rehearsal.record", "sqlite3"),
    ("audit", "audit.audit", "slackwater.planning.timetable"),
    ("audit", "audit.intents", "slackwater.turn.step"),
    ("audited", "turn.step", "slackwater.audit.audit"),
    ("daemon", "outside.mailbox", "demo.reef.water"),
    ("adapters", "outside.clock", "slackwater.outside.mailbox"),
    ("adapters", "outside.wire.view", "slackwater.outside.clock"),
]
# The demo speaks to the daemon over the wire alone, as a stranger's node would.
DEMO_BREACH = ("demo.reef.water", "slackwater.facts.tank")


def copied(folder: Path) -> Path:
    """The sources and the contracts in a folder, to be broken."""
    leave = shutil.ignore_patterns("__pycache__")
    for room in ("daemon", "demo"):
        shutil.copytree(tree.TOP / room, folder / room, ignore=leave)
    shutil.copy(tree.TOP / "pyproject.toml", folder)
    return folder


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy for one test."""
    return copied(tmp_path)


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The report of a copy with every breach at once, by the contract it is on.

    To build the graph takes longest by far, and it is built for all of them.
    """
    top = copied(tmp_path_factory.mktemp("broken"))
    for _, breaker, imported in BREACHES:
        plant(top / ROOMS / f"{breaker.replace('.', '/')}.py", imported)
    breaker, imported = DEMO_BREACH
    plant(top / f"{breaker.replace('.', '/')}.py", imported)
    code, report = lint(top)
    assert 1 == code
    # A part begins with its contract's name, underlined by as many dashes.
    titles = {c["id"]: f"\n{c['name']}\n{'-' * len(c['name'])}\n" for c in contracts()}
    begins = {name: report.find(title) for name, title in titles.items()}
    ends = [*sorted(place for place in begins.values() if place >= 0), len(report)]
    return {
        name: report[place : ends[ends.index(place) + 1]]
        for name, place in begins.items()
        if place >= 0
    }


def contracts() -> list[dict[str, Any]]:
    """What the linter is asked to see to."""
    found: list[dict[str, Any]] = tree.settings()["tool"]["importlinter"]["contracts"]
    return found


def lint(top: Path, *contracts: str) -> tuple[int, str]:
    """Exit code and report of the import linter, over all contracts or some."""
    chosen = [word for contract in contracts for word in ("--contract", contract)]
    done = subprocess.run(
        [str(LINT), "--no-cache", *chosen],
        cwd=top,
        env={**os.environ, "PYTHONPATH": f"{top}:{top / 'daemon'}", "COLUMNS": "200"},
        capture_output=True,
        check=False,
        text=True,
    )
    return done.returncode, done.stdout + done.stderr


def plant(file: Path, *modules: str) -> None:
    """Add imports to a module, made with its package when it is missing."""
    file.parent.mkdir(exist_ok=True)
    (file.parent / "__init__.py").touch()
    with file.open("a", encoding="utf-8") as opened:
        opened.writelines(f"\nimport {module}\n" for module in modules)


def test_the_copy_keeps_every_contract(copy: Path) -> None:
    """Unbroken, so that each breach below is the planted one."""
    code, report = lint(copy)
    assert (0, f"Contracts: {len(contracts())} kept, 0 broken.") == (
        code,
        report.rstrip().splitlines()[-1],
    )


@pytest.mark.parametrize(("contract", "breaker", "imported"), BREACHES)
def test_a_forbidden_import_is_reported(
    broken: dict[str, str], contract: str, breaker: str, imported: str
) -> None:
    """What the report says of the contract names the import that was planted."""
    assert f"slackwater.{breaker} -> {imported}" in broken[contract]


def test_the_demo_may_not_import_the_daemon(broken: dict[str, str]) -> None:
    """It speaks to it over the wire alone, as a stranger's node would."""
    assert " -> ".join(DEMO_BREACH) in broken["demo"]


def test_a_ring_of_siblings_is_reported(copy: Path) -> None:
    """Two modules of one room that import each other."""
    plant(copy / ROOMS / "gate/caps.py", "slackwater.gate.interlocks")
    plant(copy / ROOMS / "gate/interlocks.py", "slackwater.gate.caps")
    code, report = lint(copy, "circles")
    assert 1 == code
    assert "slackwater.gate" in report


def test_a_room_without_a_floor_is_reported(copy: Path) -> None:
    """A new folder must be given its place before anything stands in it."""
    plant(copy / ROOMS / "attic/trunk.py")
    code, report = lint(copy, "floors")
    assert 1 == code
    assert "attic" in report


def test_every_pure_room_is_watched_for_every_forbidden_module(copy: Path) -> None:
    """One import of each forbidden module in each pure room: all are named."""
    forbidden = next(c["forbidden_modules"] for c in contracts() if c["id"] == "pure")
    rooms = {room for room, floor in tree.floors().items() if floor <= 5}
    for room in rooms | {"rehearsal"}:
        alone = copy / ROOMS / f"{room}.py"
        plant(alone if alone.exists() else alone.with_suffix("") / "x.py", *forbidden)
    code, report = lint(copy, "pure")
    expected = {
        f"slackwater.{room}{'' if (copy / ROOMS / f'{room}.py').exists() else '.x'}"
        f" -> {module}"
        for room in rooms | {"rehearsal"}
        for module in forbidden
    }
    assert 1 == code
    assert set() == {line for line in expected if line not in report}
