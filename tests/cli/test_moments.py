"""Moments as people write them: on the tank's wall clock, never guessed.

Both clock changes of 2026 in Berlin as the tz database has them: 29 March, 02:00 to
03:00, and 25 October, 03:00 to 02:00.
"""

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.cli.moments import Wall, typed_moment
from slackwater.errors import InputError

NOW = datetime(2026, 11, 3, 12, 0, tzinfo=UTC)
BERLIN = Wall(zone="Europe/Berlin", now=NOW)
ANNOUNCED = Wall(zone="Europe/Berlin", now=NOW, ahead=timedelta(days=14))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-05-03 09:30", datetime(2026, 5, 3, 7, 30, tzinfo=UTC)),
        ("2026-05-03T09:30", datetime(2026, 5, 3, 7, 30, tzinfo=UTC)),
        (" 2026-05-03 09:30:15 ", datetime(2026, 5, 3, 7, 30, 15, tzinfo=UTC)),
        ("2026-01-03 09:30", datetime(2026, 1, 3, 8, 30, tzinfo=UTC)),
        ("2026-05-03T09:30Z", datetime(2026, 5, 3, 9, 30, tzinfo=UTC)),
        ("2026-05-03T09:30-03:30", datetime(2026, 5, 3, 13, 0, tzinfo=UTC)),
        ("2026-10-25T02:30+02:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        ("2026-10-25T02:30+01:00", datetime(2026, 10, 25, 1, 30, tzinfo=UTC)),
        (None, NOW),
    ],
)
def test_a_time_without_an_offset_is_of_the_wall_clock(
    text: str | None, expected: datetime
) -> None:
    """With one it is what it says; without anything it is now."""
    assert expected == typed_moment(text, BERLIN)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not a time"),
        ("yesterday", "not a time"),
        ("2026-05-03", "not a time"),
        ("09:30", "not a time"),
        ("03.05.2026 09:30", "not a time"),
        ("2026-W18-7T09:30", "not a time"),
        ("2026-02-30 09:30", "no time of the calendar"),
        ("2026-05-03 24:30", "no time of the calendar"),
        ("2026-05-03T09:30+99:00", "no time of the calendar"),
        ("9999-12-31T23:59-12:00", "no time of the calendar"),
        ("0001-01-01T00:00+12:00", "no time of the calendar"),
        ("2026-03-29 02:30", "never came in Europe/Berlin"),
        ("2026-10-25 02:30", "came twice in Europe/Berlin"),
        ("2026-11-03 13:03", "lies ahead: it is 2026-11-03 13:00 CET"),
        ("1999-12-31 23:59", "before the year 2000"),
    ],
)
def test_anything_else_is_one_clear_error(text: str, said: str) -> None:
    """What was found, that nothing was written, and how to write it."""
    with pytest.raises(InputError, match=said) as raised:
        typed_moment(text, BERLIN)
    (finding,) = raised.value.findings
    assert "--at" == finding.where
    assert "Nothing was written" in finding.do


def test_a_repeated_hour_is_asked_about_with_an_example() -> None:
    """The example is the second of the two."""
    with pytest.raises(InputError) as raised:
        typed_moment("2026-10-25 02:30", BERLIN)
    assert "2026-10-25T02:30+01:00" in raised.value.findings[0].expected


def test_clocks_may_differ_a_little() -> None:
    """A minute ahead is now, two hours are not."""
    assert NOW == typed_moment("2026-11-03 13:01", BERLIN)


@pytest.mark.parametrize(("text", "fits"), [("17 12:59", True), ("17 13:01", False)])
def test_what_is_announced_may_lie_two_weeks_ahead(text: str, *, fits: bool) -> None:
    """To the minute, and no further."""
    whole = f"2026-11-{text}"
    if fits:
        assert timedelta(days=14) > typed_moment(whole, ANNOUNCED) - NOW
        return
    with pytest.raises(InputError, match="lies ahead"):
        typed_moment(whole, ANNOUNCED)
