"""The listening connection on a real Mosquitto."""

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from slackwater.facts.messages import (
    Beat,
    LinkChanged,
    Reading,
    Request,
    Result,
    RetainedCommand,
    SpoiledReading,
    Tell,
)
from slackwater.outside.broker.observe import Observe
from slackwater.outside.broker.pace import Pace
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import GONE, BrokerSettings
from slackwater.ports import Announcer
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer, Proxy, until
from tests.outside.samples import (
    BEAT,
    READING,
    REQUEST,
    ROOT,
    RUN,
    TAKEN,
    VIEW,
    SetClock,
    changed,
)
from tests.outside.test_documents import ALARM

pytestmark = pytest.mark.mosquitto

QUICK = Pace(
    first_wait_s=0.05, longest_wait_s=0.1, look_s=0.05, echo_s=0.2, brief_s=0.0
)
BEAT_AT = f"{ROOT}/node/left/beat"
RESULT_AT = f"{ROOT}/node/left/result"
COMMAND_AT = f"{ROOT}/node/left/command"
ECHO_AT = f"{ROOT}/daemon/echo"
DAEMON_AT = f"{ROOT}/daemon/state"
TANK_AT = f"{ROOT}/tank/display/state"

Make = Callable[..., Observe]


@pytest.fixture
def make_observe(mailbox: BoundedMailbox) -> Iterator[Make]:
    """Start an observer of a port; it is closed with the test."""
    made: list[Observe] = []

    def make(port: int, pace: Pace = QUICK, **settings: object) -> Observe:
        resolved = replace(
            BrokerSettings(host=LOOPBACK, port=port, site="reef"),
            **settings,  # type: ignore[arg-type]  # named settings of one test
        )
        observe = Observe(resolved, VIEW, mailbox, SetClock(), pace)
        made.append(observe)
        observe.start()
        return observe

    yield make
    for observe in made:
        observe.close()


@pytest.fixture
def collected(mailbox: BoundedMailbox) -> Collected:
    """What the mailbox gave."""
    return Collected(mailbox)


def is_up(change: LinkChanged) -> bool:
    """Whether a change says that the way in is proven."""
    return change.link == "observe" and change.up


def is_down(change: LinkChanged) -> bool:
    """Whether a change says that nothing is heard any more."""
    return change.link == "observe" and not change.up


