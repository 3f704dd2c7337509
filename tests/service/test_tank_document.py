"""What the retained document of a tank says, on a real ledger without a wire."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, cast

import pytest

from slackwater.facts.alarms import AlarmRaised, Cause
from slackwater.facts.events import (
    AnyEvent,
    ClockConfirmed,
    HoldRaised,
    PumpsEnabled,
    RequestHeard,
)
from slackwater.facts.messages import Beat, Channel
from slackwater.facts.reasons import Code, because
from slackwater.facts.sight import NodeSight
from slackwater.facts.tank import Pump
from slackwater.facts.waters import TaskSet
from slackwater.outside.wire import HomeSettings, Kind, Topic, state_bytes
from slackwater.service.alarming import survey
from slackwater.service.homing import NAME, read_announced
from slackwater.service.loop import write
from slackwater.service.memory import Memory
from slackwater.service.showing import show_all
from slackwater.service.wiring import Rig
from slackwater.turn.step import moment_at
from tests.alarms.manned import Board
from tests.cli.stage import Stage, stage_of
from tests.service.test_alarms import rig_of

Document = dict[str, Any]


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with an approved plan."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


@contextmanager
def running(stage: Stage) -> Iterator[Rig]:
    """A rig on the ledger, open as long as the context lasts."""
    memory = Memory(stage.state, "live")
    memory.open()
    try:
        yield rig_of(stage, memory)
    finally:
        memory.close()


def shown(rig: Rig) -> Document:
    """The document of the tank as it would stand on the wire."""
    show_all(rig)
    board = cast("Board", rig.observe)
    topic = Topic(root=rig.root, kind=Kind.TANK_STATE, owner="reef")
    told: Document = json.loads(state_bytes(topic, board.shown["tank/reef/state"]))
    return told


def hold(stage: Stage, hold_id: str, scope: str, code: Code) -> AnyEvent:
    """A hold of a scope for a reason."""
    return HoldRaised(
        **stage.stamp(),
        hold_id=hold_id,
        scope=scope,
        reason=because(code),
        latched=True,
    )


def test_it_leads_with_the_state_and_its_reason(stage: Stage) -> None:
    """In shadow it says so; a hold goes before everything, and its reason with it."""
    with running(stage) as rig:
        assert "shadow" == shown(rig)["word"]
        write(rig, [hold(stage, "m-1", "tank/reef", Code.MANUAL_HOLD)])
        told = shown(rig)
    assert ("held", "tank/reef: A person asked for a hold.") == (
        told["word"],
        told["why"],
    )


OURS = ("all", "tank/reef", "water/reef", "corrections/reef")
OTHERS = ("tank/other", "water/other", "pump/unknown")


def test_a_hold_stands_with_its_tank_whatever_its_scope_is_called(stage: Stage) -> None:
    """What holds another tank, or a pump of another, is not told here."""
    with running(stage) as rig:
        holds = [hold(stage, scope, scope, Code.LEAK) for scope in OURS + OTHERS]
        write(rig, holds)
        told = shown(rig)
    assert set(OURS) == {one["id"] for one in told["holds"]}
    assert "all" == told["holds"][0]["id"]


def test_a_hold_says_where_to_look(stage: Stage) -> None:
    """A leak is a matter of the equipment; one of another tank is none of ours."""
    with running(stage) as rig:
        write(rig, [hold(stage, "o-1", "tank/other", Code.PH_HIGH)])
        assert not any(shown(rig)["groups"].values())
        write(rig, [hold(stage, "l-1", "tank/reef", Code.LEAK)])
        groups = shown(rig)["groups"]
    assert ["equipment"] == [name for name, there in groups.items() if there]


def test_a_pump_says_whether_it_is_held(stage: Stage) -> None:
    """A hold elsewhere stops none; one of a pump stops it and what goes with it."""
    with running(stage) as rig:
        write(rig, [hold(stage, "o-1", "tank/other", Code.LEAK)])
        assert not any(one["held"] for one in shown(rig)["pumps"].values())
        pump = min(rig.setup.machine.pumps)
        write(rig, [hold(stage, "p-1", f"pump/{pump}", Code.OVER_DELIVERED)])
        assert shown(rig)["pumps"][pump]["held"]


def test_what_was_given_yesterday_is_not_told_as_of_today(stage: Stage) -> None:
    """The day is that of the tank's own clock, and begins with nothing."""
    with running(stage) as rig:
        pump = min(rig.setup.machine.pumps)
        past = rig.clock.now().utc.date() - timedelta(days=2)
        rig.memory.state.days[f"pump/{pump}"] = {past: 7_000}
        told = shown(rig)
    assert (0, 0) == (told["totals"][pump]["day_ul"], told["pumps"][pump]["day_ul"])


