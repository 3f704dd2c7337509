"""The node of the fault rehearsal keeps the contract, and breaks only when told."""

from dataclasses import replace

import pytest

from slackwater.facts.messages import RunPump
from slackwater.rehearsal.faults.node import Head, Node, Run

HOUR_MS = 3_600_000
UP_MS = 30 * HOUR_MS
LIMIT_UL = 24_000


def node() -> Node:
    """A node with one head, up for thirty hours, its budget free."""
    return Node("shelf", {"a": Head(pump="soda", day_limit_ul=LIMIT_UL)}, UP_MS)


def command(of: Node, **fields: object) -> RunPump:
    """A sound command of 3 mL in 6 s for the first number."""
    sound = RunPump(
        node="shelf",
        channel="a",
        attempt="1" * 32,
        boot=of.boot,
        n=0,
        fence=1,
        ul=3000,
        ms=6000,
        cut_ms=7000,
        until_up=UP_MS + 8000,
        cal="00000000",
    )
    return replace(sound, **fields)  # type: ignore[arg-type]  # each of its own type


def test_a_run_moves_number_and_budget_and_ends_by_itself() -> None:
    """Taken at once; after its time the report says what flowed."""
    one = node()
    (taken,) = one.command(command(one), 0)
    assert "taken" == taken.phase
    assert ["soda"] == list(one.flowing(100))
    assert 6000 == one.next_ms()
    (ended,) = one.tick(6000)
    assert ("ended", 3000, "complete") == (ended.phase, ended.ul, ended.reason)
    beat = one.beat(6000, 1.0)
    channel = beat.channels["a"]
    assert (1, 3000, LIMIT_UL - 3000) == (channel.n, channel.odo_ul, channel.budget_ul)
    assert channel.last is not None
    assert "1" * 32 == channel.last.id
    assert [3000] == [flow.volume_ul for flow in one.flows]


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"boot": "f" * 16}, "boot"),
        ({"n": 1}, "number"),
        ({"until_up": UP_MS - 1}, "late"),
        ({"ul": LIMIT_UL + 1}, "budget"),
    ],
)
def test_the_first_rule_that_fails_answers(
    fields: dict[str, object], word: str
) -> None:
    """A refusal changes nothing."""
    one = node()
    (refused,) = one.command(command(one, **fields), 0)
    assert ("refused", word) == (refused.phase, refused.reason)
    assert 0 == one.beat(0, 1.0).channels["a"].n
    assert [] == one.flows


def test_an_older_fence_a_run_under_way_and_a_hold_refuse() -> None:
    """Rules that need a past: fence, busy, held."""
    one = node()
    one.command(command(one, fence=5), 0)
    assert "fence" == one.command(command(one, attempt="2" * 32, n=1), 10)[0].reason
    busy = command(one, attempt="2" * 32, n=1, fence=5)
    assert "busy" == one.command(busy, 10)[0].reason
    one.tick(6000)
    one.hold = True
    assert "held" == one.command(busy, 6001)[0].reason
    assert "held" == one.beat(6001, 1.0).channels["a"].state


def test_the_same_attempt_is_answered_and_never_run_again() -> None:
    """While it runs it is taken, afterwards it has ended."""
    one = node()
    for at_ms in (0, 10, 6000):
        one.tick(at_ms)
        one.command(command(one), at_ms)
    assert "ended" == one.command(command(one), 8000)[0].phase
    assert [3000] == [flow.volume_ul for flow in one.flows]
    assert 1 == one.beat(8000, 1.0).channels["a"].n


def test_a_stop_is_a_partial_run() -> None:
    """Half the time, half the volume, and it stays partial."""
    one = node()
    one.command(command(one), 0)
    (stopped,) = one.stop("", 3000)
    assert ("stopped", 1500) == (stopped.reason, stopped.ul)
    assert [] == one.stop("a", 3001)


def test_a_node_that_hangs_is_ended_by_its_hardware_at_the_cut() -> None:
    """It flows for 7 s whatever it knows, and says so when it is back."""
    one = node()
    one.command(command(one), 0)
    one.absent_until_ms = 60_000
    assert [] == one.tick(6500)
    assert [] == one.stop("", 6500)
    assert ["soda"] == list(one.flowing(6999))
    assert [] == list(one.flowing(7000))
    (ended,) = one.tick(60_000)
    assert ("cut", 3500) == (ended.reason, ended.ul)


def test_power_up_forgets_and_begins_with_nothing_left_to_give() -> None:
    """New boot, number 0, outputs off, a self-test, and a budget used up."""
    one = node()
    before = one.boot
    one.command(command(one), 0)
    one.power_up(3000)
    beat = one.beat(3000, 1.0)
    channel = beat.channels["a"]
    assert before != beat.boot
    assert (0, "starting", 0) == (channel.n, channel.state, channel.budget_ul)
    assert [1500] == [flow.volume_ul for flow in one.flows]
    # An hour later one of 24 parts has come free.
    later = one.beat(3000 + HOUR_MS, 2.0).channels["a"]
    assert (LIMIT_UL // 24, "idle") == (later.budget_ul, later.state)


@pytest.mark.parametrize(("factor", "flows_ul"), [(1.5, 4500), (0.5, 1500), (0.0, 0)])
def test_a_hose_gives_what_it_gives_and_the_meter_says_so(
    factor: float, flows_ul: int
) -> None:
    """The report is what flowed."""
    one = node()
    one.heads["a"].factor = factor
    one.command(command(one), 0)
    (ended,) = one.tick(6000)
    assert flows_ul == ended.ul


def test_a_strike_waits_for_a_start() -> None:
    """What is armed for the next run is told of it."""
    one, seen = node(), list[Run]()
    one.on_start = seen.append
    one.command(command(one), 0)
    assert [3000] == [run.command.ul for run in seen]


def test_an_absent_node_hears_no_command_and_no_stop() -> None:
    """Nothing is accepted, nothing ends before it is back."""
    one = node()
    one.absent_until_ms = HOUR_MS
    assert [] == one.command(command(one), 0)
    assert [] == one.stop("a", 0)
    assert [] == one.tick(0)
    assert 0 == one.beat(0, 1.0).channels["a"].n
