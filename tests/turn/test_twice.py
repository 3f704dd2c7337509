"""What is asked for twice happens once (H55)."""

from datetime import timedelta

from slackwater.facts.events import HoldRaised, RequestHeard
from slackwater.facts.messages import Request
from tests.gate.scene import machine
from tests.turn.test_step import START, Bench, shot

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


def test_h55_no_dose_of_the_schedule_runs_beside_itself() -> None:
    """Looked at again from the beginning of the day, nothing is given twice."""
    bench = Bench(machine())
    bench.run_until(START + 6 * 60 * MINUTE)
    given = [intent.dose.id for intent in bench.intents()]
    bench.sight.scanned_until = START - MINUTE
    bench.run_until(bench.utc + 5 * MINUTE)
    later = [intent.dose.id for intent in bench.intents()][len(given) :]
    assert set() == set(later) & set(given)
