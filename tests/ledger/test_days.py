"""Days of doses and readings: the same from sums as entry by entry, nothing lost.

What was delivered is compared with the fold, which reads the same entries another way.
"""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from slackwater.facts.charging import hour_of
from slackwater.facts.events import DoseVoided
from slackwater.facts.fold import fold_all
from slackwater.facts.history import Delivery
from slackwater.facts.state import State
from slackwater.facts.waters import DaySummed, MeasurementStruck
from slackwater.ledger.days import days_between
from slackwater.ledger.summing import next_sums
from tests.ledger.pasts import BEGIN, HOUR, add_up, eventful, ledger_of, past
from tests.ledger.water_samples import of_the_water
from tests.ledger.years import (
    DAY,
    DOSE_UL,
    FIRST_DAY,
    MINUTE,
    PER_UL,
    Household,
    attempt_of,
    begin_of,
    day_of,
    end_of,
    given,
    intent,
    read,
    stamped,
)

PEQ = PER_UL["carbonate"]["alkalinity"]


def test_a_day_reads_the_same_from_its_sum_as_entry_by_entry(tmp_path: Path) -> None:
    """Adding up changes nothing but how fast it is."""
    with ledger_of(tmp_path, *eventful()) as ledger:
        raw = past(ledger)
        written = add_up(ledger, BEGIN + 3 * DAY + 4 * HOUR)

        assert [(FIRST_DAY + n * DAY, tank) for n in range(3) for tank in TANKS[n]] == [
            (one.day, one.tank) for one in written
        ]
        assert raw == past(ledger)


TANKS = (("frag", "reef"), ("reef",), ("reef",))


def test_a_part_of_the_days_reads_the_same_from_their_sums(tmp_path: Path) -> None:
    """The days that both ends lie in belong to it, and no other."""
    begin, end = BEGIN + 30 * HOUR, BEGIN + 2 * DAY
    with ledger_of(tmp_path, *eventful()) as ledger:
        raw = past(ledger, begin, end)
        add_up(ledger, BEGIN + 3 * DAY + 4 * HOUR)
        summed = past(ledger, begin, end)
        again = add_up(ledger, BEGIN + 3 * DAY + 4 * HOUR)

    assert ([], raw) == (again, summed)
    assert [BEGIN + DAY, BEGIN + 2 * DAY] == [day.at for day in summed.probe_days]


def test_days_that_are_not_added_up_yet_come_after_those_that_are(
    tmp_path: Path,
) -> None:
    """One day of three is added up; each counts once."""
    with ledger_of(tmp_path, *eventful()) as ledger:
        raw = past(ledger)
        written = add_up(ledger, BEGIN + DAY + 4 * HOUR)
        part = past(ledger)

    assert {FIRST_DAY} == {one.day for one in written}
    assert raw == part


def test_an_hour_tells_only_what_was_given_in_it(tmp_path: Path) -> None:
    """Of two pumps each has its own hour, on a day of 24."""
    events = [
        *given("carbonate", BEGIN + HOUR),
        *given("calcium", BEGIN + 23 * HOUR),
    ]
    with ledger_of(tmp_path, *events) as ledger:
        first, last = past(ledger).deliveries
        (kept,) = add_up(ledger, BEGIN + DAY + 4 * HOUR)

    assert (BEGIN + HOUR, {"alkalinity", "sodium"}) == (first.at, set(first.amounts))
    assert (BEGIN + 23 * HOUR, {"calcium", "chloride"}) == (last.at, set(last.amounts))
    assert {24} == {len(hours) for hours in kept.delivered.values()}


def test_a_parameter_of_which_nothing_was_asked_has_no_unknown_share(
    tmp_path: Path,
) -> None:
    """Nor does it end in a division by nothing."""
    (one,) = (event for event in of_the_water() if isinstance(event, DaySummed))
    kept = replace(
        one,
        **stamped(BEGIN + 2 * DAY),
        day=FIRST_DAY,
        asked={"alkalinity": 1, "calcium": 0},
        unknown={"alkalinity": 1},
    )
    with ledger_of(tmp_path, kept) as ledger:
        assert {"alkalinity": 1.0} == past(ledger).unknown_share


def test_what_was_delivered_is_what_the_fold_believes(tmp_path: Path) -> None:
    """Another way through the same entries comes to the same whole numbers.

    The fold counts a dose when it ends, the history when it began.
    """
    events = sorted(eventful(), key=lambda event: event.at)
    state = fold_all(State(), events)
    with ledger_of(tmp_path, *events) as ledger:
        found = past(ledger)
    total = sum(one.amounts.get("alkalinity", 0) for one in found.deliveries)
    hours = {hour_of(one.at): one.amounts["alkalinity"] for one in found.deliveries}
    late = hour_of(BEGIN + 23 * HOUR)

    assert sum(state.hours["reef"].values()) == total
    assert 900 * PEQ == hours.pop(late)
    assert 900 * PEQ == state.hours["reef"].pop(late + 1) - hours.pop(late + 1)
    assert state.hours["reef"] == hours


