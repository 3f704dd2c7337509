"""Seventy files that must not run: each refused, for the right reason first (D4)."""

import tomllib
from pathlib import Path
from typing import NamedTuple

import pytest

from slackwater.cli.checked import check_files
from slackwater.cli.reading import read_files
from slackwater.errors import Finding, SlackwaterError
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of

LEAST = 60


class Bad(NamedTuple):
    """One text of a file in the place of another, and what is said of it first."""

    file: str
    old: str
    new: str
    where: str
    what: str


TABLE = Path(__file__).with_name("bad_plans.toml").read_text("utf-8")
BAD = [Bad(*row) for row in tomllib.loads(TABLE)["bad"]]


def spoiled(folder: Path, bad: Bad) -> Path:
    """The sample with one text in the place of another, where it stands first."""
    config = changed(folder, SMALLEST)
    path = config / f"{bad.file}.toml"
    text = path.read_text("utf-8")
    assert bad.old in text
    path.write_text(text.replace(bad.old, bad.new, 1), "utf-8")
    return config


def refusals(config: Path) -> list[Finding]:
    """Everything for which files are refused."""
    try:
        return list(check_files(read_files(config)).findings)
    except SlackwaterError as error:
        return list(error.findings)


@pytest.mark.parametrize("bad", BAD, ids=lambda bad: bad.what)
def test_d4_bad_files_are_refused_for_the_right_reason_first(
    tmp_path: Path, bad: Bad
) -> None:
    """The file and the place, then what is wrong there, with something to do."""
    first = refusals(spoiled(tmp_path / "config", bad))[0]
    assert bad.where == first.where
    assert bad.what in first.what
    assert first.expected
    assert first.do


# Amounts beside a ratio can be read, and may break a cap as well.
UNREAD = [bad for bad in BAD if ".toml" in bad.where and "[group" not in bad.where]


@pytest.mark.parametrize("bad", UNREAD, ids=lambda bad: bad.what)
def test_d4_what_cannot_be_read_breaks_no_cap(tmp_path: Path, bad: Bad) -> None:
    """A figure that was refused makes no dose, no line and no group look wrong."""
    found = refusals(spoiled(tmp_path / "config", bad))
    assert [] == [one for one in found if ".toml" not in one.where]


def test_d4_there_are_enough_of_them_and_the_sample_is_none() -> None:
    """No two alike; the sample itself is approved as it stands."""
    assert len(BAD) == len({bad[:3] for bad in BAD}) >= LEAST
    assert [] == refusals(SMALLEST)


@pytest.mark.parametrize("bad", BAD[::12], ids=lambda bad: bad.what)
def test_d4_an_approval_says_the_same_and_writes_nothing(
    tmp_path: Path, bad: Bad
) -> None:
    """Whole or not at all: no entry, and the exit code says so."""
    stage = stage_of(tmp_path)
    before = len(stage.events())
    other = Stage(spoiled(tmp_path / "config", bad), stage.state)
    told = other.run("approve", "--yes-highest-daily", "72 mL", "--json")
    assert told.code in (1, 2)
    assert bad.where == told.errors[0]["where"]
    assert before == len(stage.events())
