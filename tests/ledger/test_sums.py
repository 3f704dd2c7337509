"""Which sums of days count: those that no clock ahead of the truth had made."""

from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import AnyEvent
from tests.ledger.pasts import BEGIN, HOUR, add_up, ledger_of, past
from tests.ledger.years import DAY, FIRST_DAY, Household, day_of


def test_a_sum_counts_from_the_moment_it_is_written(tmp_path: Path) -> None:
    """Read to that very moment, or to one before it, a day says the same."""
    written = BEGIN + DAY + 4 * HOUR
    with ledger_of(tmp_path, *day_of(Household(), FIRST_DAY)) as ledger:
        assert 1 == len(add_up(ledger, written))
        found = [
            past(ledger, until=until)
            for until in (written - timedelta(microseconds=1), written)
        ]

    assert found[0].deliveries
    assert found[0].deliveries == found[1].deliveries
    assert found[0].probe_days == found[1].probe_days


@pytest.mark.parametrize("settled", [False, True])
def test_h38_a_clock_that_was_ahead_adds_up_no_day_to_come(
    tmp_path: Path, *, settled: bool
) -> None:
    """It ran four days ahead for a while: the days it summed are read as they were.

    Before their own sums are written, and after, when its time has come as well.
    """
    days = [day_of(Household(), FIRST_DAY + n * DAY) for n in range(3)]
    (tmp_path / "true").mkdir()
    (tmp_path / "astray").mkdir()
    with ledger_of(tmp_path / "true", *days[0], *days[1], *days[2]) as ledger:
        expected = past(ledger)
    with ledger_of(tmp_path / "astray", *days[0]) as ledger:
        wrong = add_up(ledger, BEGIN + 4 * DAY + 4 * HOUR)
        ledger.append(sorted([*days[1], *days[2]], key=lambda event: event.at))
        if settled:
            again = add_up(ledger, BEGIN + 3 * DAY + 4 * HOUR)
            assert [one.day for one in wrong[:3]] == [one.day for one in again]
        until = BEGIN + (5 if settled else 3) * DAY
        found = past(ledger, until=until)
    assert 4 == len(wrong)
    assert (expected.deliveries, expected.probe_days) == (
        found.deliveries,
        found.probe_days,
    )


def test_h38_what_was_written_on_a_day_ahead_is_counted_once(tmp_path: Path) -> None:
    """A clock ahead wrote down half a day to come, and added it up."""
    days = [day_of(Household(), FIRST_DAY + n * DAY) for n in range(4)]
    early, late = split(days[3])
    (tmp_path / "true").mkdir()
    (tmp_path / "astray").mkdir()
    with ledger_of(tmp_path / "true", *days[0], *days[1], *days[2], *days[3]) as ledger:
        expected = past(ledger)
    with ledger_of(tmp_path / "astray", *days[0], *early) as ledger:
        wrong = add_up(ledger, BEGIN + 4 * DAY + 4 * HOUR)
        assert FIRST_DAY + 3 * DAY == wrong[-1].day
        ledger.append([*days[1], *days[2], *late])
        add_up(ledger, BEGIN + 3 * DAY + 4 * HOUR)
        found = past(ledger)
    assert expected.probe_days == found.probe_days
    assert expected.deliveries == found.deliveries
    assert expected.unknown_share == found.unknown_share


def split(day: list[AnyEvent]) -> tuple[list[AnyEvent], list[AnyEvent]]:
    """What was written before noon, and after it."""
    noon = min(event.at for event in day) + 12 * HOUR
    return (
        [event for event in day if event.at < noon],
        [event for event in day if event.at >= noon],
    )
