"""Each import contract, broken on purpose in a copy, is reported."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

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


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The sources and the contracts, to be broken."""
    leave = shutil.ignore_patterns("__pycache__")
    for folder in ("daemon", "demo"):
        shutil.copytree(tree.TOP / folder, tmp_path / folder, ignore=leave)
    shutil.copy(tree.TOP / "pyproject.toml", tmp_path)
    return tmp_path


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
    contracts = tree.settings()["tool"]["importlinter"]["contracts"]
    assert (0, f"Contracts: {len(contracts)} kept, 0 broken.") == (
        code,
        report.rstrip().splitlines()[-1],
    )


@pytest.mark.parametrize(("contract", "breaker", "imported"), BREACHES)
def test_a_forbidden_import_is_reported(
    copy: Path, contract: str, breaker: str, imported: str
) -> None:
    """The report names the import that was planted."""
    plant(copy / ROOMS / f"{breaker.replace('.', '/')}.py", imported)
    code, report = lint(copy, contract)
    assert 1 == code
    assert f"slackwater.{breaker} -> {imported}" in report


def test_the_demo_may_not_import_the_daemon(copy: Path) -> None:
    """It speaks to it over the wire alone, as a stranger's node would."""
    plant(copy / "demo/reef/water.py", "slackwater.facts.tank")
    code, report = lint(copy, "demo")
    assert 1 == code
    assert "demo.reef.water -> slackwater.facts.tank" in report


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
    contracts = tree.settings()["tool"]["importlinter"]["contracts"]
    forbidden = next(c["forbidden_modules"] for c in contracts if c["id"] == "pure")
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
