"""Who was taken over comes back by itself, seldom enough not to fight (H25)."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from slackwater.facts.messages import LinkChanged
from slackwater.outside.broker.actuate import Actuate
from slackwater.outside.broker.pace import Pace, Waits
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.outside.wire import BrokerSettings
from tests.outside.peers import LOOPBACK, Broker, Collected, Peer, until
from tests.outside.samples import ROOT

NAME = "slackwater-reef-actuate"
COMMANDS = f"{ROOT}/node/+/command"
# One loss is a take-over here, however long a slow machine takes for it.
QUICK = Pace(look_s=0.02, first_rest_s=0.1, rest_s=0.2, brief_s=600.0, brief_losses=1)
PATIENT = replace(QUICK, first_rest_s=600.0, rest_s=600.0)
HOUR_S, DAY_S = 3600.0, 86_400.0

Make = Callable[[int, Pace], tuple[Actuate, Collected]]


@pytest.fixture
def make() -> Iterator[Make]:
    """Start commanding links of one name; all are closed with the test."""
    made: list[Actuate] = []

    def started(port: int, pace: Pace) -> tuple[Actuate, Collected]:
        mailbox = BoundedMailbox()
        settings = BrokerSettings(host=LOOPBACK, port=port, site="reef")
        actuate = Actuate(settings, {}, mailbox, pace)
        made.append(actuate)
        actuate.start()
        collected = Collected(mailbox)
        collected.first(LinkChanged, is_up)
        return actuate, collected

    yield started
    for actuate in made:
        actuate.close()


def is_up(change: LinkChanged) -> bool:
    """Whether commands can leave."""
    return change.up


def is_taken(change: LinkChanged) -> bool:
    """Whether the name was taken."""
    return change.taken_over


def taken(link: Collected, port: int) -> None:
    """Another client takes the name and leaves again."""
    link.forget()
    with Peer(port, name=NAME):
        link.first(LinkChanged, is_taken)
    link.forget()


@pytest.mark.mosquitto
def test_a_name_given_back_is_taken_up_by_itself(broker: Broker, make: Make) -> None:
    """Time and again, with nobody's help."""
    _, link = make(broker.port, QUICK)
    for _ in range(3):
        taken(link, broker.port)
        link.first(LinkChanged, is_up)


@pytest.mark.mosquitto
def test_a_person_ends_the_pause(broker: Broker, make: Make) -> None:
    """Asked to hurry, the link does not wait for the rest of ten minutes."""
    actuate, link = make(broker.port, PATIENT)
    for _ in range(2):
        taken(link, broker.port)
        actuate.hurry()
        link.first(LinkChanged, is_up)


@pytest.mark.mosquitto
def test_a_haste_from_before_the_loss_is_no_haste(broker: Broker, make: Make) -> None:
    """A release while all is well does not make the next take-over a fight."""
    actuate, link = make(broker.port, PATIENT)
    actuate.hurry()
    with Peer(broker.port, name=NAME) as rival:
        link.first(LinkChanged, is_taken)
        link.forget()
        # What had to come would come within an attempt: that of a new client does.
        with Peer(broker.port) as other:
            other.say(f"{ROOT}/other", b"")
        assert [] == link.look()
        assert rival.connected


@pytest.mark.mosquitto
def test_two_that_stay_command_nothing_by_coming_back(
    broker: Broker, make: Make
) -> None:
    """Both take the name in turn; no node hears a word of it."""
    with Peer(broker.port, COMMANDS) as ear:
        _, one = make(broker.port, QUICK)
        _, other = make(broker.port, QUICK)
        for _ in range(3):
            for link in (one, other):
                link.first(LinkChanged, is_taken)
                link.forget()
        ear.say(f"{ROOT}/node/ear/command", b"the end")
        until(lambda: bool(ear.received), "the last word")
        assert [b"the end"] == [payload for _, payload, _ in ear.received]


@pytest.mark.parametrize("says_why", [True, False])
def test_two_that_stay_take_the_name_ever_more_seldom(says_why: bool) -> None:
    """A day of two daemons under one name, reckoned: twice in five minutes at most."""
    pace = Pace()
    kicks = fought(pace, says_why=says_why)
    settled = [at_s for at_s in kicks if at_s > HOUR_S]
    assert len(settled) > 100
    for first, third in zip(settled, settled[2:], strict=False):
        assert third - first >= pace.rest_s
    assert len(kicks) - len(settled) < 2 * HOUR_S / pace.rest_s + 20


def fought(pace: Pace, *, says_why: bool) -> list[float]:
    """When the name was taken, by two who come back as soon as they may.

    `says_why` is whether the broker names a take-over, as MQTT 5 can.
    """
    waits = [Waits(pace), Waits(pace)]
    begun_s = [0.0, 0.0]
    kicks: list[float] = []
    now_s, holder = 0.0, 0
    while now_s < DAY_S:
        kicks.append(now_s)
        begun_s[1 - holder] = now_s
        own, held_s = waits[holder], now_s - begun_s[holder]
        taken_over = own.is_taken_over(begun_s[holder], now_s) or says_why
        now_s += own.rest() if taken_over else own.after(held_s)
        # Whoever was taken over comes back and takes it from the other.
        holder = 1 - holder
    return kicks


def test_pauses_are_short_again_after_a_long_peace() -> None:
    """A name kept for more than ten minutes is fought for by nobody."""
    waits = Waits(Pace())
    grown = [waits.rest() for _ in range(8)]
    assert [10.0, 20.0, 40.0, 80.0, 160.0, 300.0, 300.0, 300.0] == grown
    assert not waits.is_taken_over(0.0, 600.0)
    assert 300.0 == waits.rest()
    assert not waits.is_taken_over(1000.0, 1601.0)
    assert 10.0 == waits.rest()


def test_pauses_are_short_again_after_a_person_looked() -> None:
    """A release begins anew: one brief connection is no take-over any more."""
    waits = Waits(Pace())
    for _ in range(8):
        waits.rest()
    assert waits.is_taken_over(0.0, 1.0)
    waits.begin_anew()
    assert not waits.is_taken_over(2.0, 3.0)
    assert 10.0 == waits.rest()
