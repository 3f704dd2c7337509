"""The two lines of an exchange on a calendar: each fill within its drain's share."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from slackwater.facts.exchanges import drain_of, most_portion_ul
from slackwater.facts.plan import PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.planning.faults import line_faults
from slackwater.planning.timetable import Timetable
from tests.planning.plans import with_pump
from tests.turn.pairs import NET_UL, PORTION_UL, lines, paired, plan_of

# 100 mL at 1 L a minute flow 7.2 s at most (120 %), rounded up; then a minute of rest.
LAG = timedelta(seconds=8 + 60)


def wrong(*of: PlanLine, made: Machine | None = None) -> list[str]:
    """What is wrong with these lines."""
    return [one.finding.what for one in line_faults(plan_of(*of), made or paired())]


# A plain day, and both clock changes of Berlin (IANA time zone database).
@pytest.mark.parametrize(
    "day", [date(2026, 5, 4), date(2026, 10, 25), date(2027, 3, 28)]
)
def test_a_fill_is_due_when_its_drain_has_come_to_rest(day: date) -> None:
    """By a fixed lag, each of its own drain, and before the next one."""
    doses = Timetable(plan_of(*lines()), paired()).day("reef", day).doses
    assert ["daily-out", "daily-in"] * 10 == [dose.line for dose in doses]
    due = {dose.id: dose for dose in doses}
    for dose in doses[1::2]:
        drain = due[drain_of(dose.id)]
        assert dose.due_at - drain.due_at == LAG
        assert dose.volume_ul == drain.volume_ul


def test_a_sound_exchange_has_no_fault() -> None:
    """Ten portions of 100 mL in six hours."""
    assert [] == wrong(*lines())


@pytest.mark.parametrize(
    "change",
    [
        {"per_day_ul": 9 * PORTION_UL},
        {"count": 9},
        {"windows": (Window(start_minute=0, end_minute=600),)},
        {"every_days": 2},
        {"first_day": date(2026, 5, 10)},
        {"id": "daily-back"},
    ],
)
def test_halves_that_do_not_agree_are_refused(change: dict[str, object]) -> None:
    """In amount, number, window, days or name: both are told."""
    out, back = lines()
    other = replace(back, **change)  # type: ignore[arg-type]  # fields of a line
    assert 2 == sum("half of the exchange" in what for what in wrong(out, other))


def test_half_an_exchange_or_two_are_refused() -> None:
    """A drain alone, a fill alone, and a pair that serves two exchanges."""
    out, back = lines()
    assert ["half of the exchange" in what for what in wrong(out)] == [True]
    assert ["half of the exchange" in what for what in wrong(back)] == [True]
    again = (replace(out, id="more-out"), replace(back, id="more-in"))
    assert 4 == sum("half of" in what for what in wrong(out, back, *again))


def test_a_portion_is_a_thousandth_of_the_water_at_most() -> None:
    """300 mL of 300 L, and not a millilitre more."""
    assert 300_000 == most_portion_ul(NET_UL)
    assert [] == wrong(*lines(3_000_000, 10))
    assert 2 == sum("a portion of" in what for what in wrong(*lines(3_001_000, 10)))


@pytest.mark.parametrize(
    ("out", "drain", "told"),
    [
        ({"count": 0}, {}, "0 doses"),
        ({"tank": "pond"}, {}, "pond"),
        ({}, {"rate_nl_per_s": 0}, "0 nL/s"),
    ],
)
def test_what_has_no_portion_is_told_as_what_it_is(
    out: dict[str, object], drain: dict[str, object], told: str
) -> None:
    """No dose, no tank or no flow: that is told, and no portion is worked out."""
    first, back = lines()
    line = replace(first, **out)  # type: ignore[arg-type]  # fields of a line
    found = wrong(line, back, made=with_pump(paired(), first.pump, **drain))
    assert any(told in what for what in found), found
    assert not any("a portion of" in what for what in found)


def test_a_share_has_room_for_both_and_more() -> None:
    """Four times the way from drain to fill: 79 portions fit six hours, 80 do not."""
    assert [] == wrong(*lines(79 * PORTION_UL, 79))
    assert 2 == sum(
        "portions in" in what for what in wrong(*lines(80 * PORTION_UL, 80))
    )


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"purpose": "correction"}, "an exchange that corrects"),
        ({"group": "both"}, "an exchange that corrects"),
        ({"windows": ()}, "an exchange with 0 windows"),
    ],
)
def test_an_exchange_is_plain_upkeep_in_one_window(
    change: dict[str, object], expected: str
) -> None:
    """It is in no ratio with anything else."""
    both = [replace(one, **change) for one in lines()]  # type: ignore[arg-type]  # fields
    assert 2 == sum(what.startswith(expected) for what in wrong(*both))
