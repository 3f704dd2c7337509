"""What the README shows of the command line is what the program says."""

import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.waters import SampleTaken
from tests.cli.run_program import SMALLEST
from tests.cli.stage import Stage, stage_of

TOP = Path(__file__).resolve().parents[2]
README = (TOP / "README.md").read_text("utf-8")
BLOCK = re.compile(r"```console\n(.*?)```", re.DOTALL)
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
PROMPT = "$ slackwater "
LEFT_OUT = "…"
# Figures follow the water by chance alone; words do not.
WITHIN = 0.05
# Invented drop tests, a day apart, the newest a day ago; today's is the README's.
TESTS_DKH = (10.72, 10.21, 9.84, 9.33, 8.91, 8.41, 8.02)


def steps() -> list[tuple[list[str], list[str]]]:
    """The commands of the README's session, each with the lines it shows."""
    (block,) = BLOCK.findall(README)
    found: list[tuple[list[str], list[str]]] = []
    for line in block.splitlines():
        if line.startswith(PROMPT):
            found.append((shlex.split(line.removeprefix(PROMPT)), []))
        elif line != LEFT_OUT:
            found[-1][1].append(line)
    return found


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a week of tests, and the sample of the README."""
    config = tmp_path / "config"
    shutil.copytree(SMALLEST, config)
    shutil.copy(TOP / "demo" / "config" / "report.csv", tmp_path)
    made = stage_of(tmp_path, config)
    made.nothing_dosed(len(TESTS_DKH) + 1)
    now = made.stamp()["at"]
    for number, level in enumerate(TESTS_DKH):
        at = f"{now - timedelta(days=len(TESTS_DKH) - number):%Y-%m-%dT%H:%M}Z"
        words = (f"alkalinity={level} dKH", "--at", at, "--method", "drops")
        assert 0 == made.run("record", *words).code
    (sample,) = (word for words, _ in steps() for word in words if word[:2] == "S-")
    taken = now - timedelta(days=3)
    made.append(
        SampleTaken(
            **made.stamp(), sample=sample, tank="reef", taken_at=taken, by="keeper"
        )
    )
    return made


def placed(words: list[str], stage: Stage) -> Iterator[str]:
    """The words of a command with files where this test has them."""
    for word in words:
        if word == "report.csv":
            yield str(stage.config.parent / word)
        elif word == "plan.toml":
            yield str(stage.config / word)
        else:
            yield word


def is_said(shown: str, line: str) -> bool:
    """Whether a line says what is shown: the words, and the figures nearly."""
    if NUMBER.sub("#", shown).split() != NUMBER.sub("#", line).split():
        return False
    pairs = zip(NUMBER.findall(shown), NUMBER.findall(line), strict=True)
    return all(
        float(one) == pytest.approx(float(other), rel=WITHIN) for one, other in pairs
    )


def test_the_session_shows_a_test_a_report_and_a_proposal() -> None:
    """A few lines, and none that needs more than the smallest sample."""
    assert ["record", "import", "assess", "propose"] == [
        words[0] for words, _ in steps()
    ]
    assert 5 <= len(BLOCK.findall(README)[0].splitlines()) <= 12


def test_every_line_of_the_session_is_what_the_program_says(stage: Stage) -> None:
    """In their order, word for word, the figures within a twentieth."""
    for words, shown in steps():
        told = stage.run(*placed(words, stage))
        lines = iter(told.out.splitlines())
        assert 0 == told.code
        for expected in shown:
            assert any(is_said(expected, line) for line in lines), expected
