"""Lines that a pump can give, sized one by one."""

from dataclasses import replace
from datetime import timedelta
from math import ceil

import pytest

from slackwater.assessment.knobs import Knob, knobs_of
from slackwater.assessment.sizing import Portion, line_for, most_per_dose_ul
from slackwater.facts.plan import PlanLine, Window
from slackwater.facts.tank import Solution
from tests.assessment.reefs import TODAY, line, machine, plan

UPKEEP = Portion(id="carbonate", per_day_ul=30_000)


def knob(*lines: PlanLine, solution: Solution | None = None, **changes: int) -> Knob:
    """The carbonate pump of the invented tank, with these lines."""
    made = machine()
    used = replace(made.pumps["carbonate"], **changes)  # type: ignore[arg-type]  # whole figures
    given = {**made.solutions, "carbonate": solution or made.solutions["carbonate"]}
    changed = replace(made, pumps={"carbonate": used}, solutions=given)
    return knobs_of(changed, "reef", plan(*lines), TODAY, {}).by_pump["carbonate"]


def test_more_doses_than_a_day_may_have_are_no_line() -> None:
    """30 mL by 0.3 mL is a hundred doses; by 0.4 mL it is 75."""
    assert None is line_for(knob(per_dose_ul=300), UPKEEP)
    laid = line_for(knob(per_dose_ul=400), UPKEEP)
    assert laid is not None
    assert (75, 30_000) == (laid.count, laid.per_day_ul)


def test_a_pump_that_may_give_less_than_it_can_gives_nothing() -> None:
    """Its smallest reliable dose lies above its cap for one."""
    little = replace(UPKEEP, per_day_ul=2_000)
    assert None is line_for(knob(per_dose_ul=199, smallest_dose_ul=200), little)
    laid = line_for(knob(per_dose_ul=200, smallest_dose_ul=200), little)
    assert laid is not None
    assert (10, 2_000) == (laid.count, laid.per_day_ul)


def test_a_cycle_longer_than_a_month_is_no_line() -> None:
    """6 µL a day by 200 µL is a dose each 34 days; 10 µL one each 20 days."""
    assert None is line_for(knob(), replace(UPKEEP, per_day_ul=6.0))
    laid = line_for(knob(), replace(UPKEEP, per_day_ul=10.0))
    assert laid is not None
    assert (20, 200, 1) == (laid.every_days, laid.per_day_ul, laid.count)


def test_a_group_keeps_its_ratio_or_has_no_line() -> None:
    """A portion to the microlitre is neither rounded nor given on fewer days."""
    exact = replace(UPKEEP, per_day_ul=30_007, exact=True)
    laid = line_for(knob(), exact)
    assert laid is not None
    assert 30_007 == laid.per_day_ul
    assert None is line_for(knob(), replace(exact, per_day_ul=199))


def test_a_correction_lies_between_the_doses_of_upkeep() -> None:
    """Half a share in from both ends; a window that is all end is left out.

    Four doses in 11 h 40 min and 40 min: a share of 185 minutes.
    """
    windows = (
        Window(start_minute=0, end_minute=700),
        Window(start_minute=1400, end_minute=1440),
    )
    upkeep = line("carbonate", 4_000, count=4, windows=windows)
    wanted = replace(UPKEEP, id="up", per_day_ul=3_000, purpose="correction")
    laid = line_for(knob(upkeep), wanted)
    assert laid is not None
    assert (3, (Window(start_minute=92, end_minute=647),)) == (laid.count, laid.windows)


@pytest.mark.parametrize(("smallest_ul", "given_ul"), [(200, 200), (203, None)])
def test_a_correction_of_one_dose_is_no_larger_than_a_dose_may_be(
    smallest_ul: int, given_ul: int | None
) -> None:
    """205 µL at most are 200 as people read them; a pump that gives 203 has no line."""
    upkeep = line("carbonate", 410, count=2)
    wanted = replace(UPKEEP, id="up", per_day_ul=1_000, purpose="correction")
    pump = knob(upkeep, per_dose_ul=205, smallest_dose_ul=smallest_ul)
    laid = line_for(pump, wanted)
    assert given_ul == (None if laid is None else laid.per_day_ul)


@pytest.mark.parametrize(
    ("hydroxide", "ions", "dkh"),
    # What carries it says how much at once: 0.1, 0.2 and 0.3 dKH, common practice.
    [
        (True, ("Na", "OH"), 0.1),
        (False, ("Na", "CO3"), 0.2),
        (False, ("Na", "HCO3", "CO3"), 0.2),
        (False, ("Na", "HCO3"), 0.3),
    ],
)
def test_what_carries_alkalinity_says_how_much_at_once(
    *, hydroxide: bool, ions: tuple[str, ...], dkh: float
) -> None:
    """200 L and 2 meq/mL: 10.0 mL lift 0.1 meq/L; a dKH is 20/56.077 meq/L."""
    made = Solution(
        id="carbonate",
        name="",
        effects={"alkalinity": 2_000_000},
        ions=ions,
        hydroxide=hydroxide,
    )
    most_ul = dkh * 20 / 56.077 * 200 / 2 * 1000
    assert int(most_ul) == most_per_dose_ul(knob(solution=made, per_dose_ul=0))
    assert 900 == most_per_dose_ul(knob(solution=made, per_dose_ul=900))


