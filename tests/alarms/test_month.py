"""A month without a fault worth a word, and what the wall and people are told."""

from functools import partial
from pathlib import Path

import pytest

from slackwater.facts.alarms import AlarmChanged
from slackwater.facts.events import AnyEvent
from slackwater.facts.messages import LinkChanged, Request
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.service.alarming import summarise, tell_the_end
from tests.alarms.manned import HOUR_MS, MINUTE_MS, Manned
from tests.alarms.strikes import node_dies

DAY_MS = 24 * HOUR_MS
TOPIC = "daemon/alarm/node-absent/shelf"


def blink(house: Manned) -> None:
    """The broker is away for three seconds, and everybody comes back."""
    now_ms = house.times.t_ms
    house.bus.down_until_ms = now_ms + 3000
    for link in ("observe", "actuate"):
        house.bus.surely(LinkChanged(link=link, up=False), now_ms + 5)
        house.bus.surely(LinkChanged(link=link, up=True), now_ms + 3100)


def one_reading_is_lost(house: Manned) -> None:
    """A probe leaves one reading out."""
    house.reading_at_ms += 15 * MINUTE_MS


@pytest.mark.timeout(300)
@pytest.mark.parametrize(("mishaps", "days"), [(True, 31), (False, 7)])
def test_h63_a_month_without_a_fault_has_at_most_three_alarms(
    tmp_path: Path,
    mishaps: bool,
    days: int,
) -> None:
    """Every dose of 31 days with the small mishaps of each, and a week without any."""
    house = Manned(tmp_path)
    house.settle()
    house.near = False
    looks = house.looks
    for day in range(days * mishaps):
        at_ms = day * DAY_MS
        house.after(at_ms + 50 * MINUTE_MS, partial(blink, house))
        house.after(at_ms + 400 * MINUTE_MS, partial(one_reading_is_lost, house))
    house.pass_ms(days * DAY_MS)
    assert house.looks - looks > days * 100
    assert len(house.raised()) <= 3


def test_the_wall_and_the_people_hear_of_it_until_it_was_seen(tmp_path: Path) -> None:
    """Shown and sent when it begins, sent when it ends, gone when a person saw it."""
    house = Manned(tmp_path)
    house.settle()
    node_dies(house)
    house.pass_ms(MINUTE_MS)
    shown = house.board.shown[TOPIC]
    assert ("active", False, ["reef"]) == tuple(
        shown[key] for key in ("state", "seen", "tanks")
    )
    ((title, body, priority),) = house.letters.sent
    assert ("soon: node-absent.shelf", "soon") == (title, priority)
    assert "Do: Look whether the pump node has power and network." in body
    assert "About 37 h left to the floor." in body
    assert "(beat age " in body
    house.posts["shelf"].absent_until_ms = 0
    house.pass_ms(3 * MINUTE_MS)
    assert "returned" == house.board.shown[TOPIC]["state"]
    assert "over: node-absent.shelf" == house.letters.sent[-1][0]
    ack = Request(tank="reef", id="a1", act="ack", alarm="node-absent.shelf")
    house.bus.surely(ack, house.times.t_ms + 5)
    house.pass_ms(MINUTE_MS)
    assert TOPIC not in house.board.shown
    assert 2 == len(house.letters.sent)


def test_a_suppressed_alarm_is_shown_and_not_sent(tmp_path: Path) -> None:
    """The wall says until when; the phone stays quiet until then."""
    house = Manned(tmp_path)
    house.settle()
    node_dies(house)
    house.pass_ms(MINUTE_MS)
    until = house.times.now().utc.replace(microsecond=0)

    def silence(_state: State, stamp: Stamp) -> AnyEvent:
        ends = stamp["at"].replace(hour=23, minute=30)
        return AlarmChanged(
            **stamp,
            alarm="node-absent.shelf",
            to="suppressed",
            by="keeper",
            until=ends,
        )

    house.book.sign(silence)
    sent = len(house.letters.sent)
    house.pass_ms(40 * MINUTE_MS)
    assert "suppressed" == house.board.shown[TOPIC]["state"]
    assert str(house.board.shown[TOPIC]["until"]) > until.isoformat()
    assert sent == len(house.letters.sent)
    house.pass_ms(20 * MINUTE_MS)
    assert "active" == house.board.shown[TOPIC]["state"]
    assert "soon: node-absent.shelf" == house.letters.sent[-1][0]


def test_the_daily_line_is_sent_whatever_stands(tmp_path: Path) -> None:
    """What was given of what was planned, and every alarm that stands."""
    house = Manned(tmp_path)
    house.settle()
    house.near = False
    house.pass_ms(DAY_MS)
    summarise(house.rig)
    title, body, priority = house.letters.sent[-1]
    # 36 mL of a label's 0.05 dKH per mL in 100 L are 0.9 dKH in 200 L.
    assert ("daily summary", None) == (title, priority)
    assert "No alarm stands." in body
    assert "reef was given 0.90 of 0.90 dKH planned in 24 h." in body
    house.near = True
    node_dies(house)
    house.pass_ms(MINUTE_MS)
    summarise(house.rig)
    assert "1 alarm stands." in house.letters.sent[-1][1]
    assert "node-absent.shelf: No fresh beat" in house.letters.sent[-1][1]


def test_h05_a_ledger_that_refuses_is_told_without_it(tmp_path: Path) -> None:
    """There is no entry to tell it by, so it is sent as it is."""
    house = Manned(tmp_path)
    house.settle()
    tell_the_end(house.rig)
    title, body, priority = house.letters.sent[-1]
    assert ("urgent: ledger-fault", "urgent") == (title, priority)
    assert "The ledger could not be written. The daemon has ended" in body
    assert [] == house.raised()
