"""`status` never leads with LIVE while no pump can be commanded."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.alarms import AlarmRaised, Cause
from slackwater.facts.reasons import Code, because
from slackwater.outside.glimpse import Glimpse, PumpGlimpse, write_glimpse
from slackwater.service.standing import only_one
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import first_line, live

SINCE = timedelta(minutes=7)
ABSENT = (because(Code.NODE_ABSENT, node="shelf"),)
PASSING = (because(Code.NODE_BUSY),)


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, live."""
    return live(stage_of(tmp_path))


def seen(stage: Stage, **changes: object) -> None:
    """The daemon wrote down just now that all is well, but for these."""
    whole = PumpGlimpse(pump="carbonate", asked_ul=3000, volume_ul=3000)
    glimpse = Glimpse(
        at=stage.stamp()["at"],
        mode="live",
        synchronised=True,
        observe_up=True,
        actuate_up=True,
        lines={"reef/carbonate": whole, "reef/calcium": replace(whole, pump="calcium")},
    )
    write_glimpse(stage.state, replace(glimpse, **changes))  # type: ignore[arg-type]  # fields of it


def refused(*reasons: tuple[object, ...]) -> dict[str, PumpGlimpse]:
    """Lines for which the gate has these reasons."""
    return {
        f"reef/{number}": PumpGlimpse(
            pump=str(number),
            asked_ul=3000,
            volume_ul=0,
            refused=each,  # type: ignore[arg-type]  # reasons
        )
        for number, each in enumerate(reasons)
    }


@pytest.mark.parametrize(
    ("observe_up", "actuate_up", "which"),
    [
        (False, False, "the connection"),
        (True, False, "the connection for commands"),
        (False, True, "the listening connection"),
    ],
)
def test_a_link_that_is_down_leads_with_its_beginning(
    stage: Stage, observe_up: bool, actuate_up: bool, which: str
) -> None:
    """Which of the two, and since when on the wall clock of the tank."""
    at = stage.stamp()["at"] - SINCE
    seen(stage, observe_up=observe_up, actuate_up=actuate_up, cut_since=at)
    with only_one(stage.state):
        text = " ".join(stage.run("status").out.split())
        document = stage.run("status", "--json").document
    told = f"No pump can be commanded: {which} to the broker is down since "
    assert text.startswith(f"CUT OFF {told}")
    assert f"{at:%M}" in text.removeprefix(f"CUT OFF {told}")[:20]
    assert "cut-off" == document["state"]
    assert str(document["why"]).startswith(told)


def test_links_that_are_up_lead_with_live(stage: Stage) -> None:
    """Also when an alarm waits for its end, and when some line is reached."""
    cut(stage)
    for lines in (refused(()), refused(ABSENT, ()), refused(PASSING)):
        seen(stage, lines=lines)
        with only_one(stage.state):
            assert first_line(stage).startswith("LIVE  ")


def test_no_line_that_can_be_reached_is_no_live(stage: Stage) -> None:
    """Every node is silent: the reason leads."""
    seen(stage, lines=refused(ABSENT, (*PASSING, *ABSENT)))
    with only_one(stage.state):
        text = " ".join(stage.run("status").out.split())
    assert text.startswith(
        "CUT OFF No pump can be commanded: No fresh beat from the pump node (node "
    )


def test_without_a_fresh_look_the_alarm_counts(stage: Stage) -> None:
    """An old glimpse says nothing of now, whatever it saw."""
    old = stage.stamp()["at"] - timedelta(minutes=4)
    seen(stage, at=old, observe_up=False, actuate_up=False, cut_since=old)
    with only_one(stage.state):
        assert first_line(stage).startswith("LIVE  ")
        seen(stage, at=old)
        cut(stage)
        assert first_line(stage).startswith("CUT OFF  ")


def test_a_hold_or_a_stopped_daemon_leads_all_the_same(stage: Stage) -> None:
    """They are the nearer reasons, and the older words."""
    seen(stage, observe_up=False, actuate_up=False)
    assert first_line(stage).startswith("STOPPED  ")
    stage.run("hold", "--by", "keeper")
    with only_one(stage.state):
        assert first_line(stage).startswith("HELD  ")


def cut(stage: Stage) -> None:
    """The alarm that the link is down stands."""
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm="link-down.all",
            cause=Cause.LINK_DOWN,
            about="all",
            priority="soon",
            tanks=("reef",),
        )
    )
