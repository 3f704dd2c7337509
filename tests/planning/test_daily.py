"""Totals of a day, the highest day, and the way to the ceiling."""

from dataclasses import replace
from datetime import date

import pytest

from slackwater.errors import InputError
from slackwater.facts.plan import Plan
from slackwater.facts.tank import AlkalinityGuard, Machine, Outside
from slackwater.planning.daily import (
    added_by_pumps,
    fullest_day_ul,
    highest_daily_ul,
    hours_to_ceiling,
    most_added,
    per_day,
)
from slackwater.planning.timetable import Timetable
from tests.planning.plans import NOON, line, machine, plan, with_tank

MONDAY = date(2026, 5, 4)
GUARD = AlkalinityGuard(
    ceiling=3.5,
    floor=2.4,
    rise=0.3,
    fall=0.3,
    spread=0.2,
    hysteresis=0.1,
    good_readings=3,
    hold_at_least_s=1800.0,
)
ASKED = plan(
    line(per_day_ul=24_007),
    line("lye", 3_000, 3),
    line("calcium", 10_001, 2, weekdays=("mon",)),
    line("trace", 700, 1, tank="lagoon"),
)


def test_totals_are_summed_by_pump_and_parameter() -> None:
    """Volumes by pump, effects over all pumps and outside sources."""
    limewater = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=5)
    elsewhere = replace(limewater, tank="lagoon", per_day=10**9)
    made = replace(machine(), outside=(limewater, elsewhere))

    totals = per_day(ASKED, made, "reef", MONDAY)

    assert totals.volumes_ul == {
        "calcium-reef": 10_001,
        "carbonate-reef": 24_007,
        "lye-reef": 3_000,
    }
    assert totals.effects == {
        "alkalinity": 24_007 * 1_887_000 + 3_000 * 1_000_000 + 5,
        "calcium": 10_001 * 20_000_000,
    }
    assert totals.volume_ul == 24_007 + 3_000 + 10_001


def test_totals_of_a_changed_day_are_those_of_any_other() -> None:
    """The days of 23 and 25 hours add what every Sunday adds."""
    days = (date(2026, 3, 22), date(2026, 3, 29), date(2026, 10, 25))

    assert (
        len(
            {
                tuple(per_day(ASKED, machine(), "reef", day).effects.items())
                for day in days
            }
        )
        == 1
    )


def test_highest_day_is_of_one_tank() -> None:
    """The largest local day counts all pumps of one tank, not of both."""
    assert highest_daily_ul(ASKED, machine()) == 24_007 + 3_000 + 10_001


def test_the_fullest_day_is_of_each_pump_by_itself() -> None:
    """Monday's calcium and Tuesday's magnesium both count; an idle pump has 0."""
    asked = plan(
        line("calcium", 10_001, 2, weekdays=("mon",)),
        line("magnesium", 500, 1, weekdays=("tue",)),
        line("magnesium", 700, 1, id="more", weekdays=("tue", "wed"), windows=(NOON,)),
        line("trace", 700, 1, tank="lagoon"),
    )

    assert fullest_day_ul(asked, machine()) == {
        **dict.fromkeys(machine().pumps, 0),
        "calcium-reef": 10_001,
        "magnesium-reef": 1_200,
        "trace-lagoon": 700,
    }


def test_the_most_that_comes_of_a_parameter_is_of_its_own_day() -> None:
    """By tank; what comes from outside is in every day of it."""
    asked = plan(
        line(per_day_ul=1_000, count=1, weekdays=("mon",)),
        line("lye", 3_000, 3, weekdays=("tue",)),
        line("calcium", 2_000, 2),
        line("trace", 700, 1, tank="lagoon"),
    )
    lime = Outside(id="lime", tank="reef", parameter="calcium", per_day=5)
    made = replace(machine(), outside=(lime,))

    assert most_added(Timetable(asked, made)) == {
        ("reef", "alkalinity"): 3_000 * 1_000_000,
        ("reef", "calcium"): 2_000 * 20_000_000 + 5,
    }


def test_highest_day_of_nothing_is_nothing() -> None:
    """A plan without doses has no highest day."""
    over = plan(line(last_day=date(2026, 1, 1), first_day=date(2026, 1, 1)))

    assert (
        highest_daily_ul(plan(), machine()),
        highest_daily_ul(over, machine()),
    ) == (0, 0)


def test_totals_of_a_faulty_line_are_refused() -> None:
    """No figure is given for a plan that cannot be laid out."""
    with pytest.raises(InputError):
        per_day(plan(line(count=0)), machine(), "reef", MONDAY)


def guarded(target: float | None) -> Machine:
    """A machine whose tank has a ceiling of 3.5 meq/L."""
    targets = {} if target is None else {"alkalinity": target}
    made = with_tank(machine(), targets=targets)
    return replace(made, guards={"reef": GUARD})


def test_hours_to_the_ceiling_follow_from_what_is_added() -> None:
    """By hand: 0.7 meq/L in 250 L are 175 meq; 24 mL of 1.887 meq/mL a day."""
    asked = plan(line())

    hours = hours_to_ceiling(asked, guarded(2.8), "reef")

    assert pytest.approx(175 / (24 * 1.887) * 24) == hours


def test_a_target_above_its_ceiling_leaves_no_time() -> None:
    """The way is never negative."""
    assert hours_to_ceiling(plan(line()), guarded(3.6), "reef") == 0.0


@pytest.mark.parametrize(
    ("made", "asked", "tank"),
    [
        (machine(), plan(line()), "reef"),
        (guarded(None), plan(line()), "reef"),
        (guarded(2.8), plan(line("trace")), "reef"),
        (guarded(2.8), plan(line("trace")), "lagoon"),
    ],
)
def test_without_ceiling_target_or_addition_there_is_no_way(
    made: Machine, asked: Plan, tank: str
) -> None:
    """Nothing is made up where a figure is missing."""
    assert hours_to_ceiling(asked, made, tank) is None


def test_what_pumps_add_leaves_outside_sources_out() -> None:
    """The largest day: calcium comes on Mondays alone, and limewater is no pump."""
    limewater = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=5)
    made = replace(machine(), outside=(limewater,))
    found = added_by_pumps(Timetable(ASKED, made))
    assert 24_007 * 1_887_000 + 3_000 * 1_000_000 == found["reef", "alkalinity"]
    assert 10_001 * 20_000_000 == found["reef", "calcium"]
    # What a lagoon's pump gives adds nothing that is counted.
    assert {"reef"} == {tank for tank, _ in found}
