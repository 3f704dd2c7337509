"""The mailbox stays bounded under any flood and keeps what matters."""

import threading
import time
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.messages import (
    Beat,
    Handed,
    LinkChanged,
    Message,
    Request,
    Result,
    RetainedCommand,
    SpoiledReading,
)
from slackwater.outside.mailbox import BoundedMailbox
from slackwater.ports import Mailbox
from tests.outside.samples import beat

STATUS = beat()


def result(number: int) -> Result:
    """A result that can be told from others."""
    return Result(
        node="left",
        id=f"{number:032x}",
        boot="9e1b" * 4,
        channel="a",
        n=number,
        phase="taken",
        ran_ms=0,
        ul=0,
        reason="",
        cal="77aa01cf",
        up=number,
    )


def test_mailbox_fits_its_port() -> None:
    """The adapter has the shape the loop expects."""
    mailbox: Mailbox = BoundedMailbox()
    assert mailbox.collect(0) == ()


def test_messages_come_out_in_order_of_arrival() -> None:
    """Kinds are ranked for dropping, not for reading."""
    put: list[Message] = [
        result(1),
        STATUS,
        Request(tank="display", id="r", act="hold"),
        STATUS,
        Handed(attempt="x"),
        LinkChanged(link="observe", up=True),
        SpoiledReading(tank="display", probe="alk-1", why="unit changed"),
        RetainedCommand(node="left"),
    ]
    mailbox = BoundedMailbox()
    for message in put:
        mailbox.put(message)
    assert tuple(put) == mailbox.collect(0)


def test_collecting_empties_the_mailbox() -> None:
    """What was taken is not there again."""
    mailbox = BoundedMailbox()
    mailbox.put(STATUS)
    mailbox.collect(0)
    assert mailbox.collect(0) == ()


def test_full_mailbox_keeps_the_older_status() -> None:
    """Of two beats the newer one is given up, and counted (H62)."""
    mailbox = BoundedMailbox(capacity=2)
    beats = [replace(STATUS, seq=number) for number in range(4)]
    for each in beats:
        mailbox.put(each)
    assert (tuple(beats[:2]), 2) == (mailbox.collect(0), mailbox.dropped)


def test_result_takes_the_place_of_the_newest_status() -> None:
    """A result is never turned away while a status is there."""
    mailbox = BoundedMailbox(capacity=2)
    old, new = replace(STATUS, seq=1), replace(STATUS, seq=2)
    for message in (old, new, result(1)):
        mailbox.put(message)
    assert (old, result(1)) == mailbox.collect(0)


def test_request_takes_the_place_of_a_status_not_of_a_result() -> None:
    """Requests stand between status and results."""
    mailbox = BoundedMailbox(capacity=2)
    request = Request(tank="display", id="r", act="stop")
    for message in (STATUS, result(1), request, replace(request, id="s")):
        mailbox.put(message)
    assert (result(1), request) == mailbox.collect(0)


def test_results_alone_are_bounded_too() -> None:
    """Even a flood of results costs bounded memory; the loss is counted."""
    mailbox = BoundedMailbox(capacity=10)
    for number in range(100):
        mailbox.put(result(number))
    assert (20, 80) == (len(mailbox.collect(0)), mailbox.dropped)


def take(mailbox: BoundedMailbox, act: Callable[[], None]) -> tuple[float, int]:
    """How long a collector waits, and for how many messages, when somebody acts."""
    waiting = threading.Event()

    def act_later() -> None:
        waiting.wait(5)
        act()

    thread = threading.Thread(target=act_later)
    thread.start()
    begin_s = time.monotonic()
    waiting.set()
    taken = mailbox.collect(5.0)
    waited_s = time.monotonic() - begin_s
    thread.join()
    return waited_s, len(taken)


@pytest.mark.parametrize("kind", ["put", "wake"])
def test_waiting_ends_at_once(kind: str) -> None:
    """A message or a wake-up ends the wait long before its time."""
    mailbox = BoundedMailbox()
    acts: dict[str, tuple[Callable[[], None], int]] = {
        "put": (lambda: mailbox.put(STATUS), 1),
        "wake": (mailbox.wake, 0),
    }
    act, count = acts[kind]
    waited_s, taken = take(mailbox, act)
    assert waited_s < 2.0
    assert count == taken


def test_wake_before_the_wait_is_not_lost() -> None:
    """An alarm that fires between two waits ends the next one, and only that."""
    mailbox = BoundedMailbox()
    mailbox.wake()
    begin_s = time.monotonic()
    mailbox.collect(5.0)
    between_s = time.monotonic()
    mailbox.collect(0.05)
    after_s = time.monotonic()
    assert between_s - begin_s < 2.0
    assert after_s - between_s >= 0.05


def test_flood_is_taken_bounded_and_keeps_every_result() -> None:
    """Two seconds of 10 000 beats a second: bounded, no result lost (H62)."""
    mailbox = BoundedMailbox()
    beats, results = 20_000, 500

    def flood() -> None:
        for number in range(beats // 2):
            mailbox.put(replace(STATUS, seq=number))

    def answer() -> None:
        for number in range(results):
            mailbox.put(result(number))

    threads = [threading.Thread(target=each) for each in (flood, flood, answer)]
    begin_s = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took_s = time.monotonic() - begin_s
    taken = mailbox.collect(0)
    kept = [message.n for message in taken if isinstance(message, Result)]
    assert took_s < 2.0
    assert len(taken) == 4096
    assert list(range(results)) == kept
    assert beats + results == len(taken) + mailbox.dropped


KINDS: list[Message] = [
    STATUS,
    SpoiledReading(tank="display", probe="alk-1", why="x"),
    Request(tank="display", id="r", act="hold"),
    result(1),
    LinkChanged(link="actuate", up=False),
    Handed(attempt="x"),
]


@given(
    st.lists(st.integers(0, len(KINDS) - 1), max_size=60),
    st.integers(1, 20),
)
def test_nothing_vanishes_uncounted(order: list[int], capacity: int) -> None:
    """Put = taken + dropped; the bound holds; essentials go last."""
    mailbox = BoundedMailbox(capacity=capacity)
    for which in order:
        mailbox.put(KINDS[which])
    taken = mailbox.collect(0)
    lesser = [m for m in taken if isinstance(m, Beat | SpoiledReading | Request)]
    essential = [which for which in order if which >= 3]
    assert len(order) == len(taken) + mailbox.dropped
    assert len(lesser) <= capacity
    assert min(len(essential), 2 * capacity) == len(taken) - len(lesser)
