"""Runs, stops, holds and beats of the virtual node, under a virtual clock."""

import pytest

from demo.node.node import SELF_TEST_MS, Node
from tests.demo.nodes import (
    BOOT,
    HOUR_MS,
    LIMITS,
    RESTED_MS,
    answer,
    attempt,
    bench,
    encoded,
    results,
    run_bytes,
    stop_bytes,
)


def test_power_up_is_a_self_test_that_refuses() -> None:
    """Until the self-test is over the state is starting and every run is held."""
    here = bench(up_ms=SELF_TEST_MS - 1)
    assert here.channel()["state"] == "starting"
    assert answer(here.send(run_bytes())) == ("refused", "held")
    told = here.wait(1)
    assert [suffix for suffix, _ in told] == ["beat"]
    assert here.channel()["state"] == "idle"


def test_power_up_begins_at_number_zero_without_room() -> None:
    """A reboot loses number, odometer and room; nothing goes on running."""
    here = bench()
    here.send(run_bytes())
    again = bench(up_ms=SELF_TEST_MS)
    expected = {"n": 0, "state": "idle", "odo_ul": 0, "odo_ms": 0, "budget_ul": 0}
    assert expected == again.channel()
    assert answer(again.send(run_bytes())) == ("refused", "budget")


def test_a_run_completes_at_its_time() -> None:
    """At `ms` the output drops, the result says complete and the beat knows it."""
    here = bench()
    here.send(run_bytes())
    assert here.wait(1_999) == []
    told = here.wait(1)
    (only,) = results(told)
    assert tuple(only[name] for name in ("phase", "reason", "ran_ms", "ul")) == (
        "ended",
        "complete",
        2_000,
        1_000,
    )
    assert {
        "n": 1,
        "state": "idle",
        "odo_ul": 1_000,
        "odo_ms": 2_000,
        "budget_ul": 119_000,
        "last": {
            "id": attempt(1),
            "ul": 1_000,
            "ran_ms": 2_000,
            "reason": "complete",
            "cal": "77aa01cf",
        },
    } == here.channel()
    assert not here.pumping()


def test_a_hung_main_loop_is_cut_by_the_hardware() -> None:
    """Hazard H21: with nobody looking the output drops at `cut_ms`, told as cut."""
    here = bench()
    here.send(run_bytes())
    assert here.pumping(after_ms=2_499)
    assert not here.pumping(after_ms=2_500)
    (only,) = results(here.wait(600_000))
    assert tuple(only[name] for name in ("phase", "reason", "ran_ms", "ul")) == (
        "ended",
        "cut",
        2_500,
        1_250,
    )


def test_what_a_cut_let_out_beyond_the_asked_counts_in_the_budget() -> None:
    """The budget never believes less than what flowed."""
    here = bench()
    here.send(run_bytes())
    here.wait(5_000)
    assert here.channel()["budget_ul"] == 120_000 - 1_250


def test_a_cut_equal_to_the_run_time_is_complete() -> None:
    """Where both ends fall together the asked time was run in full."""
    here = bench()
    here.send(run_bytes(cut_ms=2_000))
    assert answer(here.wait(9_000)) == ("ended", "complete")


def test_stop_ends_a_run_with_its_partial_amount() -> None:
    """A stopped run reports what its time moved and stays partial."""
    here = bench()
    here.send(run_bytes())
    here.wait(700)
    (only,) = results(here.send(stop_bytes()))
    assert (attempt(1), "ended", "stopped", 700, 350) == tuple(
        only[name] for name in ("id", "phase", "reason", "ran_ms", "ul")
    )
    channel = here.channel()
    assert (channel["odo_ul"], channel["budget_ul"]) == (350, 119_000)


def test_a_partial_amount_is_rounded_up() -> None:
    """Hand-worked: 2 000 uL in 1 210 ms, stopped at 1 207 ms, is 1 995.04: 1 996."""
    here = bench(nominal_ul_per_min=99_000)
    here.send(run_bytes(ul=2_000, ms=1_210, cut_ms=1_400))
    here.wait(1_207)
    (only,) = results(here.send(stop_bytes()))
    assert only["ul"] == 1_996


