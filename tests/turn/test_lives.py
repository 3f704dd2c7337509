"""H38: a tank goes on after a clock was ahead for days, and nothing comes twice."""

from collections import Counter
from datetime import datetime, timedelta

import pytest

from slackwater.facts.doses import DoseIntended, DoseMissed
from slackwater.facts.events import ClockConfirmed
from slackwater.facts.fold import USED_AT_LEAST, fold
from slackwater.facts.lives import decided_ahead, without_times
from slackwater.facts.reasons import Code
from tests.gate.scene import machine
from tests.turn.test_step import START, Bench

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
A_DAY = 48


def leap(bench: Bench, by: timedelta) -> None:
    """The wall clock is so far ahead of the truth from now on; the daemon starts."""
    bench.jump_s = by.total_seconds()
    bench.sight.scanned_until = None
    bench.sight.previous = None


def confirm(bench: Bench, by: timedelta = timedelta()) -> None:
    """A person sets the clock, right unless it is said by how much not, and vouches."""
    leap(bench, by)
    now, mark = bench.now(), bench.state.mark
    assert mark is not None
    until = decided_ahead(bench.state, now.utc)
    confirmed = ClockConfirmed(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=mark.proven_ms,
        boot_id=now.boot_id,
        by="keeper",
        again_until=until,
    )
    fold(bench.state, confirmed)


def given_in(bench: Bench, begun: int) -> list[DoseIntended]:
    """The intents behind so many events."""
    return [one for one in bench.events[begun:] if isinstance(one, DoseIntended)]


def day_of(bench: Bench, begun: datetime) -> list[DoseIntended]:
    """What is given in a day of truth from now on."""
    assert bench.utc == begun
    before = len(bench.events)
    bench.run_until(begun + DAY)
    return given_in(bench, before)


@pytest.mark.parametrize(("ahead", "lived"), [(3, 30), (2, 30), (40, 100)])
def test_h38_a_tank_is_dosed_each_day_after_a_clock_was_days_ahead(
    ahead: int, lived: int
) -> None:
    """For a day nothing that was given comes again; from then on each day is whole."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    leap(bench, ahead * DAY)
    bench.run_until(START + HOUR + lived * HOUR)
    assert bench.state.due_until is not None
    confirm(bench)
    right = bench.utc
    days = [day_of(bench, right + number * DAY) for number in range(ahead + 6)]
    # A dose that is due at the very end of that day is not given again either.
    assert A_DAY - 1 <= len(days[1]) <= A_DAY
    assert {A_DAY} == {len(given) for given in days[2:]}
    names = [one.dose.id for one in bench.intents()]
    assert len(names) == len(set(names))
    endings = [{one.dose.id.partition(".")[2] for one in given} for given in days]
    assert {"2"} == endings[1]
    assert {""} == endings[-1]
    # Each is in the water of the day it is named after.
    assert {one.local_day for one in days[2]} >= {one.dose.local_day for one in days[2]}


def test_h38_what_a_clock_ahead_gave_is_missed_within_a_day_and_told() -> None:
    """Ten hours ahead for three hours: their doses are in the water."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    leap(bench, 10 * HOUR)
    begun = len(bench.events)
    bench.run_until(START + 4 * HOUR)
    ahead = {one.dose.id for one in given_in(bench, begun)}
    assert ahead
    confirm(bench)
    begun = len(bench.events)
    bench.run_until(START + DAY)
    told = [
        without_times(one.dose.id)
        for one in bench.events[begun:]
        if isinstance(one, DoseMissed)
        and [Code.GIVEN_BEFORE] == [reason.code for reason in one.reasons]
    ]
    assert ahead == set(told)
    assert len(told) == len(ahead)
    planned = {
        event.dose.id: event.effects
        for event in bench.events[begun:]
        if isinstance(event, DoseMissed)
    }
    assert all(planned.values())
    # All others of the day are given, those that were missed by that clock among them.
    again = {without_times(one.dose.id) for one in given_in(bench, begun)}
    assert not ahead & again
    table = bench.setup.forces[0].timetable
    asked = table.between(START + 4 * HOUR, START + DAY)
    late = timedelta(minutes=20)
    assert {one.id for one in asked if one.latest_at < START + DAY - late} <= (
        ahead | again
    )


