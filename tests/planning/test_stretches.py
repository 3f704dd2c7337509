"""Stretches in which the same lines give, against calendars kept by hand."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from slackwater.facts.plan import PlanLine
from slackwater.planning.stretches import day_in, gives, is_over, stretches
from tests.planning.plans import line

BERLIN = "Europe/Berlin"
STARTS = date(2026, 5, 1)
UPKEEP = replace(line(), id="upkeep")


def on(name: str, first: date | None, last: date | None) -> PlanLine:
    """A line of these days."""
    return replace(line(), id=name, first_day=first, last_day=last)


def told(
    begins: datetime, *lines: PlanLine, starts: date = STARTS
) -> list[tuple[float | None, list[str]]]:
    """The stretches by the names of their lines; days to four places."""
    found = stretches(lines, starts, BERLIN, begins)
    return [
        (None if span is None else round(span, 4), [one.id for one in giving])
        for span, giving in found
    ]


def test_lines_that_never_change_are_one_stretch_without_an_end() -> None:
    """And so is a plan that gives nothing."""
    noon = datetime(2026, 5, 3, 12, tzinfo=UTC)
    assert [(None, ["upkeep"])] == told(noon, UPKEEP)
    assert [(None, [])] == told(noon)


def test_a_correction_ends_with_the_midnight_of_its_last_day() -> None:
    """Noon in UTC is two in the afternoon there: ten hours are left of today."""
    noon = datetime(2026, 5, 3, 12, tzinfo=UTC)
    today = on("up", None, date(2026, 5, 3))
    assert [(round(10 / 24, 4), ["upkeep", "up"]), (None, ["upkeep"])] == told(
        noon, UPKEEP, today
    )
    later = on("up", date(2026, 5, 4), date(2026, 5, 5))
    assert [
        (round(10 / 24, 4), ["upkeep"]),
        (2.0, ["upkeep", "up"]),
        (None, ["upkeep"]),
    ] == told(noon, UPKEEP, later)


def test_steps_follow_each_other_without_a_gap() -> None:
    """The last day of one and the first of the next are one change."""
    midnight = datetime(2026, 5, 2, 22, tzinfo=UTC)
    first = on("one", None, date(2026, 5, 4))
    second = on("two", date(2026, 5, 5), None)
    assert [(2.0, ["one"]), (None, ["two"])] == told(midnight, first, second)


def test_nothing_gives_before_the_plan_starts() -> None:
    """Whatever the first day of a line says."""
    early = on("early", date(2026, 4, 1), None)
    begins = datetime(2026, 4, 29, 22, tzinfo=UTC)
    assert [(1.0, []), (None, ["upkeep", "early"])] == told(begins, UPKEEP, early)


def test_a_day_on_which_clocks_change_has_an_hour_less_or_more() -> None:
    """29 March 2026 has 23 hours there, 25 October has 25."""
    for midnight, last, hours in (
        (datetime(2026, 3, 28, 23, tzinfo=UTC), date(2026, 3, 29), 23),
        (datetime(2026, 10, 24, 22, tzinfo=UTC), date(2026, 10, 25), 25),
    ):
        (span, _), _ = told(midnight, on("up", None, last), starts=date(2026, 1, 1))
        assert round(hours / 24, 4) == span


@pytest.mark.parametrize(
    ("shift", "expected"),
    [(-2, (False, False)), (-1, (True, False)), (1, (True, False)), (2, (False, True))],
)
def test_first_and_last_day_are_days_of_a_line(
    shift: int, expected: tuple[bool, bool]
) -> None:
    """The day before the first it gives not yet, the day after the last no more."""
    middle = date(2026, 5, 10)
    one = on("up", middle - timedelta(days=1), middle + timedelta(days=1))
    day = middle + timedelta(days=shift)
    assert expected == (gives(one, day, STARTS), is_over(one, day))


def test_a_line_without_an_end_is_never_over() -> None:
    """It gives on every day from the plan's first one on."""
    assert not is_over(UPKEEP, date(2099, 1, 1))
    assert gives(UPKEEP, STARTS, STARTS)
    assert not gives(UPKEEP, STARTS - timedelta(days=1), STARTS)


def test_the_day_is_that_of_the_tanks_clock() -> None:
    """Half past ten in the evening in UTC is tomorrow there."""
    assert date(2026, 5, 4) == day_in(BERLIN, datetime(2026, 5, 3, 22, 30, tzinfo=UTC))
