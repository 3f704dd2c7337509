"""Local minutes as instants, against the published rules of the tz database."""

from datetime import UTC, date, datetime, timedelta
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.errors import InputError
from slackwater.planning.wall import EPOCH, day_at, exists, reached_s, zone_named
from tests.planning.plans import utc

# Source: IANA tz database, rules EU, Canada/StJohns and LH: the instant of the change
# and the local time it happens at.
CHANGES = (
    ("Europe/Berlin", date(2026, 3, 29), "2026-03-29T01:00", 120, 180),
    ("America/St_Johns", date(2026, 3, 8), "2026-03-08T05:30", 120, 180),
    ("Australia/Lord_Howe", date(2026, 10, 4), "2026-10-03T15:30", 120, 150),
)


def moment(zone: str, local_day: date, minute: int) -> datetime:
    """The instant of a local minute."""
    return EPOCH + timedelta(seconds=reached_s(ZoneInfo(zone), local_day, minute))


@pytest.mark.parametrize(("zone", "day", "jump", "first", "after"), CHANGES)
def test_h36_jumped_minutes_come_at_the_jump(
    zone: str, day: date, jump: str, first: int, after: int
) -> None:
    """Every minute that the clock jumps over is reached at the jump."""
    minutes = (first, first + 1, after - 1, after)

    assert [utc(jump)] * 4 == [moment(zone, day, minute) for minute in minutes]


@pytest.mark.parametrize(("zone", "day", "jump", "first", "after"), CHANGES)
def test_h36_jumped_minutes_do_not_exist(
    zone: str, day: date, jump: str, first: int, after: int
) -> None:
    """Only the minutes from the jump to the new time are never shown."""
    assert jump
    minutes = (first - 1, first, after - 1, after)

    assert [exists(ZoneInfo(zone), day, minute) for minute in minutes] == [
        True,
        False,
        False,
        True,
    ]


@pytest.mark.parametrize(
    ("zone", "day", "minute", "first"),
    [
        # Source: IANA tz database: clocks go back at 01:00, 04:30 and 15:00 UTC.
        ("Europe/Berlin", date(2026, 10, 25), 150, "2026-10-25T00:30"),
        ("America/St_Johns", date(2026, 11, 1), 90, "2026-11-01T04:00"),
        ("Australia/Lord_Howe", date(2026, 4, 5), 100, "2026-04-04T14:40"),
    ],
)
def test_h36_repeated_minutes_come_the_first_time(
    zone: str, day: date, minute: int, first: str
) -> None:
    """A minute that the clock shows twice is reached when it is shown first."""
    assert (utc(first), True) == (
        moment(zone, day, minute),
        exists(ZoneInfo(zone), day, minute),
    )


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Berlin", date(2026, 3, 29), 23.0),
        ("Europe/Berlin", date(2026, 10, 25), 25.0),
        ("America/St_Johns", date(2026, 3, 8), 23.0),
        ("America/St_Johns", date(2026, 11, 1), 25.0),
        ("Australia/Lord_Howe", date(2026, 10, 4), 23.5),
        ("Australia/Lord_Howe", date(2026, 4, 5), 24.5),
        ("Europe/Berlin", date(2026, 5, 3), 24.0),
        # Source: IANA tz database: Samoa had no 30 December 2011.
        ("Pacific/Apia", date(2011, 12, 30), 0.0),
    ],
)
def test_days_are_as_long_as_the_tz_database_says(
    zone: str, day: date, hours: float
) -> None:
    """A day runs from its first minute to the first minute of the next."""
    assert timedelta(hours=hours) == moment(zone, day, 1440) - moment(zone, day, 0)


@given(
    zone=st.sampled_from([change[0] for change in CHANGES] + ["Pacific/Apia", "UTC"]),
    day=st.dates(min_value=date(2000, 1, 1), max_value=date(2037, 12, 1)),
    minutes=st.lists(st.integers(0, 1440), min_size=2),
)
def test_minutes_in_order_come_in_order(
    zone: str, day: date, minutes: list[int]
) -> None:
    """No change of the clock turns the order of two minutes round."""
    reached = [moment(zone, day, minute) for minute in sorted(minutes)]

    assert all(one <= other for one, other in pairwise(reached))


@given(
    day=st.dates(min_value=date(2000, 1, 1), max_value=date(2037, 12, 1)),
    minute=st.integers(0, 1439),
)
def test_a_minute_that_exists_is_what_the_clock_shows(day: date, minute: int) -> None:
    """Read back from UTC, the wall clock shows the minute asked for."""
    zone = ZoneInfo("America/St_Johns")
    shown = datetime.fromtimestamp(reached_s(zone, day, minute), zone)

    expected = datetime.combine(day, datetime.min.time()) + timedelta(minutes=minute)

    assert (expected == shown.replace(tzinfo=None)) == exists(zone, day, minute)


# Source: IANA tz database, rule StJohns until 2011: the clock was set one minute after
# midnight, so that the day before came back for an hour; Apia went over the date line.
DATES = ("America/St_Johns", "Pacific/Apia", "Europe/Berlin", "Africa/Cairo", "UTC")


@given(
    zone=st.sampled_from(DATES),
    minute=st.integers(0, 16_000_000),
    offset=st.integers(-2, 2),
)
def test_the_date_is_what_the_clock_shows(zone: str, minute: int, offset: int) -> None:
    """Whatever day was thought likely, from 2005 to 2035."""
    at = datetime(2005, 1, 1, tzinfo=UTC) + timedelta(minutes=minute)
    shown = at.astimezone(ZoneInfo(zone)).date()
    assert shown == day_at(zone, at, shown + timedelta(days=offset))


@pytest.mark.parametrize(
    ("at", "shown"),
    [
        ("2026-05-02T23:59:59", date(2026, 5, 2)),
        ("2026-05-03T00:00:00", date(2026, 5, 3)),
        ("2026-05-03T23:59:59", date(2026, 5, 3)),
        ("2026-05-04T00:00:00", date(2026, 5, 4)),
    ],
)
def test_a_likely_day_is_told_from_its_neighbours_to_the_second(
    at: str, shown: date
) -> None:
    """In UTC, where each day has 24 hours."""
    assert shown == day_at("UTC", utc(at), date(2026, 5, 3))


def test_a_likely_day_before_1970_ends_like_any_other() -> None:
    """Seconds are counted from 1970, also backwards."""
    assert date(1970, 1, 5) == day_at("UTC", utc("1970-01-05"), date(1969, 12, 20))


def test_a_day_that_comes_back_is_told_from_the_next() -> None:
    """28 October 2006 in St John's: midnight came, and an hour of the day again."""
    change = utc("2006-10-29T02:31")
    zone = ZoneInfo("America/St_Johns")
    minutes = [change + timedelta(minutes=number) for number in range(-90, 90)]
    expected = [at.astimezone(zone).date() for at in minutes]
    likely = [date(2006, 10, 28), date(2006, 10, 29)]
    for day in likely:
        assert expected == [day_at("America/St_Johns", at, day) for at in minutes]
    # The date went forward, back and forward again.
    assert [28, 29, 28, 29] == [day.day for day, _ in groupby(expected)]


@pytest.mark.parametrize("name", ["Mars/Olympus", "", "/etc/passwd", "a" * 300])
def test_refuses_a_zone_that_is_not_there(name: str) -> None:
    """A name the tz database does not know is an error that names it."""
    with pytest.raises(InputError) as caught:
        zone_named(name)

    assert f'there is no time zone "{name}"' == caught.value.findings[0].what
