"""Days as laboratories write them."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.outside.lab.dates import day_in


@given(
    st.dates(date(1900, 1, 1), date(2200, 1, 1)),
    st.sampled_from(
        ["%Y-%m-%d", "%Y/%m/%d", "%d.%m.%Y", "%d %B %Y", "%d-%b-%Y", "%B %d, %Y"]
    ),
    st.sampled_from(["", " 10:30", "T10:30:00Z"]),
)
def test_a_day_reads_back(day: date, form: str, time: str) -> None:
    """In six forms, with or without a time behind it."""
    assert day == day_in(day.strftime(form) + time)


@pytest.mark.parametrize(
    "text",
    [
        *("", "03/04/2026", "3-4-2026", "2026-02-30", "31.04.2026", "May 2026"),
        *("yesterday", "5 Foo 2026", "2026", "20260503", "03.04.26"),
    ],
)
def test_what_could_be_two_days_is_none(text: str) -> None:
    """Day and month that could be swapped, days that do not exist, two-digit years."""
    assert None is day_in(text)
