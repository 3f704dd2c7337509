"""Plans against the caps of the machine, to the microlitre (H41, H45, H47)."""

from bisect import bisect_right
from dataclasses import replace
from datetime import date, timedelta
from itertools import accumulate
from operator import attrgetter, itemgetter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import Finding, InputError
from slackwater.facts.plan import DueDose, Plan, PlanLine, Window
from slackwater.facts.tank import EffectCap, Machine, Outside, Uptake
from slackwater.planning.ceilings import Ceiling, Ceilings, ceilings, check
from slackwater.planning.timetable import Timetable
from tests.planning.plans import (
    PLENTY,
    STARTS,
    line,
    machine,
    plan,
    with_node,
    with_pump,
    with_tank,
)

CARBONATE = "carbonate-reef"
ONE_DAY = timedelta(days=1)


def fits(asked: Plan, made: Machine) -> dict[tuple[str, str], int]:
    """The smallest caps that fit, by table and key."""
    return {(one.table, one.key): one.fits for one in ceilings(asked, made).all}


def pump_fits(asked: Plan, made: Machine | None = None) -> dict[str, int]:
    """The smallest caps of the carbonate pump that fit, by key."""
    found = fits(asked, made or machine("UTC"))
    return {key: value for (table, key), value in found.items() if "pump" in table}


def capped(made: Machine, ceiling: Ceiling, cap: int) -> Machine:
    """The machine with one cap set."""
    fields = {
        "most_per_dose": "per_dose_ul",
        "most_per_hour": "per_hour_ul",
        "most_per_day": "per_day_ul",
    }
    if ceiling.key in fields:
        return with_pump(made, ceiling.pump, **{fields[ceiling.key]: cap})
    if ceiling.key == "day_limit":
        return with_node(made, ceiling.table.removeprefix("node."), day_limit_ul=cap)
    caps = made.tanks[ceiling.tank].caps
    effect = (
        EffectCap(gross=cap)
        if ceiling.key == "gross"
        else replace(caps[ceiling.parameter], net_rise=cap)
    )
    return with_tank(made, ceiling.tank, caps={**caps, ceiling.parameter: effect})


def with_uptake() -> Machine:
    """A machine in Berlin whose tank uses alkalinity and gets limewater."""
    used = with_tank(
        machine(), uptake={"alkalinity": Uptake(estimate=30 * 10**9, low=20 * 10**9)}
    )
    return replace(
        used,
        outside=(
            Outside(id="lime", tank="reef", parameter="alkalinity", per_day=10**9),
            Outside(id="lime", tank="lagoon", parameter="alkalinity", per_day=10**15),
            Outside(id="salt", tank="reef", parameter="calcium", per_day=10**9),
        ),
    )


BUSY = plan(
    line(per_day_ul=24_007, count=24),
    line(
        "lye",
        5_003,
        3,
        every_days=2,
        windows=(Window(start_minute=60, end_minute=300),),
    ),
    line("calcium", 9_001, 2, times_minute=(465, 1185), weekdays=("mon", "sat")),
)
EVERY_CAP = ceilings(BUSY, with_uptake()).all


def test_every_cap_of_the_plan_is_looked_at() -> None:
    """Three caps for each pump, one for each node's pump, two for each parameter."""
    assert [
        (f"pump.{name}-reef", key)
        for name in ("calcium", "carbonate", "lye")
        for key in ("most_per_dose", "most_per_hour", "most_per_day")
    ] + [("node.shelf-reef", "day_limit")] * 3 + [
        (f"tank.reef.caps.{parameter}", key)
        for parameter in ("alkalinity", "calcium")
        for key in ("gross", "net_rise")
    ] == [(one.table, one.key) for one in EVERY_CAP]


@pytest.mark.parametrize("ceiling", EVERY_CAP, ids=lambda one: f"{one.table} {one.key}")
def test_h47_a_plan_at_its_cap_passes_and_one_below_does_not(ceiling: Ceiling) -> None:
    """The smallest cap that fits is accepted; a microlitre or pico-unit less is not."""
    if ceiling.key == "day_limit":
        # Several pumps share the node's figure: the largest decides.
        ceiling = max(
            (one for one in EVERY_CAP if one.key == "day_limit"),
            key=lambda one: one.fits,
        )
    made = with_uptake()

    at_cap = check(BUSY, capped(made, ceiling, ceiling.fits))
    below = check(BUSY, capped(made, ceiling, ceiling.fits - 1))
    broken = ceilings(BUSY, capped(made, ceiling, ceiling.fits - 1)).broken

    assert at_cap == []
    assert [(ceiling.table, ceiling.key)] == [(one.table, one.key) for one in broken]
    assert [f"line {broken[0].first.partition('@')[0]}"] == [
        finding.where for finding in below
    ]
    assert broken[0].first in below[0].what