def test_h38_a_clock_wrongly_put_back_and_forward_gives_nothing_twice() -> None:
    """A person vouches for last week; then the clock is set right, and it goes on."""
    bench = Bench(machine())
    just_given = START + 6 * HOUR
    bench.run_until(just_given + timedelta(minutes=2))
    confirm(bench, -7 * DAY)
    bench.run_until(just_given + timedelta(minutes=4))
    confirm(bench)
    bench.run_until(START + DAY)
    times = Counter(without_times(one.dose.id) for one in bench.intents())
    assert {1} == set(times.values())
    assert len(times) >= A_DAY - 4


def assert_none_twice_in_a_day(bench: Bench) -> None:
    """No dose of the plan, under whatever name, comes again within a proven day."""
    newest: dict[str, int] = {}
    for one in bench.intents():
        name = without_times(one.dose.id)
        assert one.proven_ms - newest.get(name, -(10**12)) >= 24 * 3_600_000, name
        newest[name] = one.proven_ms


def test_h38_wherever_a_clock_goes_nothing_comes_twice_within_a_day() -> None:
    """Back, forward, half a day, a week, each vouched for by a person."""
    bench = Bench(machine())
    bench.run_until(START + 6 * HOUR)
    for hours in (240, -12, 30, 0, -168, 12, 0, 24, 36, 0):
        confirm(bench, hours * HOUR)
        bench.run_until(bench.utc + timedelta(minutes=170))
    assert_none_twice_in_a_day(bench)
    assert len({without_times(one.dose.id) for one in bench.intents()}) > A_DAY


def test_h38_who_vouches_twice_brings_nothing_back() -> None:
    """Ahead, right, right once more, and as far ahead again: those were given."""
    bench = Bench(machine())
    bench.run_until(START + 6 * HOUR)
    for hours in (240, 0, 0, 231):
        confirm(bench, hours * HOUR)
        bench.run_until(bench.utc + timedelta(minutes=170))
    assert_none_twice_in_a_day(bench)


def test_h38_what_a_clock_far_ahead_lets_forget_is_not_given_again() -> None:
    """Many names: those of an hour ago look ten days old to it, and are forgotten."""
    bench = Bench(machine())
    bench.run_until(START + 6 * HOUR)
    day = bench.utc.date()
    others = {f"reef/trace@{day}#{number}": day for number in range(USED_AT_LEAST - 60)}
    bench.state.used.update(others)
    for ahead, lasts in ((5, 3), (240, 1), (0, 8)):
        confirm(bench, ahead * HOUR)
        bench.run_until(bench.utc + lasts * HOUR)
    assert not others.keys() & bench.state.used.keys()
    assert_none_twice_in_a_day(bench)
    told = [
        one.dose.id
        for one in bench.events
        if isinstance(one, DoseMissed) and Code.GIVEN_BEFORE == one.reasons[0].code
    ]
    assert len(told) == len(set(told)) == 6


def test_h38_what_a_person_skipped_stays_skipped_when_its_time_comes_again() -> None:
    """It was named as in the plan, before anybody knew that the clock was ahead."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    leap(bench, 3 * DAY)
    bench.run_until(START + 4 * HOUR)
    confirm(bench)
    table = bench.setup.forces[0].timetable
    meant = table.between(bench.utc + 30 * HOUR, bench.utc + 34 * HOUR)[0]
    bench.state.skipped[meant.id] = "r-1"
    begun = len(bench.events)
    bench.run_until(meant.latest_at + HOUR)
    told = {
        one.dose.id: [reason.code for reason in one.reasons]
        for one in bench.events[begun:]
        if isinstance(one, DoseMissed)
    }
    assert [Code.SKIPPED] == told[f"{meant.id}.2"]
    assert meant.id not in {
        without_times(one.dose.id) for one in given_in(bench, begun)
    }
