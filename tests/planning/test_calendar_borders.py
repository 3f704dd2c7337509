"""The very days and amounts at which changes, calendar and exchanges turn."""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from slackwater.facts.exchanges import Exchange
from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import EffectCap, Machine, Outside
from slackwater.planning.amounts import amounts_words
from slackwater.planning.ceilings import ceilings, check
from slackwater.planning.changes import changes, touched_pumps
from slackwater.planning.daily import hours_to_ceiling
from slackwater.planning.days import checked_days
from slackwater.planning.faults import line_faults
from tests.planning.plans import (
    STARTS,
    line,
    machine,
    plan,
    with_node,
    with_pump,
    with_tank,
)
from tests.planning.test_daily import guarded
from tests.turn.pairs import PAIR, PORTION_UL, lines, paired, plan_of

MACHINE = machine("UTC")


def offsets(*of: PlanLine) -> list[int]:
    """The checked days of these lines, counted from the start, in UTC."""
    days = checked_days(plan(*of), "reef", ZoneInfo("UTC"))
    return [(day - STARTS).days for day in days]


def told(per_day_ul: int, count: int, made: Machine | None = None) -> list[str]:
    """What is wrong with an exchange, and what to do about it."""
    asked = plan_of(*lines(per_day_ul, count))
    found = [fault.finding for fault in line_faults(asked, made or paired())]
    return [f"{one.what} {one.do}" for one in found]


def settling(settle_s: float) -> Machine:
    """The machine of the exchange whose water rests so long."""
    resting: Exchange = replace(PAIR, settle_s=settle_s)
    return replace(paired(), exchanges={"water": resting})


def test_amounts_are_told_apart_by_as_few_digits_as_can_be() -> None:
    """400.013 and 400.021 mg/L in 250 L differ in the fifth digit."""
    tank = machine().tanks["reef"]
    most, more = (400_013 * 250 * 10**6, 400_021 * 250 * 10**6)
    assert ("400.01 mg/L", "400.02 mg/L") == amounts_words(
        (most, more), "calcium", tank
    )


def test_a_node_is_held_to_hours_and_never_to_a_day() -> None:
    """The eleventh hourly millilitre of the first day is too much in 25 hours."""
    small = with_node(MACHINE, day_limit_ul=10_000)
    (found,) = check(plan(line()), small)
    assert (
        "reef/carbonate@2026-01-05#11 asks for 11 mL in the 25 h before it, earlier "
        "doses begun as late as they may"
    ) == found.what


def test_what_comes_from_outside_is_part_of_what_breaks_a_cap() -> None:
    """One millilitre of 1.887 meq/mL and one meq from outside."""
    lime = Outside(id="lime", tank="reef", parameter="alkalinity", per_day=10**9)
    capped = with_tank(MACHINE, caps={"alkalinity": EffectCap(gross=2 * 10**9)})
    made = replace(capped, outside=(lime,))
    (broken,) = ceilings(plan(line()), made).broken
    assert 1_887_000_000 + 10**9 == broken.found


def test_what_is_new_stands_before_what_grew_a_hundredfold() -> None:
    """A new pump is first, whatever else grows."""
    before = plan(line("calcium", per_day_ul=1_000, count=1))
    after = plan(line("calcium", per_day_ul=100_000), line("magnesium", 1_000, 1))
    found = changes((before, MACHINE), (after, MACHINE))
    assert [None, None, 100, 100] == [change.ratio for change in found]


def test_one_effect_of_two_makes_another_solution() -> None:
    """A carbonate with a tenth more calcium in it, and as much alkalinity."""

    def mixed(calcium: int) -> Machine:
        known = MACHINE.solutions["carbonate"]
        effects = {**known.effects, "calcium": calcium}
        made = {**MACHINE.solutions, "carbonate": replace(known, effects=effects)}
        return replace(MACHINE, solutions=made)

    found = touched_pumps(mixed(1_000), mixed(1_100), plan(line()))
    assert {"carbonate-reef": ("its solution changed by more than 5 %",)} == found


def test_a_tank_without_lines_has_no_way_to_its_ceiling() -> None:
    """Where nothing is added there are no hours, not even very many."""
    elsewhere = plan(line(tank="lagoon"))
    assert hours_to_ceiling(elsewhere, guarded(2.8), "reef") is None


def test_a_week_and_four_days_meet_on_twenty_eight() -> None:
    """Mondays and every fourth day from a Monday on.

    By hand: both on day 0; the one of four days alone on 4, the Monday alone on 7, one
    right behind the other on 8 (7) and 21 (20), with a day between on 14 (12) and on
    16 (14); on 28 both again.
    """
    assert [0, 4, 7, 8, 14, 16, 21] == offsets(
        line(every_days=4), line("calcium", weekdays=("mon",))
    )


@pytest.mark.parametrize(("every_days", "is_checked"), [(365, True), (366, False)])
def test_after_a_year_only_what_meets_more_is_checked(
    every_days: int, is_checked: bool
) -> None:
    """A line that comes alone after a year: on day 0 it met the one of nine days.

    By hand: that one doses on day 360 and 369, not on the three days looked at.
    """
    found = offsets(line(every_days=every_days), line("calcium", every_days=9))
    assert is_checked == (every_days in found)


def test_a_single_portion_is_as_small_as_any() -> None:
    """Once a day, and a millilitre more than a thousandth of 300 L."""
    found = told(301_000, 1)
    assert 2 == sum("a portion of 301000 µL" in one for one in found)


def test_as_many_portions_are_asked_for_as_make_each_small_enough() -> None:
    """3 001 mL by 300 mL are eleven."""
    found = told(3_001_000, 10)
    assert 2 == sum("Give at least 11 portions a day." in one for one in found)


def test_the_slowest_of_pumps_is_told_its_way() -> None:
    """A nanolitre a second is a flow: 100 mL take a hundred million seconds, and more.

    That is no room in six hours.
    """
    made = with_pump(paired(), "out", rate_nl_per_s=1)
    found = told(10 * PORTION_UL, 10, made)
    assert 2 == sum("10 portions in 21600 s" in one for one in found)


def test_shares_that_are_just_long_enough_have_room() -> None:
    """75 times four ways of 8 + 64 seconds are six hours; a second more is too long."""
    assert timedelta(hours=6).total_seconds() == 75 * 4 * (8 + 64)
    assert [] == told(75 * PORTION_UL, 75, settling(64.0))
    assert 2 == sum(
        "75 portions in" in one for one in told(75 * PORTION_UL, 75, settling(65.0))
    )
