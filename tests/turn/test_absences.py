"""A long absence is one entry for each line; what was missed in it stays missed."""

from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import (
    ClockConfirmed,
    DoseHeld,
    DoseMissed,
    SpanMissed,
)
from slackwater.facts.fold import fold
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.turn import deciding
from slackwater.turn.absences import Counted, is_spanned
from tests.gate.scene import machine
from tests.turn.test_step import START, Bench

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
EVERY_DAY = 24


def back_after(away: timedelta) -> Bench:
    """A daemon that dosed for an hour, was gone, and decides again."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    bench.utc += away
    # A start begins to look where the ledger ends.
    bench.sight.scanned_until = None
    bench.sight.previous = None
    bench.hear_beat()
    while bench.step() or bench.news:
        pass
    return bench


def missed(bench: Bench) -> tuple[Counter[str], Counter[str]]:
    """How many doses of each line were told one by one, and how many in spans."""
    single = Counter(e.dose.line for e in bench.events if isinstance(e, DoseMissed))
    spans: Counter[str] = Counter()
    for event in bench.events:
        if isinstance(event, SpanMissed):
            spans[event.line] += event.doses
    return single, spans


@pytest.mark.parametrize("days", [1, 2, 3, 10, 100])
def test_i4_each_dose_of_an_absence_is_told_once(days: int) -> None:
    """The last two days dose by dose, all before them in one entry for each line."""
    bench = back_after(days * DAY)
    single, spans = missed(bench)
    assert {"carbonate", "calcium"} == set(single)
    for line in single:
        assert days * EVERY_DAY - 1 <= single[line] + spans[line] <= days * EVERY_DAY
        assert single[line] <= 2 * EVERY_DAY
    entries = [e for e in bench.events if isinstance(e, SpanMissed)]
    assert (2 if days > 2 else 0) == len(entries)
    for entry in entries:
        assert entry.doses * 2000 == entry.volume_ul
        assert bench.utc - entry.last_due > timedelta(hours=48)
        codes = [reason.code for reason in entry.reasons]
        assert [Code.WINDOW_PASSED, Code.NOT_RUNNING] == codes


def put_back(bench: Bench, utc: datetime) -> None:
    """A person on the machine says that it is only so late, whatever it believed."""
    bench.utc = utc
    now, mark = bench.now(), bench.state.mark
    assert mark is not None
    confirmed = ClockConfirmed(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=mark.proven_ms,
        boot_id=now.boot_id,
        by="keeper",
    )
    fold(bench.state, confirmed)
    bench.sight.scanned_until = None
    bench.sight.previous = None


def test_i4_nothing_of_it_is_given_when_the_clock_is_put_back() -> None:
    """Not even a dose that could still begin by the time a person confirms."""
    bench = back_after(10 * DAY)
    given = len(list(bench.intents()))
    table = bench.setup.forces[0].timetable
    dose = table.between(START + 4 * DAY, START + 5 * DAY)[0]
    put_back(bench, dose.due_at + timedelta(minutes=1))
    assert bench.utc < dose.latest_at
    bench.run_until(dose.latest_at)
    later = list(bench.intents())[given:]
    assert [] == [one for one in later if one.dose.due_at <= dose.due_at]


def test_h38_what_a_wrong_clock_missed_ahead_of_the_time_is_given_then() -> None:
    """Ten days ahead, then put right: the tank does not go without for ten days."""
    bench = back_after(10 * DAY)
    before = {intent.dose.id for intent in bench.intents()}
    put_back(bench, START + 4 * DAY)
    bench.run_until(START + 5 * DAY)
    given = [i.dose.id for i in bench.intents() if i.dose.id not in before]
    assert 2 * EVERY_DAY - 2 <= len(given) == len(set(given)) <= 2 * EVERY_DAY


def test_an_absence_that_begins_after_it_is_in_no_span() -> None:
    """Of a clock put back to before the absence nothing was missed."""
    bench = back_after(10 * DAY)
    put_back(bench, START + HOUR / 2)
    assert {} == bench.state.spans


def test_h33_what_a_ledger_put_back_may_have_given_is_never_given() -> None:
    """Whatever a person says of the time: another life may have given it."""
    bench = back_after(10 * DAY)
    span = next(e for e in bench.events if isinstance(e, SpanMissed))
    unknown = replace(span, reasons=(because(Code.LEDGER_RESTORED),))
    fold(bench.state, unknown)
    put_back(bench, START + 4 * DAY)
    bench.run_until(START + 5 * DAY)
    lost = [i for i in bench.intents() if i.dose.line == span.line]
    assert [] == [i for i in lost if i.dose.due_at > START + 2 * HOUR]


@pytest.mark.parametrize("dies", [False, True])
def test_h37_a_very_long_absence_is_looked_at_in_parts(
    monkeypatch: pytest.MonkeyPatch, *, dies: bool
) -> None:
    """Each part is short enough to show a sign of life after it, and told by itself.

    A daemon that ends between two parts goes on where the ledger ends.
    """
    whole = back_after(100 * DAY)
    monkeypatch.setattr(deciding, "LOOKED_AT_ONCE", 500)
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    bench.utc += 100 * DAY
    bench.sight.scanned_until = bench.sight.previous = None
    bench.hear_beat()
    parts = 0
    while bench.step() or bench.news:
        parts += bench.done.unfinished
        assert not bench.done.unfinished or bench.done.wake_at == bench.utc
        if dies:
            bench.sight.scanned_until = None
    assert 100 * 2 * EVERY_DAY // 500 == parts
    assert missed(whole) == missed(bench)
    assert whole.state.spans == bench.state.spans
    assert list(map(repr, whole.intents())) == list(map(repr, bench.intents()))


def test_a_dose_that_an_interlock_held_is_told_by_itself() -> None:
    """Its reasons are its own."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    due = bench.setup.forces[0].timetable.between(bench.utc, bench.utc + HOUR)[0]
    now = bench.now()
    held = DoseHeld(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=10**9,
        dose_id=due.id,
        pump=due.pump,
        reasons=(because(Code.LINK_DOWN),),
    )
    fold(bench.state, held)
    bench.utc += 10 * DAY
    bench.sight.scanned_until = bench.sight.previous = None
    bench.hear_beat()
    while bench.step() or bench.news:
        pass
    (told,) = (
        e for e in bench.events if isinstance(e, DoseMissed) and e.dose.id == due.id
    )
    assert Code.LINK_DOWN in [reason.code for reason in told.reasons]


