"""`why` tells of doses that somebody asked to leave out."""

from pathlib import Path

import pytest

from slackwater.facts.events import RequestHeard
from slackwater.service.standing import only_one
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import live
from tests.cli.test_status_cut_off import seen
from tests.cli.test_why import line_of


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, live."""
    return live(stage_of(tmp_path))


def next_dose(stage: Stage) -> str:
    """The dose of calcium that a why names as the next one."""
    found = line_of(stage, "calcium")["next"]
    assert isinstance(found, dict)
    return str(found["dose"])


def skip(stage: Stage, dose: str) -> None:
    """Somebody asked from afar to leave it out, which was accepted."""
    heard = RequestHeard(
        **stage.stamp(), request="r-1", tank="reef", act="skip", granted=True, dose=dose
    )
    stage.append(heard)


def test_a_skipped_dose_is_not_the_next_one(stage: Stage) -> None:
    """Two in a row: the third is the next, and the page names both."""
    first = next_dose(stage)
    skip(stage, first)
    second = next_dose(stage)
    skip(stage, second)
    third = next_dose(stage)
    assert 3 == len({first, second, third})
    assert [first, second] == line_of(stage, "calcium")["skipped"]
    with only_one(stage.state):
        seen(stage)
        told = " ".join(stage.run("why", "calcium").out.split())
        each = " ".join(stage.run("why").out.split())
    assert "(2 doses before it will be skipped)" in told
    for dose in (first, second):
        assert f"Skipped {dose}, due " in told
    assert "by request r-1; not made up" in told
    assert "(2 doses before it will be skipped)" in each


def test_a_skipped_dose_says_so_by_its_name(stage: Stage) -> None:
    """Not that it is not due yet; the one after it is."""
    first = next_dose(stage)
    skip(stage, first)
    told = stage.run("why", first)
    assert (1, True) == (told.code, f"{first} will be skipped: request r-1" in told.out)
    document = stage.run("why", first, "--json").document
    assert ("will be skipped", "r-1") == (document["became"], document["request"])
    assert "is not due yet" in stage.run("why", next_dose(stage)).out