def test_hears_everything_the_contract_sends(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """Beats, results, readings and requests become facts once the way is proven."""
    observer: Announcer = make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    with Peer(broker.port) as peer:
        peer.say(BEAT_AT, BEAT)
        peer.say(RESULT_AT, TAKEN)
        peer.say(f"{ROOT}/tank/display/reading/alk-1", READING)
        peer.say(f"{ROOT}/tank/display/request", REQUEST)
        beat = collected.any(Beat)
        result = collected.any(Result)
        reading = collected.any(Reading)
        request = collected.any(Request)
    assert isinstance(observer, Observe)
    assert ("left", 123456, 1000.0) == (beat.node, beat.up, beat.heard_boot_s)
    assert ("taken", "alk-1", "pause") == (result.phase, reading.probe, request.act)


def test_spoiled_messages_are_counted_and_dropped(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """Malformed, oversized and foreign messages change nothing (H61)."""
    observe = make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    with Peer(broker.port) as peer:
        peer.say(BEAT_AT, b"\xff")
        peer.say(BEAT_AT, b" " * 4097)
        # Beyond the packet bound of the connection: the broker itself drops it.
        peer.say(BEAT_AT, b" " * 100_000)
        peer.say(f"{ROOT}/node/stranger/beat", BEAT)
        peer.say(f"{ROOT}/tank/display/reading/alk-1", changed(READING, unit="furlong"))
        peer.say(BEAT_AT, BEAT)
        collected.any(Beat)
    spoiled = [m for m in collected.messages if isinstance(m, SpoiledReading)]
    assert [
        SpoiledReading(tank="display", probe="alk-1", why="unit changed")
    ] == spoiled
    assert (1, 1, 1) == (
        observe.counts["spoiled: encoding"],
        observe.counts["spoiled: size"],
        observe.counts["spoiled: stranger"],
    )


def test_retained_beat_is_no_sign_of_life(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """A beat kept by the broker is not heard; a fresh one is (H15)."""
    with Peer(broker.port) as peer:
        peer.say(BEAT_AT, changed(BEAT, seq=1), retain=True)
        observe = make_observe(broker.port)
        collected.first(LinkChanged, is_up)
        peer.say(BEAT_AT, changed(BEAT, seq=2))
        beat = collected.any(Beat)
    assert (2, 1) == (beat.seq, observe.counts["ignored: retained"])


def test_retained_command_is_found_before_the_link_is_up(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """A planted command shows itself in the scan at the start (H13)."""
    with Peer(broker.port) as peer:
        peer.say(COMMAND_AT, RUN, retain=True)
    make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    assert [RetainedCommand(node="left"), LinkChanged(link="observe", up=True)] == (
        collected.messages
    )


def test_command_planted_later_is_found_too(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """The retain flag of a command is seen even while the daemon runs (H13)."""
    make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    with Peer(broker.port) as peer:
        peer.say(COMMAND_AT, RUN, retain=True)
    assert RetainedCommand(node="left") == collected.any(RetainedCommand)


def test_comes_back_after_a_restart_of_the_broker(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """Down is told, up is proven anew, and the newest documents are shown again."""
    observe = make_observe(broker.port)
    observe.show("daemon/state", {"state": "here", "version": "1", "mode": "shadow"})
    collected.first(LinkChanged, is_up)
    broker.stop()
    collected.first(LinkChanged, is_down)
    collected.forget()
    broker.start()
    collected.first(LinkChanged, is_up)
    with Peer(broker.port, DAEMON_AT) as peer:
        until(lambda: bool(peer.payloads(DAEMON_AT)), "the document")
        shown = json.loads(peer.payloads(DAEMON_AT)[0])
        peer.say(BEAT_AT, BEAT)
        collected.any(Beat)
    assert {
        "v": 1,
        "state": "here",
        "version": "1",
        "mode": "shadow",
        "health": "",
    } == (shown)


def test_half_open_link_is_noticed(
    proxy: Proxy, make_observe: Make, collected: Collected
) -> None:
    """When bytes stop without a good-bye the link goes down, and comes back (H15)."""
    make_observe(proxy.port, replace(QUICK, keepalive_s=1, connack_s=0.5))
    collected.first(LinkChanged, is_up)
    proxy.freeze()
    collected.first(LinkChanged, is_down)
    collected.forget()
    proxy.cut()
    proxy.thaw()
    collected.first(LinkChanged, is_up)


def test_will_says_gone(
    broker: Broker, proxy: Proxy, make_observe: Make, collected: Collected
) -> None:
    """Whoever watches learns that the daemon vanished, and that it came back."""
    with Peer(broker.port, DAEMON_AT) as peer:
        observe = make_observe(proxy.port)
        observe.show("daemon/state", {"state": "here"})
        collected.first(LinkChanged, is_up)
        until(lambda: len(peer.payloads(DAEMON_AT)) > 0, "the document")
        proxy.cut()
        until(lambda: len(peer.payloads(DAEMON_AT)) > 2, "gone and here again")
        states = [json.loads(each)["state"] for each in peer.payloads(DAEMON_AT)]
    assert ["here", "gone", "here"] == states[-3:]


def test_closing_says_gone(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """A clean end leaves `gone` on the broker, as the will would."""
    observe = make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    observe.close()
    with Peer(broker.port, DAEMON_AT) as peer:
        until(lambda: bool(peer.received), "the retained state")
        assert [(DAEMON_AT, GONE, True)] == peer.received


def test_documents_and_events_are_published(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """State is retained, events are not."""
    observe = make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    event_at = f"{ROOT}/tank/display/event"
    with Peer(broker.port, event_at, TANK_AT) as peer:
        observe.show(
            "tank/display/state", {"at": "2026-05-03T14:00:00Z", "stage": "shadow"}
        )
        observe.tell(Tell(tank="display", name="dose_missed", figures={"ul": 2000}))
        until(lambda: len(peer.received) > 1, "state and event")
        event = json.loads(peer.payloads(event_at)[0])
    with Peer(broker.port, event_at, TANK_AT) as late:
        until(lambda: bool(late.received), "the retained state")
        kept = [(topic, retained) for topic, _, retained in late.received]
    assert ("dose_missed", {"ul": 2000}) == (event["event"], event["figures"])
    assert [(TANK_AT, True)] == kept


def test_a_document_that_is_cleared_is_gone(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """An alarm that is over leaves nothing retained; the place may be used again."""
    observe = make_observe(broker.port)
    collected.first(LinkChanged, is_up)
    place, alarm_at = "daemon/alarm/node-absent/left", "+/daemon/alarm/#"
    with Peer(broker.port, f"slackwater/1/{alarm_at}") as peer:
        observe.show(place, ALARM)
        until(lambda: len(peer.received) == 1, "the alarm")
        observe.clear(place)
        until(lambda: len(peer.received) == 2, "its end")
        observe.show("daemon/state", {"state": "here"})
    with Peer(broker.port, f"slackwater/1/{alarm_at}", DAEMON_AT) as late:
        until(lambda: bool(late.received), "the retained state")
        kept = [topic for topic, _, retained in late.received if retained]
    assert b"" == peer.received[1][1]
    assert [DAEMON_AT] == kept


def test_an_alarm_that_lies_there_is_found_once(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """One of a ledger that was put back; what we say ourselves is none."""
    place = "node-absent/left"
    at = f"{ROOT}/daemon/alarm/{place}"
    with Peer(broker.port, at) as peer:
        peer.say(at, b"{}", retain=True)
        until(lambda: bool(peer.received), "the alarm of another ledger")
        observe = make_observe(broker.port)
        collected.first(LinkChanged, is_up)
        found: list[frozenset[str]] = []

        def told() -> bool:
            found.append(observe.lying())
            return bool(found[-1])

        until(told, "what lay there")
        observe.show("daemon/alarm/node-absent/right", ALARM)
        observe.clear(f"daemon/alarm/{place}")
        until(lambda: b"" in peer.payloads(at), "its end")
    assert {place} == found[-1]
    assert frozenset() == observe.lying()


@pytest.mark.parametrize(
    ("topic", "document"),
    [
        ("node/left/command", json.loads(RUN)),
        ("daemon/echo", {"v": 1}),
        ("tank/+/state", {}),
        ("../other/daemon/state", {"state": "here"}),
        ("daemon/state", {"state": "asleep"}),
    ],
)
def test_what_may_not_be_shown_is_not(
    broker: Broker, make_observe: Make, topic: str, document: dict[str, object]
) -> None:
    """No document leaves on a command topic, or in a form nobody could read."""
    observe = make_observe(broker.port)
    observe.show(topic, document)
    assert observe.counts["not-announced"] == 1


def test_what_may_not_be_shown_is_not_cleared(
    broker: Broker, make_observe: Make
) -> None:
    """Nor is an empty command published in the name of a state."""
    observe = make_observe(broker.port)
    observe.clear("node/left/command")
    assert observe.counts["not-announced"] == 1


def test_telling_while_offline_blocks_nothing(make_observe: Make) -> None:
    """Without a broker an event is lost and counted, and nothing raises."""
    observe = make_observe(1)
    observe.tell(Tell(tank="display", name="dose_missed"))
    observe.tell(Tell(tank="dis/play", name="dose_missed"))
    assert observe.counts["not-announced"] == 2


def test_path_that_is_denied_is_not_proven(
    make_broker: Callable[..., Broker],
    make_observe: Make,
    collected: Collected,
    tmp_path: Path,
) -> None:
    """A subscription the ACL silently denies never counts as a link."""
    rights = tmp_path / "rights"
    # Everybody may write the echo, and only the user `admin` may read it.
    rights.write_text(f"topic write {ROOT}/#\nuser admin\ntopic readwrite #\n")
    broker = make_broker("allow_anonymous true", f"acl_file {rights}")
    with Peer(broker.port, ECHO_AT, user="admin") as admin:
        make_observe(broker.port)
        until(lambda: len(admin.payloads(ECHO_AT)) > 2, "three attempts at the echo")
    assert [] == collected.look()


def test_observer_never_loads_what_can_command() -> None:
    """A shadow daemon's process does not even import the commanding class."""
    code = (
        "import sys, slackwater.outside.broker.observe;"
        "print('slackwater.outside.broker.actuate' in sys.modules)"
    )
    told = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=True,
        text=True,
        env={"PYTHONPATH": "daemon"},
    )
    assert told.stdout.strip() == "False"


def test_announcing_goes_on_while_the_broker_acknowledges(
    broker: Broker, make_observe: Make, collected: Collected
) -> None:
    """Receipts arrive in the connection's thread while the loop's publishes more."""
    observe = make_observe(broker.port)
    collected.first(LinkChanged, is_up)

    def announce() -> None:
        for number in range(3000):
            observe.tell(Tell(tank="display", name="mark", figures={"at": number}))

    # A thread of its own: a deadlock must fail this test, not hang the suite.
    loop = threading.Thread(target=announce, daemon=True)
    loop.start()
    loop.join(20.0)
    assert not loop.is_alive()
