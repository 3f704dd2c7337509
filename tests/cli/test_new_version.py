"""A new version is tried on the old one's ledger before it takes over.

The new version is a copy of this one with one figure changed, run as a program of its
own beside the ledger that this one wrote; the ledger is read and not changed.
"""

import json
import os
import shutil
import subprocess
import sys
from hashlib import sha256
from importlib.util import cache_from_source
from pathlib import Path
from typing import Any

import pytest

from tests.audit.simulated import LASTS, Simulated, draw
from tests.cli.run_program import SMALLEST
from tests.cli.test_audit import write_ledger

TOP = Path(__file__).resolve().parents[2]
SEED = 0
# Where, what, and what it becomes in the next version.
CHANGES = {
    "the same": ("__init__.py", '__version__ = "', '__version__ = "9'),
    "a shorter cut": (
        "pump/command.py",
        "CUT_SHARE_PERCENT = 115\n",
        "CUT_SHARE_PERCENT = 114\n",
    ),
    "a longer wait for fresh beats": (
        "gate/interlocks.py",
        "if not 0 <= age_s <= timing.beat_fresh_s:",
        "if not 1 <= age_s <= timing.beat_fresh_s:",
    ),
}


@pytest.fixture(scope="module")
def lived() -> Simulated:
    """Two days of a generated plan, lived through by this version."""
    stage = Simulated(*draw(SEED))
    stage.live_through()
    return stage


def next_version(folder: Path, change: str) -> Path:
    """A copy of the source with one change, the rest of it compiled as it was here."""
    shutil.copytree(TOP / "daemon/slackwater", folder / "slackwater")
    where, old, new = CHANGES[change]
    file = folder / "slackwater" / where
    Path(cache_from_source(str(file))).unlink(missing_ok=True)
    text = file.read_text("utf-8")
    assert 1 == text.count(old)
    file.write_text(text.replace(old, new), "utf-8")
    return folder


def tried(source: Path, state: Path, stage: Simulated) -> tuple[int, dict[str, Any]]:
    """Exit code and document of the audit as that source makes it."""
    first, last = stage.begins, stage.begins + LASTS
    words = ("--from", f"{first:%Y-%m-%dT%H:%MZ}", "--until", f"{last:%Y-%m-%dT%H:%MZ}")
    places = ("--state", str(state), "--config", str(SMALLEST))
    done = subprocess.run(
        [
            *(sys.executable, "-B", "-m", "slackwater", "audit", "--replay"),
            *("--json", *places, *words),
        ],
        env={**os.environ, "PYTHONPATH": str(source)},
        cwd=source,
        capture_output=True,
        check=False,
        text=True,
    )
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.timeout(200)
@pytest.mark.parametrize("change", CHANGES)
def test_d7_a_new_version_says_what_it_would_decide_otherwise(
    lived: Simulated, tmp_path: Path, change: str
) -> None:
    """Doses that would be cut sooner, or refused; none where only its name is new."""
    state = write_ledger(tmp_path / "state", lived.book.events())
    before = sha256((state / "slackwater.ledger").read_bytes()).digest()
    source = next_version(tmp_path / "new", change)
    code, document = tried(source, state, lived)
    differences = document["replay"]["differences"]
    if change == "the same":
        assert (0, []) == (code, differences)
        assert document["replay"]["version"].startswith("9")
    else:
        assert 1 == code
        assert 0 < len(differences) <= document["replay"]["decisions"]
        assert all(one["then"] != one["now"] for one in differences)
    assert before == sha256((state / "slackwater.ledger").read_bytes()).digest()
