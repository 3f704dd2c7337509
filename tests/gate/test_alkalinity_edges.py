"""Series of alkalinity at the very instants and steps where a word changes.

Values of quarters and eighths of meq/L are exact, so that a limit can be met exactly;
limits themselves are common practice, no source.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.messages import Reading
from slackwater.gate.alkalinity import (
    Step,
    climbs,
    falls,
    frozen,
    hourly_medians,
    is_fresh,
    since_serviced,
    too_high,
)
from tests.gate.scene import GUARD, NOW, PROBE, dkh
from tests.gate.test_alkalinity import at_ages, thrice, with_probes
from tests.gate.test_serviced import service

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
INSTANT = timedelta(microseconds=1)
EXACT = replace(GUARD, ceiling=3.5, rise=0.25, fall=0.25)
COARSE = replace(PROBE, resolution=0.5)


def meq(*pairs: tuple[timedelta, float]) -> list[Reading]:
    """Readings of (age, meq/L), oldest first."""
    like = at_ages((0, 8.0))[0]
    found = [replace(like, value=value, at=NOW - age) for age, value in pairs]
    return sorted(found, key=lambda reading: reading.at)


def hours(*pairs: tuple[int, float]) -> list[Reading]:
    """Three readings of (hours ago, meq/L) each, within three seconds."""
    return meq(
        *(
            (age * HOUR + timedelta(seconds=second), value)
            for age, value in pairs
            for second in range(3)
        )
    )


def even(*values: float) -> list[Reading]:
    """A reading every quarter of an hour, the newest now."""
    ages = range(len(values) - 1, -1, -1)
    return meq(
        *((age * HOUR / 4, value) for age, value in zip(ages, values, strict=True))
    )


def test_h48_a_reading_a_minute_ahead_of_the_clock_is_the_last_that_counts() -> None:
    """Half a second more and the clock was put back."""
    for ahead_s, expected in ((60.0, True), (60.5, False)):
        utc = NOW - timedelta(seconds=ahead_s)
        assert expected == is_fresh(PROBE, at_ages((0, 8.0)), utc)


@pytest.mark.parametrize(("late", "counts"), [(timedelta(), True), (INSTANT, False)])
def test_a_word_of_a_day_ago_still_stops(late: timedelta, *, counts: bool) -> None:
    """Too high, climbing, falling: of the newest reading the age counts alone."""
    utc = NOW + DAY + late
    high = hours((30, 3.0), (1, 3.0), (0, 3.75))
    low = hours((30, 3.0), (1, 3.0), (0, 2.5))
    found = [
        too_high(EXACT, high, utc),
        climbs(EXACT, high, utc),
        falls(EXACT, low, utc),
    ]
    assert [counts] * 3 == [reason is not None for reason in found]


def test_a_ceiling_is_told_to_three_digits() -> None:
    """3.4567 meq/L."""
    guard = replace(GUARD, ceiling=3.4567)
    reason = too_high(guard, meq((timedelta(), 4.0)), NOW)
    assert reason is not None
    assert 3.457 == reason.figures["ceiling_meq_per_l"]


@pytest.mark.parametrize(("newest", "told"), [(3.25, False), (3.2501, True)])
def test_a_rise_of_the_limit_itself_is_none(newest: float, *, told: bool) -> None:
    """A lone lower value makes no hour lower."""
    before = [(2 * HOUR + n * HOUR / 100, v) for n, v in enumerate((3.0, 3.0, 2.0))]
    series = [*meq(*before), *hours((0, newest))]
    assert told == (climbs(EXACT, series, NOW) is not None)


@pytest.mark.parametrize(("newest", "told"), [(2.75, False), (2.7499, True)])
def test_a_fall_of_the_limit_itself_is_none(newest: float, *, told: bool) -> None:
    """A lone higher value makes no hour higher."""
    before = [(2 * HOUR + n * HOUR / 100, v) for n, v in enumerate((3.0, 3.0, 4.0))]
    series = [*meq(*before), *hours((0, newest))]
    assert told == (falls(EXACT, series, NOW) is not None)


def test_all_readings_of_the_last_hour_are_its_median() -> None:
    """Of five the last two are high: the hour is not."""
    values = (3.0, 3.0, 3.0, 3.5, 3.5)
    last = [(n * HOUR / 6, value) for n, value in enumerate(reversed(values))]
    series = [*hours((3, 3.0)), *meq(*last)]
    assert [3.0, 3.0] == hourly_medians(series, NOW)
    assert climbs(EXACT, series, NOW) is None


def test_the_last_hour_of_a_titrator_takes_the_two_before_it() -> None:
    """One reading an hour: 3.5 with 3.0 and 3.1, and each hour with its neighbours."""
    series = meq((2 * HOUR, 3.0), (HOUR, 3.1), (timedelta(), 3.5))
    assert [3.1, 3.1, 3.1] == hourly_medians(series, NOW)


def test_a_day_ends_with_its_last_instant() -> None:
    """24 hours before the newest reading count, a microsecond earlier does not."""
    newest = hours((0, 3.0))
    assert 2 == len(hourly_medians([*meq(*[(DAY, 3.0)] * 3), *newest], NOW))
    earlier = meq(*[(DAY + INSTANT, 3.0)] * 3)
    assert 1 == len(hourly_medians([*earlier, *newest], NOW))


@pytest.mark.parametrize(
    ("step", "told"),
    [
        (Step(at=NOW, rise=0.2), False),
        (Step(at=NOW + INSTANT, rise=0.2), True),
        (Step(at=NOW - 3 * HOUR + INSTANT, rise=0.2), False),
        (Step(at=NOW - 3 * HOUR, rise=0.2), True),
    ],
)
def test_a_water_change_explains_what_was_read_before_it(
    step: Step, *, told: bool
) -> None:
    """Up to the newest reading itself; 0.375 less 0.2 are no climb of 0.25.

    The hour two hours ago began three hours ago; what was changed then is in it.
    """
    series = hours((2, 3.0), (0, 3.375))
    assert told == (climbs(EXACT, series, NOW, [step]) is not None)


def test_a_water_change_that_lowered_makes_no_climb_of_less() -> None:
    """0.2 after new water that took 0.1: still 0.2, below the limit of 0.25."""
    series = hours((2, 3.0), (0, 3.2))
    # A lone value far below: that there is none is not seen at a glance.
    series = [*meq((3 * HOUR, 2.0)), *hours((3, 3.0)), *series]
    step = Step(at=NOW - HOUR, rise=-0.1)
    assert climbs(EXACT, series, NOW, [step]) is None


@pytest.mark.parametrize("minutes", [0.0, 60.0])
def test_what_is_read_at_the_service_itself_is_of_the_new_scale(minutes: float) -> None:
    """An hour ago, or now."""
    at = with_probes(PROBE)
    series = at_ages((120, 8.0), (60, 8.5), (0, 8.6))
    service(at, minutes, "s")
    serviced = NOW - timedelta(minutes=minutes)
    expected: list[datetime] = [one.at for one in series if one.at >= serviced]
    found = [one.at for one in since_serviced(at, "reef", series)]
    assert expected == found
    assert 1 + (minutes > 0) == len(found)


@pytest.mark.parametrize(("step", "is_frozen"), [(0.2, False), (0.25, True)])
def test_h49_half_a_step_of_the_display_is_a_change(
    step: float, *, is_frozen: bool
) -> None:
    """Of 0.5 meq/L: (0 + 5) / (19 + 10) to the fourth where nothing was ever equal.

    Where all 19 pairs were, five equal readings are no wonder: (19 + 5) / 29.
    """
    before = [3.0, 3.0 + step] * 10
    assert is_frozen == (frozen(COARSE, even(*before, *[5.0] * 5)) is not None)


def test_h49_more_than_half_a_step_is_one() -> None:
    """0.3 of 0.5 meq/L, which would be less than a whole step."""
    assert frozen(COARSE, even(*[3.0, 3.3] * 10, *[5.0] * 5)) is not None


def test_h49_a_run_ends_where_half_a_step_was_made() -> None:
    """Four equal readings: 0.172 to the third is more than one in a thousand."""
    assert frozen(COARSE, even(*[3.0, 3.25] * 10, *[3.0] * 4)) is None


@pytest.mark.parametrize(("pairs", "is_frozen"), [(4990, False), (4991, True)])
def test_h49_a_pair_that_never_was_is_told_by_one_in_a_thousand(
    pairs: int, *, is_frozen: bool
) -> None:
    """5 of 5000: at that chance it is not frozen, with one pair more it is."""
    like, instant = at_ages((0, 8.0))[0], timedelta(seconds=1)
    values = [dkh(8.0 + 0.1 * (n % 2)) for n in range(pairs + 1)]
    values += [dkh(9.0)] * 2
    series = [
        replace(like, value=value, at=NOW - instant * (len(values) - n))
        for n, value in enumerate(values)
    ]
    assert is_frozen == (frozen(PROBE, series) is not None)


def test_a_climb_is_told_as_it_is() -> None:
    """2 dKH are 0.713 meq/L, of which the water change made 0.125."""
    series = thrice((120, 8.0), (0, 10.0))
    step = Step(at=NOW - HOUR, rise=0.125)
    reason = climbs(EXACT, series, NOW, [step])
    assert reason is not None
    assert {
        "probe": "kh",
        "rise_meq_per_l": round(dkh(2.0) - 0.125, 3),
        "limit_meq_per_l": 0.25,
        "explained_meq_per_l": 0.125,
    } == dict(reason.figures)