def test_stop_may_be_repeated_and_shows_a_beat() -> None:
    """Hazard H17: a stop with nothing running only shows the state."""
    here = bench()
    assert [suffix for suffix, _ in here.send(stop_bytes())] == ["beat"]
    assert [suffix for suffix, _ in here.send(stop_bytes())] == ["beat"]


def test_stop_without_a_channel_ends_every_run() -> None:
    """No `chan` means all."""
    here = bench()
    here.send(run_bytes())
    here.send(run_bytes(id=attempt(2), chan="b"))
    told = here.send(stop_bytes(None))
    assert [only["chan"] for only in results(told)] == ["a", "b"]


def test_stop_leaves_the_other_channel_alone() -> None:
    """A stop for one head is not a stop for the node."""
    here = bench()
    here.send(run_bytes())
    here.send(stop_bytes("b"))
    assert here.pumping()


@pytest.mark.parametrize("payload", [b"{}", b"\xff", b'{"v":1,"by":"x"}', b"0"])
def test_anything_on_the_hold_topic_stops_and_holds(payload: bytes) -> None:
    """Presence counts, not content: the run stops, new ones are refused."""
    here = bench()
    here.send(run_bytes())
    here.wait(400)
    told = here.hold(payload)
    assert answer(told) == ("ended", "stopped")
    assert told[-1][1]["hold"] is True
    assert here.channel()["state"] == "held"
    assert answer(here.send(run_bytes(id=attempt(2), n=1))) == ("refused", "held")


def test_an_empty_payload_clears_the_hold_only() -> None:
    """After release nothing goes on by itself; the next run is taken."""
    here = bench()
    here.send(run_bytes())
    here.hold(b"{}")
    here.hold(b"")
    assert here.channel()["state"] == "idle"
    assert not here.pumping()
    assert answer(here.send(run_bytes(id=attempt(2), n=1))) == ("taken", "")


def test_repeated_holds_are_told_once() -> None:
    """A retained hold that comes again after a reconnect changes nothing."""
    here = bench()
    assert len(here.hold(b"{}")) == 1
    assert here.hold(b"{}") == []


def test_a_switch_of_its_own_stops_and_holds_until_it_is_off() -> None:
    """Level, leak or lid hold the node without the hold flag."""
    here = bench()
    here.send(run_bytes())
    told = here.node.local_input("leak", here.up_ms, active=True)
    assert answer(told) == ("ended", "stopped")
    assert told[-1][1]["hold"] is False
    assert answer(here.send(run_bytes(id=attempt(2), n=1))) == ("refused", "held")
    here.node.local_input("leak", here.up_ms, active=False)
    assert answer(here.send(run_bytes(id=attempt(2), n=1))) == ("taken", "")


def test_a_broken_head_ends_as_fault_and_stays_out() -> None:
    """A fault ends the run, shows in the beat and refuses until power-up."""
    here = bench()
    here.send(run_bytes())
    here.wait(1_000)
    told = here.node.fail("a", here.up_ms)
    assert answer(told) == ("ended", "fault")
    assert here.channel()["state"] == "fault"
    assert answer(here.send(run_bytes(id=attempt(2), n=1))) == ("refused", "busy")


def test_identify_shows_itself_and_moves_nothing() -> None:
    """Identify changes what is displayed for a while, and nothing else."""
    here = bench()
    payload = encoded({"v": 1, "act": "identify", "id": attempt(3), "chan": "b"})
    before = here.channel("b")
    ((suffix, shown),) = here.send(payload)
    assert (suffix, shown["identify"]) == ("state", "b")
    assert before == here.channel("b")
    ((suffix, shown),) = here.wait(10_000)
    assert (suffix, "identify" in shown) == ("state", False)