def test_a_line_that_another_gave_is_one_entry_with_its_own_reason() -> None:
    """Years of an old doser's line are no entry for each of its doses."""
    bench = Bench(machine())
    bench.run_until(START + HOUR)
    bench.state.left_to_old = ["reef/carbonate"]
    bench.utc += 10 * DAY
    bench.sight.scanned_until = bench.sight.previous = None
    bench.hear_beat()
    before = len(bench.events)
    while bench.step() or bench.news:
        pass
    told = {
        event.line: [reason.code for reason in event.reasons]
        for event in bench.events[before:]
        if isinstance(event, SpanMissed)
    }
    assert told == {
        "calcium": [Code.WINDOW_PASSED, Code.NOT_RUNNING],
        "carbonate": [Code.OLD_DOSER],
    }
    lasts = [e.dose.due_at for e in bench.events[before:] if isinstance(e, DoseMissed)]
    assert bench.utc - min(lasts) <= timedelta(hours=48)


def test_doses_may_be_counted_in_any_order() -> None:
    """Those of two approvals come one approval after the other."""
    bench = Bench(machine())
    table = bench.setup.forces[0].timetable
    doses = table.between(START, START + 10 * HOUR)
    counted, turned, mixed = Counted(), Counted(), Counted()
    for dose in doses:
        counted.add(dose)
    for dose in reversed(doses):
        turned.add(dose)
    for dose in doses[:4] + doses[:7:-1] + doses[4:8]:
        mixed.add(dose)
    stamp = Stamp(at=START, boot_s=0.0, proven_ms=0)
    reasons = (because(Code.LEDGER_RESTORED),)
    told = list(counted.told(reasons, stamp))
    assert told == list(turned.told(reasons, stamp))
    assert told == list(mixed.told(reasons, stamp))
    calcium, carbonate = told
    own = [dose.due_at for dose in doses if dose.line == "calcium"]
    assert (min(own), max(own)) == (calcium.first_due, calcium.last_due)
    assert len(doses) == calcium.doses + carbonate.doses


def test_only_the_line_and_the_time_of_a_span_are_meant() -> None:
    """A dose before, after, or of another line is not in it."""
    bench = back_after(10 * DAY)
    entry = next(e for e in bench.events if isinstance(e, SpanMissed))
    (dose, *_) = bench.setup.forces[0].timetable.between(START, START + HOUR)
    inside = replace(dose, line=entry.line, due_at=entry.first_due)
    assert is_spanned(bench.state, inside)
    assert is_spanned(bench.state, replace(inside, due_at=entry.last_due))
    late = replace(inside, due_at=entry.last_due + HOUR)
    early = replace(inside, due_at=entry.first_due - HOUR)
    other = replace(inside, line="another")
    assert not any(is_spanned(bench.state, d) for d in (late, early, other))
    assert not is_spanned(State(), inside)