def test_doses_count_in_the_hour_they_began_with_what_flowed(tmp_path: Path) -> None:
    """Short as reported, sealed and lost as asked, voided and calibrations not at all.

    By hand: 333 + 1000 + 1000 of five, with the day's own third dose at 12:01.
    """
    with ledger_of(tmp_path, *eventful()) as ledger:
        found = past(ledger, until=BEGIN + DAY)
    noon = next(one for one in found.deliveries if one.at == BEGIN + 12 * HOUR)

    assert (333 + 3 * DOSE_UL) * PEQ == noon.amounts["alkalinity"]
    assert DOSE_UL * PER_UL["calcium"]["calcium"] == noon.amounts["calcium"]


def test_the_share_nobody_knows_is_that_of_sealed_and_lost_doses(
    tmp_path: Path,
) -> None:
    """Two of 16 doses of carbonate that were not voided, none of calcium."""
    with ledger_of(tmp_path, *eventful()) as ledger:
        found = past(ledger)

    assert {"alkalinity": 2 / 16, "sodium": 2 / 16, "calcium": 0, "chloride": 0} == (
        found.unknown_share
    )


def test_a_dose_that_is_voided_after_weeks_away_counts_not_at_all(
    tmp_path: Path,
) -> None:
    """Nor does one that was voided at once."""
    soon, late = BEGIN + 20 * HOUR, BEGIN + 21 * HOUR
    voided = [
        DoseVoided(**stamped(at), attempt=attempt_of("carbonate", begun), reasons=())
        for begun, at in ((soon, soon + MINUTE), (late, BEGIN + 40 * DAY))
    ]
    intents = [intent("carbonate", at) for at in (soon, late)]
    with ledger_of(tmp_path, *intents, *voided) as ledger:
        assert () == past(ledger).deliveries


def test_a_dose_nobody_has_told_of_yet_counts_as_asked_and_unknown(
    tmp_path: Path,
) -> None:
    """Its day is not added up for two days; then it stays unknown."""
    open_at = BEGIN + 20 * HOUR
    with ledger_of(tmp_path, intent("carbonate", open_at)) as ledger:
        raw = past(ledger)
        early = next_sums(ledger, [], stamped(BEGIN + 3 * DAY - MINUTE))
        late = next_sums(ledger, [], stamped(BEGIN + 3 * DAY))

    hour = Delivery(at=open_at, amounts={n: DOSE_UL * u for n, u in CARBONATE.items()})
    assert (hour,) == raw.deliveries
    assert {"alkalinity": 1.0, "sodium": 1.0} == raw.unknown_share
    assert ([], [1000 * PEQ]) == (early, [one.unknown["alkalinity"] for one in late])


CARBONATE = PER_UL["carbonate"]


def test_an_end_that_comes_after_weeks_away_is_found(tmp_path: Path) -> None:
    """The daemon was away; the node's next beat told what had flowed."""
    at = BEGIN + 20 * HOUR
    end = replace(end_of("carbonate", at, 500), **stamped(BEGIN + 40 * DAY))
    with ledger_of(tmp_path, intent("carbonate", at), end) as ledger:
        (hour,) = past(ledger).deliveries

    assert 500 * PEQ == hour.amounts["alkalinity"]


def test_readings_are_told_by_day_and_probe(tmp_path: Path) -> None:
    """48 of a day from 2.80 to 2.86, the median by hand 2.83; the other tank's not."""
    with ledger_of(tmp_path, *eventful()) as ledger:
        days = past(ledger).probe_days

    assert [("kh", BEGIN + n * DAY) for n in range(3)] == [
        (day.probe, day.at) for day in days
    ]
    first = days[0]
    assert ("alkalinity", 48) == (first.parameter, first.count)
    assert pytest.approx((2.83, 2.8, 2.86)) == (
        first.median,
        first.lowest,
        first.highest,
    )


def test_readings_are_told_where_in_the_day_their_middle_lies(tmp_path: Path) -> None:
    """By hand: every half hour from 0:00 to 23:30 is 11:45; where none is told noon."""
    (one,) = (event for event in of_the_water() if isinstance(event, DaySummed))
    old = replace(
        one, **stamped(BEGIN + 4 * DAY), day=FIRST_DAY + 2 * DAY, centres_s={}
    )
    events = day_of(Household(), FIRST_DAY)
    with ledger_of(tmp_path, *events) as ledger:
        add_up(ledger, BEGIN + 2 * DAY + 4 * HOUR)
        ledger.append([old])
        centres = [day.centre for day in past(ledger).probe_days]

    assert [BEGIN + 11.75 * HOUR, BEGIN + 2.5 * DAY] == centres


def test_a_reading_of_midnight_is_of_the_day_that_begins(tmp_path: Path) -> None:
    """And makes no day before it."""
    with ledger_of(tmp_path, read("kh", BEGIN + DAY, 2.9)) as ledger:
        found = [
            list(days)
            for day in (FIRST_DAY, FIRST_DAY + DAY)
            for days in days_between(ledger, day, day)
        ]

    assert [[], [(FIRST_DAY + DAY, "reef")]] == found


