"""Alarms of the real process on a real broker, and the daily look at the uptake."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from typing import cast

import pytest

from slackwater.facts.alarms import AlarmChanged, AlarmRaised, Cause
from slackwater.facts.events import AnyEvent, HoldRaised
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.outside.alarm import SystemAlarm
from slackwater.outside.broker.observe import Observe
from slackwater.outside.clock import SystemClock
from slackwater.outside.glimpse import read_glimpse
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.shadow_link import ShadowLink
from slackwater.pump.outcome import Stamp
from slackwater.service.alarming import assess_uptake
from slackwater.service.memory import Memory
from slackwater.service.showing import GONE, show_alarms
from slackwater.service.wiring import Places, Rig, setup_from
from tests.alarms.manned import Board, Letters
from tests.cli.stage import Stage, stage_of
from tests.outside.peers import Peer
from tests.service.household import (
    Household,
    approve,
    dense_plan,
    enable,
    household,
    until,
)

HOME = "slackwater/1/home"
HELD = f"{HOME}/daemon/alarm/everything-held/all"


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Household]:
    """A household that ends with the test."""
    with household(tmp_path) as made:
        yield made


def held(_state: State, stamp: Stamp) -> AnyEvent:
    """A person holds everything."""
    return HoldRaised(
        **stamp,
        hold_id="hold/test",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_an_alarm_is_shown_on_the_wire_and_acknowledged_from_afar(
    home: Household,
) -> None:
    """Retained while it stands, with what to do; the answer names the request."""
    approve(home, dense_plan(datetime.now(UTC), 10, 60, 500))
    enable(home)
    events_at = f"{HOME}/tank/reef/event"
    with Peer(home.port, f"{HOME}/daemon/alarm/#", events_at) as wall:
        home.start()
        until(lambda: read_glimpse(home.state) is not None, "a first glimpse")
        home.append(held)
        until(lambda: bool(wall.payloads(HELD)), "the alarm of the hold")
        shown = json.loads(wall.payloads(HELD)[-1])
        ask = {"v": 1, "id": "a-1", "act": "ack", "alarm": "everything-held.all"}
        wall.say(f"{HOME}/tank/reef/request", json.dumps(ask).encode())

        def states() -> list[str]:
            return [json.loads(one)["state"] for one in wall.payloads(HELD)]

        until(lambda: "acknowledged" in states(), "the acknowledgement")
        told = [json.loads(one) for one in wall.payloads(events_at)]
    assert ("active", ["reef"]) == (shown["state"], shown["tanks"])
    assert "slackwater release" in shown["action"]
    answers = [one for one in told if one["request"] == "a-1"]
    assert [{"act": "ack", "granted": True}] == [one["figures"] for one in answers]
    assert "alarm_raised" in [one["event"] for one in told]
    changed = [one for one in home.events() if isinstance(one, AlarmChanged)]
    assert [("acknowledged", "request")] == [(one.to, one.by) for one in changed]


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with an approved plan."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


def rig_of(stage: Stage, memory: Memory) -> Rig:
    """A rig that listens to nobody, on a real ledger."""
    clock, board = SystemClock(), Board()
    return Rig(
        mode="live",
        places=Places(config=stage.config, state=stage.state),
        clock=clock,
        memory=memory,
        mailbox=BoundedMailbox(),
        chores=SimpleQueue(),
        observe=cast("Observe", board),
        link=ShadowLink(clock),
        shadow=None,
        alarm=cast("SystemAlarm", board),
        setup=setup_from(memory.state, None),
        sight=Sight(started_boot_s=clock.now().boot_s),
        post=Letters(),
    )


def test_an_alarm_that_no_ledger_knows_is_taken_away(stage: Stage) -> None:
    """It lay on the broker when the daemon came: its ledger was put back since."""
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        rig = rig_of(stage, memory)
        board = cast("Board", rig.observe)
        rig.lookout.shown["resuming.reef"] = GONE
        for place in ("missed-doses/reef", "resuming/reef"):
            board.shown[f"daemon/alarm/{place}"] = {}
            board.found.add(place)
        show_alarms(rig)
    assert {} == board.shown


def test_the_daily_look_ends_the_alarm_of_an_uptake_that_is_well(stage: Stage) -> None:
    """It assesses from the ledger; an uptake nobody can tell did not fall."""
    stage.append(
        AlarmRaised(
            **stage.stamp(),
            alarm="uptake-fell.reef",
            cause=Cause.UPTAKE_FELL,
            about="reef",
            priority="soon",
            tanks=("reef",),
        )
    )
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        assess_uptake(rig_of(stage, memory))
    assert "returned" == stage.folded().alarms["uptake-fell.reef"].word


def test_a_tank_the_assessment_cannot_read_is_left_out(stage: Stage) -> None:
    """The daemon doses on; an assessment is no condition of it."""
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        rig = rig_of(stage, memory)
        machine = rig.setup.machine
        dry = {"reef": replace(machine.tanks["reef"], net_ul=0)}
        rig.setup = replace(rig.setup, machine=replace(machine, tanks=dry))
        before = len(stage.events())
        assess_uptake(rig)
    assert before == len(stage.events())


def test_the_daily_look_is_written_though_somebody_else_was_first(stage: Stage) -> None:
    """The next one comes a day later: it is written on the news."""
    fell = AlarmRaised(
        **stage.stamp(),
        alarm="uptake-fell.reef",
        cause=Cause.UPTAKE_FELL,
        about="reef",
        priority="soon",
        tanks=("reef",),
    )
    stage.append(fell)
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        # While the daemon assesses, a person writes something down.
        stage.append(held(State(), stage.stamp()))
        assess_uptake(rig_of(stage, memory))
    assert "returned" == stage.folded().alarms["uptake-fell.reef"].word
