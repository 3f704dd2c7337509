"""A bench of planted bugs: each turns the tests it names red, and only it does.

The bugs stand in `bugs.toml`; they are planted in a copy, never in the tree.
"""

import json
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).parents[2]
BUGS: dict[str, dict[str, Any]] = tomllib.loads(
    Path(__file__).with_name("bugs.toml").read_text(encoding="utf-8")
)
AT_LEAST = 60
# What pytest ends with when tests ran and some failed; anything else is no red test.
RED, GREEN = 1, 0
# The libraries are there before pytest can rewrite their assertions: it would say so.
LOADED_BEFORE = "ignore::pytest.PytestAssertRewriteWarning"
PLAIN = ("-p", "no:cacheprovider")
OPTIONS = ("-q", "-x", *PLAIN, "-W", LOADED_BEFORE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A copy of the daemon's source, to be spoiled, and what runs tests on it."""

    copy: Path
    nursery: "subprocess.Popen[str]"

    def run(self, tests: list[str], spoiled: str = "") -> tuple[int, str]:
        """Exit code and words of these tests on the copy, with its spoiled file."""
        assert self.nursery.stdin is not None
        assert self.nursery.stdout is not None
        paths = ["-o", f"pythonpath={self.copy} {TOP}"]
        # Of a test that is to be red nobody reads more than that.
        told = ("--tb=no",) if spoiled else ()
        words = [*OPTIONS, *told, *paths, *tests]
        self.nursery.stdin.write(json.dumps([spoiled, words]) + "\n")
        self.nursery.stdin.flush()
        code, printed = json.loads(self.nursery.stdout.readline())
        return code, printed


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A sound copy, compiled as the tree is, and processes that find it first."""
    copy = tmp_path_factory.mktemp("copy")
    shutil.copytree(TOP / "daemon/slackwater", copy / "slackwater")
    with subprocess.Popen(
        [sys.executable, "-B", "-m", "tests.bugs.nursery"],
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": f"{copy}{os.pathsep}{TOP}"},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as nursery:
        yield Bench(copy=copy, nursery=nursery)


def test_the_bench_is_not_bare() -> None:
    """Sixty bugs or more."""
    assert len(BUGS) >= AT_LEAST


@pytest.mark.timeout(600)
def test_all_named_tests_are_green_on_a_sound_copy(bench: Bench) -> None:
    """So that each red below is the planted bug's, and the copy's own code ran."""
    named = sorted({name for bug in BUGS.values() for name in bug["red"]})
    code, words = bench.run(named)
    assert GREEN == code, words


@pytest.mark.parametrize("name", BUGS)
def test_a_planted_bug_turns_its_tests_red(bench: Bench, name: str) -> None:
    """One replacement, and every test it names fails for it."""
    bug = BUGS[name]
    file = bench.copy / "slackwater" / bug["file"]
    sound = file.read_text(encoding="utf-8")
    assert 1 == sound.count(bug["find"]), "the place has changed: mend bugs.toml"
    file.write_text(sound.replace(bug["find"], bug["replace"]), encoding="utf-8")
    try:
        codes = {test: bench.run([test], bug["file"])[0] for test in bug["red"]}
    finally:
        file.write_text(sound, encoding="utf-8")
    assert dict.fromkeys(bug["red"], RED) == codes