def test_nothing_runs_when_a_command_cannot_even_be_addressed() -> None:
    """Bytes without an id get no answer; they are counted where people look."""
    here = bench()
    assert here.send(b"\x00\xff") == []
    assert here.node.display()["unread"] == 1


@pytest.mark.parametrize(
    "payload",
    [
        run_bytes() + b" " * 1024,
        run_bytes().replace(b'"v":1', b'"v":1,"x":"\xff"'),
        run_bytes()[:-1],
        run_bytes().replace(b'"n":0', b'"n":0,"n":0'),
        run_bytes(chan="z"),
        run_bytes(v=2),
    ],
    ids=["size", "utf-8", "torn", "twice", "stranger", "version"],
)
def test_an_unreadable_run_is_refused_under_its_own_id(payload: bytes) -> None:
    """The refusal says form and names the command it can still recognise."""
    (only,) = results(bench().send(payload))
    assert (attempt(1), "refused", "form") == (
        only["id"],
        only["phase"],
        only["reason"],
    )


def test_a_beat_has_every_field_and_counts() -> None:
    """Field by field as the contract's example, with a rising `seq`."""
    here = bench(chans="a")
    first, second = here.node.beat()[1], here.node.beat()[1]
    assert int(str(second["seq"])) - int(str(first["seq"])) == 1
    del first["seq"]
    assert {
        "v": 1,
        "boot": BOOT,
        "up": RESTED_MS,
        "hold": False,
        "fence": 0,
        "hw": "virtual-0001",
        "cfg": here.node.config,
        "chan": {
            "a": {
                "n": 0,
                "state": "idle",
                "odo_ul": 0,
                "odo_ms": 0,
                "budget_ul": 120_000,
            }
        },
    } == first


def test_the_odometer_moves_while_it_runs() -> None:
    """A beat in mid-run shows what has flowed so far."""
    here = bench()
    here.send(run_bytes())
    here.wait(500)
    channel = here.channel()
    assert tuple(channel[name] for name in ("state", "odo_ul", "odo_ms")) == (
        "running",
        250,
        500,
    )


def test_changed_limits_change_the_configuration_digest() -> None:
    """Hazard H26: every limit is covered by `cfg`."""
    seen = {bench().node.config}
    for name, value in LIMITS.items():
        heads = {chan: {**LIMITS, name: value + 1} for chan in "ab"}
        seen.add(Node("virtual-0001", BOOT, heads).config)
    assert len(seen) == 1 + len(LIMITS)


def test_a_metered_head_reports_what_the_meter_saw() -> None:
    """Hazard H20: with a flow meter the report may exceed what was asked."""
    here = bench(metered=1)
    here.send(run_bytes())
    run = here.node.heads["a"].run
    assert run is not None
    run.metered_nl += 1_499_200
    (only,) = results(here.wait(2_000))
    assert only["ul"] == 1_500
    assert here.channel()["budget_ul"] == 120_000 - 1_500


def test_more_than_sixteen_channels_are_refused() -> None:
    """A node has one to sixteen channels."""
    for count in (0, 17):
        heads = {f"c{number}": LIMITS for number in range(count)}
        with pytest.raises(ValueError, match="1 to 16 channels"):
            Node("virtual", BOOT, heads)


def test_uptime_never_goes_back() -> None:
    """A clock that steps back cannot stretch a deadline."""
    here = bench()
    here.up_ms -= HOUR_MS
    late = run_bytes(until_up=RESTED_MS - 1)
    assert answer(here.send(late)) == ("refused", "late")


def test_the_next_moment_is_when_something_ends_by_time() -> None:
    """A loop that sleeps until `next_ms` never ends a run late."""
    here = bench(up_ms=0)
    assert here.node.next_ms() == SELF_TEST_MS
    rested = bench()
    assert rested.node.next_ms() is None
    rested.send(run_bytes())
    assert rested.node.next_ms() == RESTED_MS + 2_000