def test_h47_the_first_dose_that_breaks_a_cap_is_named() -> None:
    """A cap of 10 mL a day breaks at the eleventh of hourly doses of 1 mL."""
    small = with_pump(machine("UTC"), CARBONATE, per_day_ul=10_000)

    assert [
        Finding(
            what="reef/carbonate@2026-01-05#11 asks for 11 mL in its local day",
            where="line reef/carbonate",
            expected="at most 10 mL, what [pump.carbonate-reef] most_per_day allows",
            do="Lower the line; as it stands the plan needs 25 mL in "
            "[pump.carbonate-reef] most_per_day.",
        )
    ] == check(plan(line()), small)


def test_h47_what_breaks_a_cap_overnight_is_told_so() -> None:
    """The day fits 24 mL, but a late dose of yesterday makes it 25 mL in 24 hours."""
    small = with_pump(machine("UTC"), CARBONATE, per_day_ul=24_000)

    found = check(plan(line()), small)

    what = (
        "reef/carbonate@2026-01-06#01 asks for 25 mL in the 24 h before it, earlier "
        "doses begun as late as they may"
    )

    assert [what] == [finding.what for finding in found]


def test_h47_effects_are_told_in_levels_and_to_the_unit() -> None:
    """A finding about a parameter shows what a person reads, and no inner unit."""
    small = with_tank(machine("UTC"), caps={"alkalinity": EffectCap(gross=10**9)})

    found = check(plan(line(per_day_ul=2_000, count=2)), small)

    # By hand: 1 mL of 1.887 meq/mL in 250 L is 7.548 µeq/L, 0.02116 dKH.
    # Three doses fall into 24 h when the first of them was late.
    assert [
        Finding(
            what="reef/carbonate@2026-01-05#01 adds 0.02116 dKH in its local day",
            where="line reef/carbonate",
            expected="at most 0.01122 dKH, what [tank.reef.caps.alkalinity] gross "
            "allows",
            do="Lower the line; as it stands the plan needs 0.06349 dKH in "
            "[tank.reef.caps.alkalinity] gross.",
        )
    ] == found


@pytest.mark.parametrize(
    ("made", "table", "key"),
    [
        (
            with_pump(machine(), CARBONATE, per_dose_ul=0),
            "pump.carbonate-reef",
            "most_per_dose",
        ),
        (
            with_pump(machine(), CARBONATE, per_day_ul=0),
            "pump.carbonate-reef",
            "most_per_day",
        ),
        (
            with_pump(machine(), CARBONATE, per_hour_ul=0),
            "pump.carbonate-reef",
            "most_per_hour",
        ),
        (with_node(machine(), day_limit_ul=0), "node.shelf-reef", "day_limit"),
        (with_tank(machine(), caps={}), "tank.reef.caps.alkalinity", "gross"),
    ],
)
def test_h45_an_absent_cap_is_zero(made: Machine, table: str, key: str) -> None:
    """Without a cap not even the first dose may run."""
    broken = ceilings(plan(line()), made).broken

    assert [(table, key, 0, "reef/carbonate@2026-01-05#01")] == [
        (one.table, one.key, one.cap, one.first) for one in broken
    ]


def test_caps_that_nobody_asked_for_hold_nothing() -> None:
    """Without an hourly cap and without a net rise there is nothing to break."""
    found = {one.key: one.cap for one in ceilings(plan(line()), machine()).all}

    assert (found["most_per_hour"], found["net_rise"]) == (None, None)


def test_h47_daily_dose_counts_twice_in_24_hours() -> None:
    """A dose late yesterday and on time today stand less than a day apart."""
    once = plan(line(per_day_ul=5_000, count=1))

    assert (pump_fits(once)) == {
        "most_per_dose": 5_000,
        "most_per_hour": 5_000,
        "most_per_day": 10_000,
    }


def test_h47_an_hour_is_counted_with_late_doses() -> None:
    """Half-hourly doses of 1 mL: two in the hour and one that was late."""
    assert pump_fits(plan(line(per_day_ul=48_000, count=48)))["most_per_hour"] == 3_000


def test_h47_a_node_counts_twenty_five_hours() -> None:
    """The running hour and the 24 before it are one more than a day.

    Hourly doses that may be a quarter of an hour late: 24 + 1, and the late one.
    """
    found = fits(plan(line()), machine("UTC"))

    assert found["node.shelf-reef", "day_limit"] == 26_000


@pytest.mark.parametrize(
    ("zone", "most_ml"),
    # By hand: 25 doses in UTC; a day of 23 h packs 24 doses, then 24 h hold one more;
    # in a day of 25 h fewer fit, and the days around it decide.
    [("UTC", 25), ("Europe/Berlin", 26), ("America/St_Johns", 26)],
)
def test_h36_short_days_ask_for_larger_rolling_caps(zone: str, most_ml: int) -> None:
    """The 24 h that begin before a short day and end after it hold more doses."""
    found = pump_fits(plan(line()), machine(zone))

    assert most_ml * 1_000 == found["most_per_day"]


