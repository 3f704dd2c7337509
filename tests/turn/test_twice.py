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


def test_h55_one_id_sent_to_two_tanks_is_two_requests() -> None:
    """A home's "pause everything" is one message sent to each tank, under one id."""
    bench = Bench(machine())
    asked = [
        Request(tank=tank, id="r9", act="pause", minutes=60)
        for tank in ("reef", "frag", "reef", "frag")
    ]
    bench.news.extend(asked)
    bench.run_until(START + 2 * MINUTE)

    held = [e.scope for e in bench.events if isinstance(e, HoldRaised)]
    assert ["tank/reef", "tank/frag"] == held
    assert ["pause/reef:r9", "pause/frag:r9"] == list(bench.state.holds)


def test_h55_one_id_is_heard_for_another_tank_later_too() -> None:
    """Two passes between them: what one tank was told says nothing of the other."""
    bench = Bench(machine())
    for minute, tank in enumerate(("reef", "frag", "reef", "frag"), start=1):
        bench.news.append(Request(tank=tank, id="r9", act="hold"))
        bench.run_until(START + minute * MINUTE)
    heard = [e.tank for e in bench.events if isinstance(e, RequestHeard)]
    assert ["reef", "frag"] == heard
    assert ["hold/reef:r9", "hold/frag:r9"] == list(bench.state.holds)


@pytest.mark.parametrize("act", ["hold", "pause"])
def test_i6_a_hold_from_afar_takes_the_place_of_no_other(act: Act) -> None:
    """Its name is that of one which reaches further and longer, and still stands.

    What a tank has in the way of holds stands in its document, for anyone to read.
    """
    bench = Bench(machine())
    standing = HoldRaised(
        at=START,
        boot_s=BOOT_S,
        proven_ms=10**9,
        hold_id=f"{act}/reef:a1b2c3",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )
    taken = replace(standing, hold_id=f"{act}/reef:a1b2c3/2")
    for one in (standing, taken):
        fold(bench.state, one)
    asked = Request(tank="reef", id="a1b2c3", act=act, minutes=1)
    bench.news.append(asked)
    bench.run_until(START + 30 * MINUTE)
    assert standing == bench.state.holds[standing.hold_id]
    assert taken == bench.state.holds[taken.hold_id]
    raised = [one for one in bench.events if isinstance(one, HoldRaised)]
    assert [(f"{act}/reef:a1b2c3/3", "tank/reef")] == [
        (e.hold_id, e.scope) for e in raised
    ]
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
