"""A bench of planted bugs: each turns the tests it names red, and only it does.

The bugs stand in `bugs.toml`; they are planted in a copy, never in the tree.
"""

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).parents[2]
BUGS: dict[str, dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("bugs.toml").read_text(encoding="utf-8")
)
AT_LEAST = 10
# What pytest ends with when tests ran and some failed; anything else is no red test.
RED, GREEN = 1, 0


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The daemon's source, to be spoiled."""
    place = tmp_path_factory.mktemp("copy")
    leave = shutil.ignore_patterns("__pycache__")
    shutil.copytree(TOP / "daemon/slackwater", place / "slackwater", ignore=leave)
    return place


def run(copy: Path, tests: list[str]) -> tuple[int, str]:
    """Exit code and words of these tests on the copy."""
    options = ["-q", "-x", "-p", "no:randomly", "-p", "no:cacheprovider"]
    paths = ["-o", f"pythonpath={copy} {TOP}"]
    done = subprocess.run(
        [sys.executable, "-B", "-m", "pytest", *options, *paths, *tests],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": f"{copy}{os.pathsep}{TOP}"},
        capture_output=True,
        check=False,
        text=True,
    )
    return done.returncode, done.stdout + done.stderr


def test_the_bench_is_not_bare() -> None:
    """Ten bugs or more."""
    assert len(BUGS) >= AT_LEAST


@pytest.mark.timeout(600)
def test_all_named_tests_are_green_on_a_sound_copy(copy: Path) -> None:
    """So that each red below is the planted bug's, and the copy's own code ran."""
    named = sorted({name for bug in BUGS.values() for name in bug["red"]})
    code, words = run(copy, named)
    assert GREEN == code, words


@pytest.mark.parametrize("name", BUGS)
def test_a_planted_bug_turns_its_tests_red(copy: Path, name: str) -> None:
    """One replacement, and every test it names fails for it."""
    bug = BUGS[name]
    file = copy / "slackwater" / bug["file"]
    sound = file.read_text(encoding="utf-8")
    assert 1 == sound.count(bug["find"]), "the place has changed: mend bugs.toml"
    file.write_text(sound.replace(bug["find"], bug["replace"]), encoding="utf-8")
    try:
        codes = {test: run(copy, [test])[0] for test in bug["red"]}
    finally:
        file.write_text(sound, encoding="utf-8")
    assert dict.fromkeys(bug["red"], RED) == codes
