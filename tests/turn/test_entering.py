"""A test is told from afar: heard once, dated here, able to stop and nothing else."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.events import RequestHeard
from slackwater.facts.fold import fold
from slackwater.facts.messages import Request
from slackwater.gate.interlocks import refusals
from slackwater.turn.step import moment_at
from tests.gate.scene import ask, dkh, machine
from tests.turn.test_step import START, Bench

HIGH = Request(
    tank="reef",
    id="r1",
    act="test",
    parameter="alkalinity",
    level=dkh(12.0),
    typed="12 dKH",
    note="dashboard",
)


def entries(bench: Bench) -> list[LevelEntered]:
    """Every entry from afar so far."""
    return [event for event in bench.events if isinstance(event, LevelEntered)]


def answers(bench: Bench) -> list[bool]:
    """Whether each request was granted, in order."""
    return [e.granted for e in bench.events if isinstance(e, RequestHeard)]


def test_h60_the_same_entry_counts_once_however_often_it_comes() -> None:
    """In one inbox, in the next one, and after its request is forgotten."""
    bench = Bench(machine())
    bench.news.extend([HIGH, HIGH])
    bench.run_until(START + timedelta(minutes=2))
    bench.news.append(HIGH)
    bench.run_until(START + timedelta(minutes=3))
    assert 1 == len(entries(bench))
    assert [True] == answers(bench)
    bench.state.heard_requests = {}
    bench.news.append(HIGH)
    bench.run_until(START + timedelta(minutes=4))
    assert 1 == len(entries(bench))
    assert [True, False] == answers(bench)


def test_h55_one_id_for_two_tanks_is_an_entry_for_each() -> None:
    """In one inbox, as one automation sends them."""
    house = machine()
    tanks = {name: replace(house.tanks["reef"], id=name) for name in ("reef", "frag")}
    bench = Bench(replace(house, tanks=tanks))
    bench.news.extend([HIGH, replace(HIGH, tank="frag")] * 2)
    bench.run_until(START + timedelta(minutes=2))
    assert ["reef", "frag"] == [entry.tank for entry in entries(bench)]
    assert [True, True] == answers(bench)


def test_an_entry_is_dated_by_its_arrival() -> None:
    """To the second, with what was typed and the request it came in."""
    bench = Bench(machine())
    bench.news.append(HIGH)
    bench.run_until(START + timedelta(minutes=1))
    (found,) = entries(bench)
    assert (START, "12 dKH", "r1", "request") == (
        found.taken_at,
        found.typed,
        found.request,
        found.by,
    )


def test_for_a_tank_there_is_not_it_is_answered_with_no() -> None:
    """Nothing is written down but that it was asked."""
    bench = Bench(machine())
    bench.news.append(replace(HIGH, tank="lagoon"))
    bench.run_until(START + timedelta(minutes=1))
    assert [] == entries(bench)
    assert [False] == answers(bench)


def test_a_day_with_an_entry_that_is_too_high_gives_no_alkalinity() -> None:
    """And the plan gives nothing back when a person refuses it (I4)."""
    bench = Bench(machine())
    bench.news.append(HIGH)
    bench.run_until(START + timedelta(hours=6))
    assert [] == [i for i in bench.intents() if i.dose.pump == "carbonate"]
    (found,) = entries(bench)
    now = bench.now()
    refused = EntrySettled(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0 if bench.state.mark is None else bench.state.mark.proven_ms,
        entry=found.id,
        how="refused",
        by="keeper",
    )
    fold(bench.state, refused)
    bench.run_until(START + timedelta(hours=9))
    given = [i for i in bench.intents() if i.dose.pump == "carbonate"]
    assert given
    assert len(given) <= 4


@pytest.mark.parametrize("level", [0.5, 6.0, 8.0, 9.0])
def test_i6_with_an_entry_that_is_not_too_high_doses_are_what_they_were(
    level: float,
) -> None:
    """Low, usual or old: from dose to dose the same as without it."""
    plain, told = Bench(machine()), Bench(machine())
    told.news.append(replace(HIGH, level=dkh(level)))
    for bench in (plain, told):
        bench.run_until(START + timedelta(hours=5))
    assert [i.dose for i in plain.intents()] == [i.dose for i in told.intents()]
    assert [i.command.ul for i in plain.intents()] == [
        i.command.ul for i in told.intents()
    ]
    assert list(plain.intents())


def test_i6_an_entry_releases_no_hold() -> None:
    """A hold that a person set stands, whatever is entered after it."""
    bench = Bench(machine())
    bench.news.append(Request(tank="reef", id="h1", act="hold"))
    bench.news.append(replace(HIGH, level=dkh(8.0)))
    bench.run_until(START + timedelta(hours=2))
    assert ["hold/reef:h1"] == list(bench.state.holds)
    at = moment_at(bench.now(), bench.state, bench.sight, bench.setup)
    assert refusals(at, ask(at))
    assert [] == list(bench.intents())