@pytest.mark.parametrize("doses", [1, 2, 4, 12])
@pytest.mark.parametrize("per_dose_ul", [1_500, 12_000])
def test_a_correction_between_few_doses_gives_none_beyond_its_cap(
    doses: int, per_dose_ul: int
) -> None:
    """Between two doses there is room for one: the correction becomes smaller."""
    upkeep = line("carbonate", 12_000, count=doses)
    found = knob(upkeep, per_dose_ul=per_dose_ul)
    wanted = replace(UPKEEP, id="up", per_day_ul=16_000, purpose="correction")
    laid = line_for(found, wanted)
    assert laid is not None
    assert 0 < laid.per_day_ul <= min(laid.count * most_per_dose_ul(found), 16_000)


def test_a_correction_that_rounds_below_the_smallest_dose_is_no_line() -> None:
    """One dose of 205 µL at most and at least, which rounds down to 200."""
    wanted = replace(UPKEEP, id="up", per_day_ul=4_100, purpose="correction")
    upkeep = line("carbonate", 12_000, count=1)
    found = knob(upkeep, per_dose_ul=205, smallest_dose_ul=205)
    assert None is line_for(found, wanted)
    laid = line_for(knob(upkeep, per_dose_ul=205, smallest_dose_ul=200), wanted)
    assert laid is not None
    assert (200, 1) == (laid.per_day_ul, laid.count)


@pytest.mark.parametrize(
    ("per_day_ul", "days", "every", "dose_ul"),
    [
        # 200 µL at least: 14 days of 150 are ten such doses, of 210 each.
        (150, 14, 2, 300),
        (100, 14, 2, 200),
        (90, 14, 3, 252),
        (50, 14, 5, 233),
        (30, 14, 7, 210),
        (20, 14, 14, 280),
        (10, 28, 28, 280),
    ],
)
def test_a_ramp_of_few_doses_brings_no_more_than_it_would_day_by_day(
    per_day_ul: int, days: int, every: int, dose_ul: int
) -> None:
    """Whichever of its days the first dose falls on."""
    wanted = replace(
        UPKEEP,
        id="up",
        per_day_ul=per_day_ul,
        purpose="correction",
        first_day=TODAY,
        last_day=TODAY + timedelta(days=days - 1),
    )
    laid = line_for(knob(line("carbonate", 4_000, count=4)), wanted)
    assert laid is not None
    assert (every, dose_ul) == (laid.every_days, laid.per_day_ul)
    assert ceil(days / every) * dose_ul <= per_day_ul * days


def test_a_ramp_smaller_than_one_dose_is_no_line() -> None:
    """14 days of 10 µL are 140, and the pump gives 200 at least."""
    wanted = replace(
        UPKEEP,
        id="up",
        per_day_ul=10,
        purpose="correction",
        first_day=TODAY,
        last_day=TODAY + timedelta(days=13),
    )
    assert None is line_for(knob(line("carbonate", 4_000, count=4)), wanted)


def iron(target: float | None, smallest_ul: int = 200) -> Knob:
    """A pump with 10 µg of iron in a millilitre, which is 0.05 µg/L in the tank."""
    made = machine()
    tank = made.tanks["reef"]
    targets = {} if target is None else {"iron": target}
    changed = replace(
        made,
        tanks={"reef": replace(tank, targets=targets)},
        pumps={"iron": replace(made.pumps["carbonate"], id="iron", solution="iron")},
        solutions={"iron": Solution(id="iron", name="Iron", effects={"iron": 10_000})},
    )
    pump = replace(changed.pumps["iron"], smallest_dose_ul=smallest_ul)
    changed = replace(changed, pumps={"iron": pump})
    return knobs_of(changed, "reef", plan(), TODAY, {}).by_pump["iron"]


def test_a_dose_of_a_trace_is_a_share_of_its_target() -> None:
    """5 % of 2 µg/L are 0.1 µg/L: 2 mL. Iron of the sea is 0.04 µg/L.

    Common practice, no source (`water.limits`); natural iron by Quinby-Hunt and
    Turekian 1983.
    """
    assert 2_000 == most_per_dose_ul(iron(2.0))
    laid = line_for(iron(2.0), Portion(id="iron", per_day_ul=6_000))
    assert laid is not None
    assert (4, 6_000) == (laid.count, laid.per_day_ul)


def test_a_dose_of_a_trace_without_a_target_is_a_share_of_nature() -> None:
    """5 % of 0.0409 µg/L are 0.002 µg/L, of which 41 µL are too much."""
    assert 40 == most_per_dose_ul(iron(None))
