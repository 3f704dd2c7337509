"""The view of switches and counters, and of probes whose newest word was refused."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from slackwater.facts.messages import (
    CounterSeen,
    Reading,
    SpoiledReading,
    SpoiledSwitch,
    SwitchSeen,
)
from slackwater.facts.sight import Sight, see

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)
SEEN = SwitchSeen(tank="reef", switch="return", is_on=True, heard_boot_s=500.0)
COUNT = CounterSeen(
    tank="reef", switch="refill", total_ul=10_000, at=T0, heard_boot_s=500.0
)
READING = Reading(tank="reef", probe="ph", parameter="ph", value=8.1, at=T0)


def sight() -> Sight:
    """Nothing heard yet."""
    return Sight(started_boot_s=400.0)


def test_a_switch_keeps_since_when_it_says_so() -> None:
    """The same word again makes it fresh; another word begins anew."""
    seen = sight()
    see(seen, SEEN)
    see(seen, replace(SEEN, heard_boot_s=560.0))
    known = seen.switches["return"]
    assert (True, 500.0, 560.0) == (
        known.is_on,
        known.since_boot_s,
        known.heard_boot_s,
    )
    see(seen, replace(SEEN, is_on=False, heard_boot_s=570.0))
    known = seen.switches["return"]
    assert (False, 570.0, 570.0) == (
        known.is_on,
        known.since_boot_s,
        known.heard_boot_s,
    )


def test_wrong_words_are_counted_by_switch() -> None:
    """They change nothing that is known of it."""
    seen = sight()
    see(seen, SEEN)
    for _ in range(3):
        see(seen, SpoiledSwitch(tank="reef", switch="return", why="word"))
    assert {"return": 3} == seen.spoiled_switches
    assert 500.0 == seen.switches["return"].heard_boot_s


def test_h53_a_wrong_word_is_remembered_until_a_good_one() -> None:
    """Of a switch and of a counter alike; a good word of another changes nothing."""
    seen = sight()
    for name in ("return", "refill"):
        see(seen, SpoiledSwitch(tank="reef", switch=name, why="word"))
    assert {"return": "word", "refill": "word"} == seen.flawed_switches
    see(seen, SEEN)
    assert {"refill": "word"} == seen.flawed_switches
    see(seen, COUNT)
    assert {} == seen.flawed_switches


def test_h53_a_refused_reading_is_remembered_until_a_good_one() -> None:
    """Counted for good, but a flaw only as long as it is the newest word."""
    seen = sight()
    see(seen, READING)
    see(seen, SpoiledReading(tank="reef", probe="ph", why="unit changed"))
    assert {"ph": "unit changed"} == seen.flawed
    see(seen, READING)
    assert {"ph": "unit changed"} == seen.flawed
    see(seen, replace(READING, at=T0 + timedelta(minutes=1)))
    assert {} == seen.flawed
    assert {"ph": 1} == seen.spoiled


def test_a_counter_sums_by_utc_day() -> None:
    """From the first total on; the first day was not heard whole."""
    seen = sight()
    see(seen, COUNT)
    see(seen, replace(COUNT, total_ul=12_500, at=T0 + timedelta(hours=3)))
    see(seen, replace(COUNT, total_ul=14_000, at=T0 + DAY))
    known = seen.counters["refill"]
    assert {date(2026, 5, 3): 2_500, date(2026, 5, 4): 1_500} == known.days
    assert date(2026, 5, 4) == known.whole_from


def test_a_counter_that_began_anew_counts_what_it_shows() -> None:
    """A total that fell is all of it new: more can only stop."""
    seen = sight()
    see(seen, COUNT)
    see(seen, replace(COUNT, total_ul=700, at=T0 + timedelta(hours=1)))
    see(seen, replace(COUNT, total_ul=900, at=T0 + timedelta(hours=2)))
    assert {date(2026, 5, 3): 900} == seen.counters["refill"].days


def test_a_counter_keeps_three_days_in_view() -> None:
    """The ledger keeps the others."""
    seen = sight()
    for days in range(5):
        see(seen, replace(COUNT, total_ul=1000 * days, at=T0 + days * DAY))
    assert [date(2026, 5, 5 + n) for n in range(3)] == list(
        seen.counters["refill"].days
    )


def test_h38_days_of_a_clock_ahead_do_not_push_out_today() -> None:
    """Three days of it, then the clock is put right: today goes on being counted."""
    seen = sight()
    counts = [(40, 1_000), (41, 2_000), (42, 3_000), (0, 4_000), (0, 5_000)]
    see(seen, COUNT)
    for ahead, more_ul in counts:
        later = replace(COUNT, at=T0 + ahead * DAY, total_ul=10_000 + more_ul)
        see(seen, later)
    assert 2_000 == seen.counters["refill"].days[T0.date()]
