"""The next change of the clocks, each way."""

from datetime import date

import pytest

from slackwater.rehearsal.clock_changes import next_changes


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        # Source: Directive 2000/84/EC, last Sundays of March and October.
        (
            "Europe/Berlin",
            {"back": date(2026, 10, 25), "forward": date(2027, 3, 28)},
        ),
        # Half an hour each way (tz database, Lord Howe Island).
        (
            "Australia/Lord_Howe",
            {"forward": date(2026, 10, 4), "back": date(2027, 4, 4)},
        ),
        ("UTC", {}),
    ],
)
def test_finds_the_next_change_each_way(zone: str, expected: dict[str, date]) -> None:
    """A short day is forward, a long one back, an hour or not."""
    assert expected == next_changes(zone, date(2026, 5, 3))


def test_a_change_on_the_first_day_counts() -> None:
    """The day itself is not too late."""
    assert (
        date(2026, 10, 25) == next_changes("Europe/Berlin", date(2026, 10, 25))["back"]
    )
