"""What is asked for twice happens once (H55)."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import HoldRaised, RequestHeard
from slackwater.facts.fold import fold
from slackwater.facts.messages import Act, Request
from slackwater.facts.reasons import Code, because
from tests.gate.scene import machine
from tests.turn.test_step import BOOT_S, START, Bench, shot

MINUTE = timedelta(minutes=1)


def test_h55_a_shot_asked_for_twice_runs_once() -> None:
    """The same request after it ran: its identity is used for ever."""
    bench = Bench(machine())
    bench.utc = START - 30 * MINUTE
    bench.sight.scanned_until = bench.utc
    for _ in range(2):
        bench.state.requests["shot-1"] = shot(bench.utc + 20 * MINUTE)
        bench.run_until(bench.utc + 5 * MINUTE)
    assert ["shot-1"] == [intent.dose.id for intent in bench.intents()]


def test_h55_a_bouncing_request_counts_once() -> None:
    """Ten copies in one inbox, and one more later."""
    bench = Bench(machine())
    again = Request(tank="reef", id="r9", act="hold", note="guests")
    bench.news.extend([again] * 10)
    bench.run_until(START + 2 * MINUTE)
    bench.news.append(again)
    bench.run_until(START + 4 * MINUTE)
    for kind in (RequestHeard, HoldRaised):
        assert 1 == len([e for e in bench.events if isinstance(e, kind)]), kind


@pytest.mark.parametrize("act", ["hold", "pause"])
def test_i6_a_hold_from_afar_takes_the_place_of_no_other(act: Act) -> None:
    """Its id is that of a hold made on the machine, which reaches further and longer.

    What a tank has in the way of holds stands in its document, for anyone to read.
    """
    bench = Bench(machine())
    standing = HoldRaised(
        at=START,
        boot_s=BOOT_S,
        proven_ms=10**9,
        hold_id=f"{act}/a1b2c3",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )
    taken = replace(standing, hold_id=f"{act}/a1b2c3/2")
    for one in (standing, taken):
        fold(bench.state, one)
    asked = Request(tank="reef", id="a1b2c3", act=act, minutes=1)
    bench.news.append(asked)
    bench.run_until(START + 30 * MINUTE)
    assert standing == bench.state.holds[standing.hold_id]
    assert taken == bench.state.holds[taken.hold_id]
    raised = [one for one in bench.events if isinstance(one, HoldRaised)]
    assert [(f"{act}/a1b2c3/3", "tank/reef")] == [(e.hold_id, e.scope) for e in raised]
    assert [] == list(bench.intents())


def test_h55_no_dose_of_the_schedule_runs_beside_itself() -> None:
    """Looked at again from the beginning of the day, nothing is given twice."""
    bench = Bench(machine())
    bench.run_until(START + 6 * 60 * MINUTE)
    given = [intent.dose.id for intent in bench.intents()]
    bench.sight.scanned_until = START - MINUTE
    bench.run_until(bench.utc + 5 * MINUTE)
    later = [intent.dose.id for intent in bench.intents()][len(given) :]
    assert set() == set(later) & set(given)
