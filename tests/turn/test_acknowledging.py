"""An alarm is acknowledged from afar: safer for nobody, dangerous for nobody."""

from datetime import timedelta

import pytest

from slackwater.facts.alarms import AlarmChanged, AlarmRaised, Cause
from slackwater.facts.events import HoldRaised, RequestHeard
from slackwater.facts.fold import fold
from slackwater.facts.messages import Request
from slackwater.facts.reasons import Code, because
from tests.gate.scene import machine
from tests.turn.test_step import START, Bench

ABSENT = "node-absent.shelf"


def alarmed() -> Bench:
    """A node is held and an alarm says so."""
    bench = Bench(machine())
    stamp = {"at": START, "boot_s": 10_000.0, "proven_ms": 10**9}
    fold(
        bench.state,
        AlarmRaised(
            **stamp,  # type: ignore[arg-type]  # the three clocks
            alarm=ABSENT,
            cause=Cause.NODE_ABSENT,
            about="shelf",
            priority="soon",
        ),
    )
    fold(
        bench.state,
        HoldRaised(
            **stamp,  # type: ignore[arg-type]  # the three clocks
            hold_id="node-held/node/shelf",
            scope="node/shelf",
            reason=because(Code.NODE_HELD, node="shelf"),
            latched=True,
        ),
    )
    return bench


@pytest.mark.parametrize(("alarm", "granted"), [(ABSENT, True), ("no-such", False)])
def test_i6_an_acknowledgement_from_afar_counts_once(
    alarm: str,
    granted: bool,
) -> None:
    """The same request twice is one; an alarm nobody knows is answered with no."""
    bench = alarmed()
    ack = Request(tank="reef", id="r1", act="ack", alarm=alarm, note="on my way")
    bench.news.extend([ack, ack])
    bench.run_until(START + timedelta(minutes=2))
    heard = [e for e in bench.events if isinstance(e, RequestHeard)]
    assert [(alarm, granted)] == [(one.alarm, one.granted) for one in heard]
    changed = [e for e in bench.events if isinstance(e, AlarmChanged)]
    assert [("acknowledged", "request", "on my way")] * granted == [
        (one.to, one.by, one.note) for one in changed
    ]
    assert granted == (bench.state.alarms[ABSENT].word == "acknowledged")


def test_i6_an_acknowledgement_releases_nothing() -> None:
    """The hold stands, and no dose runs because somebody saw the alarm."""
    bench = alarmed()
    bench.news.append(Request(tank="reef", id="r1", act="ack", alarm=ABSENT))
    bench.run_until(START + timedelta(hours=3))
    assert ["node-held/node/shelf"] == list(bench.state.holds)
    assert [] == list(bench.intents())
