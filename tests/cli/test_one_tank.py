"""One tank has one level and one uptake, whichever verb is asked."""

import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from slackwater.cli.report.past import read_past
from slackwater.facts.tank import Machine
from slackwater.outside.settings import read_machine
from tests.cli.run_program import CONFIG
from tests.cli.stage import Stage, stage_of
from tests.cli.test_propose import MEQ_PER_DKH, dosed_by_hand


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, kept at 8 dKH by hand for a week at 1.2 dKH a day."""
    config = tmp_path / "config"
    shutil.copytree(CONFIG / "smallest", config)
    made = stage_of(tmp_path, config)
    made.nothing_dosed(30)
    made.append(*dosed_by_hand(made, 1.2))
    return made


def machine_of(stage: Stage) -> Machine:
    """The machine of the files."""
    return read_machine(stage.config)


def assessed(stage: Stage) -> dict[str, Any]:
    """What `assess` says of alkalinity: its standing, and its uptake."""
    told = stage.run("assess", "--no-tasks", "--json").document
    return {
        "level": told["standings"]["alkalinity"]["level"],  # type: ignore[index]  # a table
        "uptake": told["uptakes"]["alkalinity"]["per_day"],  # type: ignore[index]  # a table
    }


def test_a_rehearsal_begins_where_the_assessment_ends(stage: Stage) -> None:
    """Level and uptake of both are those of one reckoning, to a hundredth of a dKH.

    The rehearsal is of the moment of the newest entry, seconds before the other.
    """
    found, past = assessed(stage), read_past(stage.state, machine_of(stage))
    near = 0.01 * MEQ_PER_DKH
    assert found["level"] == pytest.approx(past.levels["reef"]["alkalinity"], abs=near)
    known = past.uptakes["reef"]["alkalinity"].estimate
    assert found["uptake"] == pytest.approx(known, abs=near)


def test_a_rehearsal_says_of_what_its_figures_are(stage: Stage) -> None:
    """The level as assessed, with the time; the uptake by tests."""
    text = stage.run("rehearse", "--days", 1).out
    told = " ".join(text.split())
    assert re.search(
        r"; as assessed of \d{4}-\d\d-\d\d \d\d:\d\d CES?T, uptake by tests", told
    )


def test_a_proposal_tells_both_uptakes_where_they_differ(stage: Stage) -> None:
    """That at the target is replaced; that of now stands in the assessment."""
    text = " ".join(stage.run("propose").out.split())
    shown = assessed(stage)["uptake"] / MEQ_PER_DKH
    assert "(uptake at the target " in text
    assert f"at the level of now {shown:.3g} dKH/day" in text