def test_a_dose_that_was_skipped_is_not_the_next(stage: Stage) -> None:
    """So that a second press skips another one, and nobody waits for the first."""
    with running(stage) as rig:
        first = shown(rig)["next_dose"]["dose"]
        heard = RequestHeard(
            **stage.stamp(),
            request="r-1",
            act="skip",
            tank="reef",
            granted=True,
            dose=first,
        )
        write(rig, [heard])
        assert first != shown(rig)["next_dose"]["dose"]


def test_h38_what_a_clock_ahead_gave_is_not_the_next(stage: Stage) -> None:
    """A person put the clock right: the next is one that was not given, by its name."""
    with running(stage) as rig:
        first = shown(rig)["next_dose"]
        stamp = stage.stamp()
        due_at = datetime.fromisoformat(first["due_at"])
        right = ClockConfirmed(
            **stamp, boot_id="one", by="keeper", again_until=due_at + timedelta(days=9)
        )
        write(rig, [right])
        known = shown(rig)["next_dose"]
        assert {**first, "dose": f"{first['dose']}.2"} == known
        rig.memory.state.used[first["dose"]] = due_at.date()
        later = shown(rig)["next_dose"]
        assert later["due_at"] > known["due_at"]
        assert later["dose"].endswith(".2")


def test_tasks_are_counted_and_the_first_is_named(stage: Stage) -> None:
    """Due are those whose day has come."""
    with running(stage) as rig:
        for number, day in ((1, date(2999, 1, 1)), (2, date(2020, 1, 1))):
            task = TaskSet(
                **stage.stamp(),
                task=f"t-{number}",
                tank="reef",
                remedy="retest",
                parameter=f"{'calcium' if number == 1 else 'magnesium'}",
                text=f"Test number {number}.",
                due_on=day,
                by="keeper",
            )
            write(rig, [task])
        told = shown(rig)["tasks"]
    assert {
        "open": 2,
        "due": 1,
        "next": "Test number 2.",
        "due_on": "2020-01-01",
    } == told


def test_standings_come_with_an_assessment_and_not_before(stage: Stage) -> None:
    """Nothing is told of a parameter nobody has looked at."""
    with running(stage) as rig:
        assert {} == shown(rig)["standings"]
        survey(rig)
        told = shown(rig)["standings"]
    assert {"unknown", "no-band"} >= {one["word"] for one in told.values()}
    assert "dKH" == told["alkalinity"]["unit"]


def test_without_its_table_nothing_is_announced_or_kept(stage: Stage) -> None:
    """And a file that somebody spoiled is as good as none."""
    with running(stage) as rig:
        show_all(rig)
        assert not (stage.state / NAME).exists()
        (stage.state / NAME).write_text("[1, 2")
        assert {} == read_announced(stage.state, rig.root)
        (stage.state / NAME).write_text('["a", "b"]')
        assert {} == read_announced(stage.state, rig.root)


def test_a_disk_that_takes_nothing_puts_the_announcement_off(stage: Stage) -> None:
    """What could not be taken away later is not announced; dosing goes on."""
    with running(stage) as rig:
        rig.home = HomeSettings()
        # A folder in its place: nothing can be written there, not even by root.
        (stage.state / NAME).with_suffix(".new").mkdir()
        show_all(rig)
        assert {} == rig.announced


