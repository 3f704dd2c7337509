"""`away` looks at what runs, what was missed, and how long a tank has."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.reasons import Code, because
from slackwater.outside.glimpse import PumpGlimpse
from slackwater.service.standing import only_one
from tests.cli.stage import Stage, stage_of
from tests.cli.test_leaving import day, met
from tests.cli.test_status import PEQ_PER_DKH, live, miss
from tests.cli.test_status_cut_off import seen


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, live."""
    return live(stage_of(tmp_path))


def page(stage: Stage, *words: str) -> str:
    """What it prints, on one line."""
    told = stage.run("away", "--until", day(stage, 10), *words)
    return " ".join(told.out.split())


def test_pumps_that_are_commanded_speak_for_going(stage: Stage) -> None:
    """With a daemon that wrote down just now what it sees."""
    with only_one(stage.state):
        seen(stage)
        assert [True] == met(stage)["running"]
        assert "go LIVE: Pumps are commanded by the approved plan" in page(stage)


def test_a_broker_that_is_down_speaks_against_going(stage: Stage) -> None:
    """No hold stands, and yet no pump can be commanded."""
    with only_one(stage.state):
        seen(stage, observe_up=False, actuate_up=False)
        told = page(stage)
    assert "no-go CUT OFF: No pump can be commanded: the connection" in told


def test_a_daemon_that_is_not_there_speaks_against_going(stage: Stage) -> None:
    """Nothing is dosed."""
    assert "no-go STOPPED: No daemon runs on this ledger" in page(stage)


@pytest.mark.parametrize("old", [False, True])
def test_a_daemon_nobody_saw_working_speaks_against_going(
    stage: Stage, old: bool
) -> None:
    """It holds the ledger and tells nothing of what it sees."""
    if old:
        seen(stage, at=stage.stamp()["at"] - timedelta(minutes=4))
    with only_one(stage.state):
        assert "no-go the daemon wrote down nothing of what it sees" in page(stage)


def test_what_the_gate_refuses_speaks_against_going(stage: Stage) -> None:
    """As the status leads with it; a hold has a line of its own and no second one."""
    tested = because(
        Code.ALKALINITY_TEST, tested_meq_per_l=3.459, ceiling_meq_per_l=3.388
    )
    refused = PumpGlimpse(
        pump="carbonate", asked_ul=3000, volume_ul=0, refused=(tested,)
    )
    with only_one(stage.state):
        lines = {"reef/carbonate": refused, "reef/calcium": replace(refused)}
        seen(stage, lines=lines)
        assert "no-go HELD: A hand test found alkalinity" in page(stage)
        stage.run("hold", "--by", "keeper")
        found = met(stage)
    assert ("running" in found, found["holds"]) == (False, [False])


def test_missed_doses_speak_against_going(stage: Stage) -> None:
    """How many, and why the newest was."""
    miss(stage, 1, PEQ_PER_DKH)
    miss(stage, 2, PEQ_PER_DKH)
    told = page(stage)
    assert (
        "no-go reef missed 2 doses in 24 h, the newest: The latest start passed" in told
    )
    assert [False] == met(stage)["missed"]


def test_the_time_to_the_floor_is_told(stage: Stage) -> None:
    """As a status has it: whoever is called must come within that."""
    tanks = stage.run("status", "--json").document["tanks"]
    assert isinstance(tanks, list)
    left = tanks[0]["hours_to_floor"]
    assert f"go reef is at its floor {left:.0f} h after dosing stops" in page(stage)


def test_a_second_declaration_says_what_it_replaces(stage: Stage) -> None:
    """From when until when, and by whom."""
    anyway = ("--anyway", "a test", "--by", "keeper")
    assert "takes the place" not in page(stage, *anyway)
    assert "It takes the place of the absence from " in page(stage, *anyway)
    words = ("away", "--until", day(stage, 5), *anyway, "--json")
    replaced = stage.run(*words).document["replaces"]
    assert isinstance(replaced, list)
    assert ["keeper"] == [one["by"] for one in replaced]
