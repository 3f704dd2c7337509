"""H31: the daemon reads its whole ledger once a day, in steps, and stops on damage."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.events import HoldReleased, ReadingKept
from slackwater.facts.reasons import Code
from slackwater.ledger.reader import ROWS_AT_ONCE
from slackwater.service.chores import do_chores
from slackwater.service.loop import stamp_of, take_news, write
from slackwater.service.memory import LIVE_NAME, Memory
from slackwater.service.wiring import Rig
from tests.cli.stage import Stage, stage_of
from tests.ledger.samples import another_program, kept
from tests.service.test_alarms import rig_of

# As many as need a second step of the chain.
MANY = ROWS_AT_ONCE + 5
STEPS_AT_MOST = 60


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A ledger with an approved plan and more entries than one step reads."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    return stage


@pytest.fixture
def rig(stage: Stage) -> Iterator[Rig]:
    """A rig on it, whose newest checkpoint lies after everything."""
    with closing(Memory(stage.state, "live")) as memory:
        memory.open()
        rig = rig_of(stage, memory)
        stamp = stamp_of(rig)
        memory.append([kept_at(number, stamp["proven_ms"]) for number in range(MANY)])
        yield rig


def read_all(rig: Rig) -> int:
    """The daily job and the steps after it; how many there were."""
    rig.chores.put("audit")
    do_chores(rig)
    steps = 0
    while rig.verifying is not None:
        assert steps < STEPS_AT_MOST
        rig.chores.put("verify")
        do_chores(rig)
        steps += 1
    return steps


def kept_at(number: int, proven_ms: int) -> ReadingKept:
    """A small entry, not before those that stand there."""
    return replace(kept(number), proven_ms=proven_ms)


def spoil(stage: Stage) -> None:
    """Another program changes one old entry past the triggers."""
    with another_program(stage.state / LIVE_NAME) as stranger:
        shape = "SELECT sql FROM sqlite_schema WHERE name = 'entries_no_update'"
        ((trigger,),) = stranger.execute(shape)
        stranger.execute("DROP TRIGGER entries_no_update")
        stranger.execute("UPDATE entries SET body = body || ' ' WHERE seq = 3")
        stranger.execute(trigger)


def test_h31_a_whole_ledger_is_read_once_a_day_in_small_steps(rig: Rig) -> None:
    """More than one step for so many entries; nothing is held, and then it rests."""
    assert read_all(rig) > MANY // ROWS_AT_ONCE + 1
    assert {} == rig.memory.state.holds
    before = rig.memory.ledger.head
    rig.chores.put("verify")
    do_chores(rig)
    assert before == rig.memory.ledger.head


def test_h31_damage_anywhere_stops_everything_until_a_person_looked(
    stage: Stage, rig: Rig
) -> None:
    """Far before the newest checkpoint, where a start would not look."""
    spoil(stage)
    read_all(rig)
    (hold,) = rig.memory.state.holds.values()
    assert (Code.LEDGER_DAMAGED, "all", True) == (
        hold.reason.code,
        hold.scope,
        hold.latched,
    )
    assert "entry 3" in str(hold.reason.figures["what"])
    # Told once, and again by the next day's reading when somebody released it.
    read_all(rig)
    released = HoldReleased(**stamp_of(rig), hold_id=hold.hold_id, by="keeper")
    assert write(rig, [released])
    assert {} == rig.memory.state.holds
    read_all(rig)
    assert [Code.LEDGER_DAMAGED] == list(rig.memory.state.holds)


def test_h31_damage_is_held_whoever_was_first_to_write(stage: Stage, rig: Rig) -> None:
    """Entries between the finding and its hold put it off by no day."""
    spoil(stage)
    rig.chores.put("audit")
    do_chores(rig)
    while rig.verifying is not None:
        stage.append(kept_at(1, stage.stamp()["proven_ms"]))
        rig.chores.put("verify")
        do_chores(rig)
    assert [Code.LEDGER_DAMAGED] == list(rig.memory.state.holds)


def test_h31_the_daily_job_is_done_whoever_was_first_to_write(
    stage: Stage, rig: Rig
) -> None:
    """Somebody wrote down a test a moment before: that ends no daemon."""
    stage.append(kept_at(1, stage.stamp()["proven_ms"]))
    rig.chores.put("audit")
    do_chores(rig)
    assert rig.verifying is not None
    assert "checkpoint" == stage.events()[-1].kind


def test_h31_whoever_writes_meanwhile_is_no_damage(stage: Stage, rig: Rig) -> None:
    """Entries between two steps are looked at the next day."""
    rig.chores.put("audit")
    do_chores(rig)
    while rig.verifying is not None:
        stage.append(kept_at(1, stage.stamp()["proven_ms"]))
        take_news(rig)
        rig.chores.put("verify")
        do_chores(rig)
    assert {} == rig.memory.state.holds


def test_h31_a_file_that_somebody_else_holds_is_read_anew(
    stage: Stage, rig: Rig
) -> None:
    """A lock ends no daemon: the reading begins again and comes to its end."""
    rig.chores.put("audit")
    do_chores(rig)
    with another_program(stage.state / LIVE_NAME) as stranger:
        stranger.execute("BEGIN EXCLUSIVE")
        rig.chores.put("verify")
        do_chores(rig)
        stranger.execute("ROLLBACK")
    assert rig.verifying is not None
    read_all(rig)
    assert {} == rig.memory.state.holds