def reaching(rig: Rig, stage: Stage) -> None:
    """Pumps are enabled, both links are up, and the node is heard."""
    enabled = PumpsEnabled(**stage.stamp(), by="mara", serial=1)
    write(rig, [enabled, ClockConfirmed(**stage.stamp(), boot_id=boot(rig), by="m")])
    rig.sight.observe_up = rig.sight.actuate_up = True
    for node, pumps in by_node(rig).items():
        rig.sight.nodes[node] = NodeSight(
            beat=Beat(
                node=node,
                boot="9e1b00000000000a",
                up=10**7,
                seq=1,
                hold=False,
                fence=0,
                hw="x",
                cfg="0badcafe",
                channels={
                    pump.channel: Channel(
                        n=1, state="idle", odo_ul=0, odo_ms=0, budget_ul=10**6
                    )
                    for pump in pumps
                },
                heard_boot_s=rig.clock.now().boot_s,
            ),
            first_heard_boot_s=0.0,
            beats=9,
        )


def boot(rig: Rig) -> str:
    """The boot of this machine."""
    return rig.clock.now().boot_id


def by_node(rig: Rig) -> dict[str, list[Pump]]:
    """The pumps of the machine by their node."""
    found: dict[str, list[Pump]] = {}
    for pump in rig.setup.machine.pumps.values():
        found.setdefault(pump.node, []).append(pump)
    return found


def test_no_pump_that_can_be_commanded_is_no_live(stage: Stage) -> None:
    """As the status says it: a dashboard is not told that pumps are commanded."""
    with running(stage) as rig:
        reaching(rig, stage)
        assert ("live", "fine") == (shown(rig)["word"], health(rig))
        rig.sight.actuate_up = False
        told = shown(rig)
        assert ("cut-off", "degraded") == (told["word"], health(rig))
        assert told["why"] == (
            "No pump can be commanded: the connection for commands to the broker is "
            "down."
        )
        rig.sight.actuate_up, rig.sight.observe_up = True, False
        assert "the listening connection" in shown(rig)["why"]
        rig.sight.actuate_up = False
        assert ": the connection to the broker" in shown(rig)["why"]
        rig.sight.observe_up = rig.sight.actuate_up = True
        rig.sight.free_bytes = 1000
        told = shown(rig)
        assert "cut-off" == told["word"]
        assert told["why"].startswith("No pump can be commanded: ")
        rig.sight.free_bytes = None
        beats, rig.sight.nodes = rig.sight.nodes, {}
        assert "cut-off" == shown(rig)["word"]
        rig.sight.nodes = beats
        assert ("live", "fine") == (shown(rig)["word"], health(rig))


def health(rig: Rig) -> object:
    """What the document of the daemon says of itself."""
    return cast("Board", rig.observe).shown["daemon/state"]["health"]


def test_an_alarm_that_presses_is_no_fine_health(stage: Stage) -> None:
    """A note is no trouble, and a hold says more than an alarm."""
    with running(stage) as rig:
        reaching(rig, stage)
        for name, priority, word in (
            ("reservoir-low.a", "note", "fine"),
            ("missed-doses.reef", "soon", "degraded"),
        ):
            cause, _, about = name.partition(".")
            alarm = AlarmRaised(
                **stage.stamp(),
                alarm=name,
                cause=Cause(cause),
                about=about,
                priority=priority,  # type: ignore[arg-type]  # one of them
                tanks=("reef",),
            )
            write(rig, [alarm])
            shown(rig)
            assert word == health(rig)
        write(rig, [hold(stage, "m-1", "tank/reef", Code.MANUAL_HOLD)])
        shown(rig)
        assert "held" == health(rig)


def test_caps_that_nobody_answered_for_are_no_live(stage: Stage) -> None:
    """As the status says it: no hold stands, and nothing would be dosed for a day."""
    with running(stage) as rig:
        reaching(rig, stage)
        moment = moment_at(rig.clock.now(), rig.memory.state, rig.sight, rig.setup)
        rig.memory.state.unanswered_ms = moment.proven_ms
        told = shown(rig)
    assert ("held", []) == (told["word"], told["holds"])
    assert told["why"] == "Nobody said what was dosed: caps are used up for 24 h."
