"""A wall clock that jumps ahead: nothing comes free by it, nothing is made up (H37)."""

from datetime import timedelta

import pytest

from slackwater.facts.events import ClockConfirmed, HoldReleased
from slackwater.facts.fold import fold, fold_all
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.safeguards import BypassGranted, ProbeTakenOut
from slackwater.pump.outcome import Stamp
from tests.gate.scene import machine, probed
from tests.turn.test_step import START, Bench

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)
A_DAY_S = 86_400.0


def running() -> Bench:
    """Two hours of the plan done."""
    bench = Bench(machine())
    bench.run_until(START + 2 * HOUR)
    return bench


@pytest.mark.parametrize(
    "ahead_s", [2.1, 60.0, 3600.0, A_DAY_S, 365 * A_DAY_S, 174 * 365.25 * A_DAY_S]
)
def test_h37_any_jump_ahead_stops_all_decisions(ahead_s: float) -> None:
    """Neither a dose nor the word that one was missed, until a person looks."""
    bench = running()
    count = len(bench.events)
    bench.jump_s = ahead_s
    bench.run_until(bench.utc + 2 * HOUR)
    assert [Code.CLOCK_JUMPED] == list(bench.state.holds)
    assert ["hold_raised"] == [event.kind for event in bench.events[count:]]


def test_h37_what_a_time_service_corrects_is_no_jump() -> None:
    """Two seconds at once are the most that may pass."""
    bench = running()
    bench.jump_s = 2.0
    bench.run_until(bench.utc + 2 * HOUR)
    assert {} == bench.state.holds


def test_h37_a_day_that_only_the_wall_clock_saw_frees_no_cap() -> None:
    """Released a day ahead: every charge of the true day still counts, none doubles."""
    bench = running()
    bench.jump_s = A_DAY_S
    bench.run_until(bench.utc + HOUR)
    jumped = len(bench.events)
    trusted(bench)
    bench.run_until(bench.utc + 2 * HOUR)
    mark = bench.state.mark
    assert mark is not None
    given = list(bench.intents())
    charged = bench.state.charges["pump/carbonate"].since(mark.proven_ms - DAY_MS)
    mine = [intent for intent in given if intent.dose.pump == "carbonate"]
    assert sum(intent.command.ul for intent in mine) == charged
    assert len(given) == len({intent.dose.id for intent in given})
    late = [i for i in given if not i.dose.due_at <= i.at <= i.dose.latest_at]
    assert [] == late
    kinds = [event.kind for event in bench.events[jumped:]]
    assert kinds.count("dose_missed") >= 2 * 23
    assert 0 < kinds.count("dose_intended") <= 2 * 3


def trusted(bench: Bench) -> None:
    """A person vouches for the clock and releases its hold."""
    now = bench.now()
    mark = bench.state.mark
    assert mark is not None
    confirmed = ClockConfirmed(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=mark.proven_ms,
        boot_id="boot",
        by="keeper",
    )
    released = HoldReleased(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=mark.proven_ms,
        hold_id=Code.CLOCK_JUMPED,
        by="keeper",
    )
    fold(bench.state, confirmed)
    fold(bench.state, released)


def test_h59_a_clock_put_back_prolongs_no_bypass_and_no_dead_probe() -> None:
    """Both for two hours; three hours back after one, and right by a person's word.

    By the wall clock they would go on for four hours more; it is one.
    """
    bench = Bench(probed())
    now = bench.now()
    stamp: Stamp = {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 10**9}
    until = now.utc + 2 * HOUR
    granted = BypassGranted(
        **stamp, interlock="leak", scope="all", until=until, why="test", by="keeper"
    )
    out = ProbeTakenOut(**stamp, probe="kh", until=until, by="keeper")
    fold_all(bench.state, [granted, out])
    bench.run_until(START + HOUR)
    bench.jump_s = -3 * HOUR.total_seconds()
    bench.run_until(START + HOUR + 5 * MINUTE)
    trusted(bench)
    bench.run_until(START + 2 * HOUR - MINUTE)
    assert {"leak"} == bench.state.bypasses.keys()
    assert {"kh"} == bench.state.out_of_service.keys()
    bench.run_until(START + 2 * HOUR + 2 * MINUTE)
    assert ({}, {}) == (bench.state.bypasses, bench.state.out_of_service)