def test_parameters_are_summed_over_all_pumps_and_outside_sources() -> None:
    """Carbonate, lye and limewater add to one alkalinity."""
    asked = plan(
        line(per_day_ul=1_000, count=1, times_minute=(60,), last_day=STARTS),
        line("lye", 2_000, 1, times_minute=(120,), last_day=STARTS),
    )

    found = fits(asked, with_uptake())

    # By hand: 1 mL * 1.887 meq/mL + 2 mL * 1 meq/mL + 1 meq; 20 meq are surely used.
    gross = 1_000 * 1_887_000 + 2_000 * 1_000_000 + 10**9
    assert gross == found["tank.reef.caps.alkalinity", "gross"]
    assert max(0, gross - 20 * 10**9) == found["tank.reef.caps.alkalinity", "net_rise"]


def test_net_rise_is_what_is_surely_not_used_up() -> None:
    """24 mL of 1.887 meq/mL, one late dose more, and 1 meq, less 20 meq."""
    asked = replace(plan(line()), lines=(line(),))
    made = replace(
        with_uptake(),
        tanks={
            name: replace(tank, zone="UTC")
            for name, tank in with_uptake().tanks.items()
        },
    )

    found = fits(asked, made)

    assert (
        (found["tank.reef.caps.alkalinity", "net_rise"])
        == 25_000 * 1_887_000 + 10**9 - 20 * 10**9
    )


def test_an_uptake_nobody_stated_takes_nothing_away() -> None:
    """Without a lower bound all of it may be a rise."""
    caps = {"alkalinity": EffectCap(gross=PLENTY, net_rise=10**9)}

    broken = ceilings(plan(line()), with_tank(machine(), caps=caps)).broken

    assert [one.key for one in broken] == ["net_rise"]
    assert [one.first for one in broken] == ["reef/carbonate@2026-01-05#01"]


def test_h45_tanks_have_their_own_caps() -> None:
    """A cap of one tank does not hold another."""
    asked = plan(line(tank="lagoon"), line())
    small = with_tank(machine(), "lagoon", caps={})

    assert [one.table for one in ceilings(asked, small).broken] == [
        "tank.lagoon.caps.alkalinity"
    ]


def test_a_plan_without_lines_asks_for_nothing() -> None:
    """An empty plan is sound."""
    assert ([], Ceilings(all=())) == (
        check(plan(), machine()),
        ceilings(plan(), machine()),
    )


def test_ceilings_of_a_faulty_line_are_refused() -> None:
    """Where a line cannot be laid out there are no figures."""
    with pytest.raises(InputError):
        ceilings(plan(line(count=0)), machine())


def highest_in(doses: list[DueDose], window: timedelta) -> int:
    """The largest sum of a stretch that ends with a dose, for every dose.

    What is due by then less what was over by the beginning: nothing is over before it
    is due.
    """
    assert all(dose.due_at <= dose.latest_at for dose in doses)
    begun, over = (
        sorted((at_of(dose), dose.volume_ul) for dose in doses)
        for at_of in (attrgetter("due_at"), attrgetter("latest_at"))
    )
    sums = [
        [0, *accumulate(volume_ul for _, volume_ul in some)] for some in (begun, over)
    ]
    return max(
        sums[0][bisect_right(begun, at, key=itemgetter(0))]
        - sums[1][bisect_right(over, at - window, key=itemgetter(0))]
        for at, _ in begun
    )


@st.composite
def daily_lines(draw: st.DrawFn) -> PlanLine:
    """A line on some days, at some times, over some hours."""
    count = draw(st.integers(1, 6))
    return line(
        per_day_ul=draw(st.integers(600, 50_000)),
        count=count,
        every_days=draw(st.integers(1, 4)),
        first_day=draw(st.none() | st.dates(STARTS, STARTS + 40 * ONE_DAY)),
        windows=(
            Window(
                start_minute=draw(st.integers(0, 600)),
                end_minute=draw(st.integers(700, 1440)),
            ),
        ),
    )


@given(
    one=daily_lines(),
    zone=st.sampled_from(["UTC", "Europe/Berlin", "Australia/Lord_Howe"]),
)
@settings(deadline=None, max_examples=40)
def test_checked_days_find_the_highest_sum_of_a_whole_year(
    one: PlanLine, zone: str
) -> None:
    """Looking at every dose of 370 days finds no larger sum than the checked days."""
    asked = plan(one)
    timetable = Timetable(asked, machine(zone))
    days = [
        timetable.day("reef", STARTS + offset * ONE_DAY).doses for offset in range(370)
    ]
    doses = [dose for day in days for dose in day]

    found = pump_fits(asked, machine(zone))

    rolling = highest_in(doses, ONE_DAY)
    daily = max(sum(dose.volume_ul for dose in day) for day in days)
    assert max(rolling, daily) == found["most_per_day"]
    assert highest_in(doses, timedelta(hours=1)) == found["most_per_hour"]
    assert max(dose.volume_ul for dose in doses) == found["most_per_dose"]


def test_h41_month_ends_and_leap_days_change_nothing() -> None:
    """29 February 2028 is a day like any other."""
    asked = plan(line(), starts=date(2028, 2, 27))
    timetable = Timetable(asked, machine())

    days = [date(2028, 2, 28), date(2028, 2, 29), date(2028, 3, 1)]

    assert [
        sum(dose.volume_ul for dose in timetable.day("reef", day).doses) for day in days
    ] == [24_000] * 3
