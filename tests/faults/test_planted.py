"""Voyages alone find bugs: no test named beside them, only the water and the entries.

Some of those in `tests/bugs/bugs.toml` that let a law break at the pump, planted in a
copy of the daemon.
"""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
BUGS = tomllib.loads((TOP / "tests/bugs/bugs.toml").read_text("utf-8"))
FOUND = (
    "resent-on-restart",
    "another-boot-is-forgiven",
    "void-without-the-deadline",
    "acts-before-it-writes",
    "seal-is-sent-again",
    "taken-back-and-still-waiting",
)
FIRST, VOYAGES, DAYS = 700, 24, 10.0
SAIL = f"""
from tests.faults.voyage import sail
for seed in range({FIRST}, {FIRST + VOYAGES}):
    voyage = sail(seed, {DAYS})
    if voyage.broken:
        print(voyage)
        break
"""


@pytest.mark.long
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("name", FOUND)
def test_a_few_voyages_find_a_planted_bug(tmp_path: Path, name: str) -> None:
    """Within so many voyages one breaks a law, and says which."""
    bug = BUGS[name]
    shutil.copytree(TOP / "daemon/slackwater", tmp_path / "slackwater")
    file = tmp_path / "slackwater" / bug["file"]
    sound = file.read_text(encoding="utf-8")
    assert 1 == sound.count(bug["find"])
    file.write_text(sound.replace(bug["find"], bug["replace"]), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-B", "-c", SAIL],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{TOP}"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert 0 == done.returncode, done.stderr
    assert "seed " in done.stdout, f"{VOYAGES} voyages found nothing"