def test_a_reading_may_be_written_three_hours_after_it_was_taken(
    tmp_path: Path,
) -> None:
    """Until then its day waits to be added up; what comes later is not looked for."""
    taken = BEGIN + DAY - MINUTE
    late = [
        replace(read(probe, taken, 2.9), **stamped(BEGIN + DAY + 3 * HOUR - sooner))
        for probe, sooner in (("kh", timedelta(microseconds=1)), ("slow", 0 * DAY))
    ]
    with ledger_of(tmp_path, *late) as ledger:
        (days,) = days_between(ledger, FIRST_DAY, FIRST_DAY)

    assert [["kh"]] == [list(day.values) for day in days.values()]


def test_no_more_than_a_long_month_is_in_memory_at_a_time(tmp_path: Path) -> None:
    """Of 62 days two parts of 31 each; each day lies in one (common practice)."""
    noons = [BEGIN + number * DAY + 12 * HOUR for number in (0, 30, 31, 61)]
    with ledger_of(tmp_path, *(read("kh", noon, 2.9) for noon in noons)) as ledger:
        parts = [
            sorted(day for day, _tank in days)
            for days in days_between(ledger, FIRST_DAY, FIRST_DAY + 61 * DAY)
        ]

    assert [noons[:2], noons[2:]] == [
        [begin_of(day) + 12 * HOUR for day in days] for days in parts
    ]


def test_a_reading_written_after_midnight_is_of_the_day_it_was_taken(
    tmp_path: Path,
) -> None:
    """It counts once, whether its day was added up or not."""
    taken = BEGIN + DAY - timedelta(milliseconds=500)
    with ledger_of(tmp_path, read("kh", taken, 2.9)) as ledger:
        raw = past(ledger).probe_days
        add_up(ledger, BEGIN + 2 * DAY)
        summed = past(ledger).probe_days

    assert [(BEGIN, 1)] == [(day.at, day.count) for day in raw]
    assert raw == summed


def test_hand_additions_come_on_top_unless_struck(tmp_path: Path) -> None:
    """Told late they count at the moment at which they were given, not by the hour."""
    (hand,) = (one for one in of_the_water() if one.kind == "added_by_hand")
    at = BEGIN + 20 * HOUR
    told_at = stamped(BEGIN + 3 * DAY)
    told = [
        replace(hand, **told_at, id=name, given_at=at + 59 * MINUTE, effects=CARBONATE)
        for name in ("a-1", "a-2", "a-3")
    ]
    strike = MeasurementStruck(**told_at, measurement="a-3", by="keeper", why="twice")
    with ledger_of(tmp_path, *given("carbonate", at), *told, strike) as ledger:
        raw = past(ledger)
        add_up(ledger, BEGIN + 3 * DAY)
        summed = past(ledger).deliveries

    by_hand = Delivery(at=at + 59 * MINUTE, amounts=CARBONATE, at_once=True)
    assert raw.deliveries == summed
    assert (by_hand, by_hand) == summed[1:]
    assert (at, DOSE_UL * PEQ) == (summed[0].at, summed[0].amounts["alkalinity"])


def test_only_hours_of_the_stretch_are_told(tmp_path: Path) -> None:
    """The hour that `since` lies in belongs to it; what comes later does not."""
    events = day_of(Household(pumps=("carbonate",), doses=24), FIRST_DAY)
    with ledger_of(tmp_path, *events) as ledger:
        part = past(ledger, BEGIN + 90 * MINUTE, BEGIN + 3 * HOUR)
        whole = past(ledger, BEGIN + 2 * HOUR, BEGIN + 3 * HOUR)

    assert [BEGIN + n * HOUR for n in (1, 2, 3)] == [one.at for one in part.deliveries]
    assert [BEGIN + n * HOUR for n in (2, 3)] == [one.at for one in whole.deliveries]


def test_days_are_added_up_once_and_in_order(tmp_path: Path) -> None:
    """One day in one go, the oldest first, and never the day that still runs."""
    now = BEGIN + 2 * DAY + 2 * HOUR
    with ledger_of(tmp_path, *eventful()) as ledger:
        first = next_sums(ledger, ["reef"], stamped(now))
        ledger.append(first)
        nothing_yet = next_sums(ledger, ["reef"], stamped(now))
        second = next_sums(ledger, ["reef"], stamped(now + HOUR))

    assert {FIRST_DAY} == {one.day for one in first}
    assert ([], [FIRST_DAY + DAY]) == (nothing_yet, [one.day for one in second])


def test_a_day_without_anything_is_added_up_too(tmp_path: Path) -> None:
    """Nothing was given: that is known, and need not be looked for again."""
    with ledger_of(tmp_path) as ledger:
        days = [one.day for one in add_up(ledger, BEGIN + 3 * DAY)]

    assert [FIRST_DAY, date(2026, 3, 2)] == days
