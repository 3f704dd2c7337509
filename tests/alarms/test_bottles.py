"""When a bottle is told to be low: by the doses that are still to come from it."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.alarms.conditions import Condition
from slackwater.alarms.paper import paper
from slackwater.facts.alarms import Cause
from slackwater.facts.limits import LIMITS
from slackwater.facts.plan import PlanLine, Purpose
from slackwater.facts.state import Fill
from slackwater.gate.moment import rules_for
from tests.alarms.desk import Desk
from tests.alarms.test_conditions import measured
from tests.gate.scene import APPROVAL, TODAY, machine, plan

# Both pumps of the scene draw 48 mL a day from one bottle.
PER_DAY_UL = 96_000


def line(name: str, per_day_ul: int, first: int, last: int | None) -> PlanLine:
    """A line of carbonate from one day to another, counted from today."""
    return replace(
        plan().lines[0],
        id=name,
        group="",
        purpose="maintenance" if last is None else "correction",
        per_day_ul=per_day_ul,
        first_day=TODAY + timedelta(days=first),
        last_day=None if last is None else TODAY + timedelta(days=last),
    )


def low(left_ul: int, *more: PlanLine, alone: bool = False) -> list[Condition]:
    """What is told of the bottle with so much in it; `alone`: no other lines draw."""
    base = machine()
    one = replace(base.reservoirs["one"], content_ul=left_ul)
    base = replace(base, reservoirs={"one": one})
    desk = Desk(base)
    lines = more if alone else (*plan().lines, *more)
    rules = rules_for(desk.moment.machine, replace(plan(), lines=lines))
    found = paper(replace(desk.moment, rules=rules))
    bottles = (Cause.RESERVOIR_LOW, Cause.RESERVOIR_EMPTY)
    return [one for one in found if one.cause in bottles]


@pytest.mark.parametrize(("first", "last"), [(-9, -1), (0, 1), (0, 6), (7, 20)])
@pytest.mark.parametrize("less_ul", [0, 1])
def test_a_correction_draws_on_its_own_days_and_on_no_other(
    first: int, last: int, less_ul: int
) -> None:
    """A week of the plan and what falls into it of 40 mL a day: just enough, or not."""
    days = len(range(max(first, 0), min(last, 6) + 1))
    enough_ul = 7 * PER_DAY_UL + days * 40_000
    found = low(enough_ul - less_ul, line("up", 40_000, first, last))
    assert [Cause.RESERVOIR_LOW] * less_ul == [one.cause for one in found]


def test_the_days_that_are_told_are_those_of_the_doses() -> None:
    """Two days with 40 mL more and 2.5 without: 4.5, and not 3.8 as if it went on."""
    left_ul = round(4.5 * PER_DAY_UL) + 2 * 40_000
    (found,) = low(left_ul, line("up", 40_000, 0, 1))
    assert (4.5, "note") == (found.figures["days"], found.least)
    (soon,) = low(left_ul - 2 * PER_DAY_UL, line("up", 40_000, 0, 1))
    assert (2.5, "soon") == (soon.figures["days"], soon.least)


def test_what_begins_within_the_week_is_drawn_from_its_day_on() -> None:
    """Twice as much from the day after tomorrow on: six days' worth are four."""
    (found,) = low(6 * PER_DAY_UL, line("more", PER_DAY_UL, 2, None))
    assert 4.0 == found.figures["days"]


def test_steps_of_a_proposal_are_drawn_one_after_the_other() -> None:
    """Three of them, each for its own days: as one line that never changes."""
    steps = [
        replace(line(f"step-{n}", 48_000, 3 * n, 3 * n + 2), purpose="maintenance")
        for n in range(-1, 2)
    ]
    last = line("step-2", 48_000, 6, None)
    assert [] == low(7 * 48_000, *steps, last, alone=True)
    (found,) = low(7 * 48_000 - 4_800, *steps, last, alone=True)
    assert 6.9 == found.figures["days"]


def test_a_bottle_of_which_all_lines_end_before_it_is_told_by_nobody() -> None:
    """Two doses of a day are left of it when its last line ends; then nothing draws."""
    assert [] == low(2 * 40_000 + 4_000, line("up", 40_000, 0, 1), alone=True)
    assert [] == low(0, line("up", 40_000, -3, -1), alone=True)
    (found,) = low(40_000, line("up", 40_000, 0, 1), alone=True)
    assert (Cause.RESERVOIR_LOW, 1.0) == (found.cause, found.figures["days"])


def test_a_dose_that_is_over_makes_no_bottle_empty() -> None:
    """24 mL do not cover a dose of 50, of which the last was given yesterday."""
    big = replace(line("up", 50_000, -9, -1), count=1)
    assert [Cause.RESERVOIR_LOW] == [one.cause for one in low(24_000, big)]
    today = replace(big, last_day=TODAY)
    assert [Cause.RESERVOIR_EMPTY] == [one.cause for one in low(24_000, today)]


@pytest.mark.parametrize(("last", "is_told"), [(3, True), (-1, False)])
def test_a_bottle_too_low_for_corrections_is_told_though_it_lasts(
    last: int, *, is_told: bool
) -> None:
    """A tenth of it is left, enough for a month: upkeep goes on and corrections end."""
    base = machine()
    one = replace(base.reservoirs["one"], content_ul=50_000_000, low_ul=5_000_000)
    desk = Desk(replace(base, reservoirs={"one": one}), reads=None)
    lines = (*plan().lines, line("up", 40_000, -9, last))
    rules = rules_for(desk.moment.machine, replace(plan(), lines=lines))
    at = replace(desk.moment, rules=rules)
    for left_ul, expected in ((5_000_001, False), (5_000_000, is_told)):
        at.state.fills["one"] = Fill(content_ul=left_ul, mixed_at=None)
        found = [one for one in paper(at) if one.cause is Cause.RESERVOIR_LOW]
        assert ([frozenset({"reef/up"})] if expected else []) == [
            one.stops for one in found
        ]
        assert all(one.tanks == ("reef",) for one in found)
    # Of a bottle whose fill nobody wrote down the gate judges nothing.
    at.state.fills.clear()
    assert [] == [one for one in paper(at) if one.cause is Cause.RESERVOIR_LOW]


@pytest.mark.parametrize(
    ("age_days", "purpose", "stops"),
    [
        (29, "correction", None),
        (30, "correction", {"reef/up"}),
        (30, "maintenance", None),
        (80, "maintenance", set()),
        (80, "correction", {"reef/up"}),
    ],
)
def test_a_calibration_too_old_for_corrections_is_told(
    age_days: int, purpose: Purpose, stops: set[str] | None
) -> None:
    """The file lets them end after thirty days, long before it is due for upkeep."""
    base = replace(
        machine(), limits={"reef": replace(LIMITS, calibration_ends_s=A_MONTH_S)}
    )
    desk = Desk(base, reads=None)
    up = replace(line("up", 2_000, -40, 40), purpose=purpose)
    rules = rules_for(desk.moment.machine, replace(plan(), lines=(*plan().lines, up)))
    desk.moment = replace(desk.moment, rules=rules)
    measured(desk, timedelta(days=age_days))
    approval = replace(APPROVAL, calibrations={"carbonate": "77aa01cf"})
    found = [
        one
        for one in paper(replace(desk.moment, approval=approval))
        if one.cause is Cause.CALIBRATION_DUE
    ]
    assert ([] if stops is None else [stops]) == [set(one.stops) for one in found]


# Thirty days, in seconds.
A_MONTH_S = 30 * 86_400.0
