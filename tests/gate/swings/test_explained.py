"""What doses, changes and uptake did to alkalinity, by a mass balance of its own.

The reference is a plain integration of one tank by the minute: x' = doses - uptake in
proportion to the room above 3 dKH.
"""

from dataclasses import replace
from datetime import timedelta
from math import exp

import pytest

from slackwater.facts.judgements import Break
from slackwater.gate.moment import Moment
from slackwater.gate.swings.explained import (
    Explained,
    breaks_of,
    by_hour,
    by_second,
    explained,
)
from slackwater.gate.swings.limits import DKH
from tests.gate.scene import NET_UL
from tests.gate.swing_runs import BEGINS, PEQ_PER_DKH, utc
from tests.gate.swing_tanks import DAY_MIN
from tests.gate.swings.followed import Dose, at_target, seen, series

DEAD_DKH, TARGET_DKH, UPTAKE_DKH = 3.0, 8.0, 2.0
BEGIN_S = BEGINS.timestamp()
HOUR_S, DAY_S = 3600.0, 86_400.0


def tank_of(doses: list[Dose], days: float = 4.0, uptake: float = UPTAKE_DKH) -> Moment:
    """A tank that was given these doses, read by the hour."""
    one = series(at_target, days, 60.0, doses=doses, uptake=uptake)
    return seen(one)[0]


def level_dkh(doses: list[Dose], minute: int) -> float:
    """The reference: the tank by the minute."""
    level, left = TARGET_DKH, list(doses)
    for passed in range(minute):
        while left and left[0][0] <= passed:
            level += left.pop(0)[1]
        share = (level - DEAD_DKH) / (TARGET_DKH - DEAD_DKH)
        level -= UPTAKE_DKH * share / DAY_MIN
    return level


def even(per_day: int, days: int) -> list[Dose]:
    """Equal doses that replace the uptake."""
    gap = DAY_MIN / per_day
    return [(gap * (n + 0.5), UPTAKE_DKH / per_day) for n in range(per_day * days)]


def moved(moment: Moment, minutes: list[float]) -> list[float]:
    """What is explained at these minutes, in dKH."""
    end_s = BEGIN_S + 4 * DAY_MIN * 60
    given = by_second(moment, "reef"), BEGIN_S, end_s
    known = explained(moment, "reef", TARGET_DKH * DKH, given)
    return [level / DKH for level in known.along([BEGIN_S + 60 * m for m in minutes])]


def test_even_doses_explain_no_more_than_their_own_teeth() -> None:
    """They replace what the tank takes up."""
    found = moved(tank_of(even(24, 4)), [1000.0 * n for n in range(1, 6)])
    assert [] == [level for level in found if abs(level) > UPTAKE_DKH / 24]


def test_a_day_without_doses_is_explained_as_the_mass_balance_has_it() -> None:
    """The level sinks, by less each hour; the same as integrated by the minute."""
    doses = [dose for dose in even(24, 4) if not 2 * DAY_MIN <= dose[0] < 3 * DAY_MIN]
    minutes = [2 * DAY_MIN + hour * 60 for hour in (1, 6, 12, 24)]
    found = moved(tank_of(doses), [float(minute) for minute in minutes])
    reference = [level_dkh(doses, minute) - TARGET_DKH for minute in minutes]
    assert pytest.approx(reference, abs=0.05) == found
    assert found[-1] < -1.5


@pytest.mark.parametrize("days", [2, 3])
@pytest.mark.parametrize("lacks", [0, 1])
def test_h51_of_few_days_a_night_without_doses_is_not_taken_for_a_habit(
    days: int, lacks: int
) -> None:
    """The tank takes up what it did; with no word of that, as the fullest day."""
    night = lacks * DAY_MIN + 0.5 * DAY_MIN, lacks * DAY_MIN + 0.95 * DAY_MIN
    doses = [dose for dose in even(24, days) if not night[0] <= dose[0] < night[1]]
    moment = tank_of(doses, days=float(days))
    end_s = BEGIN_S + days * DAY_MIN * 60
    given = by_second(moment, "reef"), BEGIN_S, end_s
    minute = days * DAY_MIN
    reference = level_dkh(doses, minute) - TARGET_DKH
    bare = replace(moment.machine.tanks["reef"], uptake={})
    silent = replace(moment, machine=replace(moment.machine, tanks={"reef": bare}))
    for known in (moment, silent):
        found = explained(known, "reef", TARGET_DKH * DKH, given).at(end_s) / DKH
        assert pytest.approx(reference, abs=0.05) == found
    assert reference < -0.2


def of_days(
    *rises_dkh: float, uptake_dkh: float | None = UPTAKE_DKH, left_h: float = 6.0
) -> Explained:
    """What is explained after so many days, each with one dose in its middle.

    The span ends some hours after the last whole day, and nothing came in these.
    """
    moment = tank_of([], days=0.1, uptake=uptake_dkh or 0.0)
    if uptake_dkh is None:
        bare = replace(moment.machine.tanks["reef"], uptake={})
        moment = replace(moment, machine=replace(moment.machine, tanks={"reef": bare}))
    given = {
        int(BEGIN_S + (day + 0.5) * DAY_S): int(rise * PEQ_PER_DKH)
        for day, rise in enumerate(rises_dkh)
    }
    ends_s = BEGIN_S + len(rises_dkh) * DAY_S + left_h * HOUR_S
    return explained(moment, "reef", TARGET_DKH * DKH, (given, BEGIN_S, ends_s))


def usual_dkh(known: Explained) -> float:
    """The doses of a day with which the water would stand, by the mass balance."""
    return -known.lowest * known.fades * DAY_S / DKH


@pytest.mark.parametrize(
    ("rises", "uptake", "usual"),
    [
        ((1.0, 1.2, 1.5, 1.0), 2.0, 1.1),
        ((1.0, 1.2, 1.5, 1.0), None, 1.1),
        ((1.0, 1.0, 1.0, 1.6), 2.0, 2.0),
        ((1.0, 1.0, 1.0, 0.4), 2.0, 2.0),
        ((1.0, 1.0, 1.0, 0.4), None, 1.0),
        ((1.0, 1.0, 1.0), 2.0, 2.0),
        ((1.0, 0.8, 0.2), None, 1.0),
    ],
)
def test_a_usual_day_is_the_middle_of_even_days_else_the_uptake(
    rises: tuple[float, ...], uptake: float | None, usual: float
) -> None:
    """Even are four days of which none is off the middle one by more than half of it.

    With no word of the uptake: of four uneven days the middle one, of fewer the
    fullest.
    """
    found = of_days(*rises, uptake_dkh=uptake)
    assert pytest.approx(usual, rel=1e-6) == usual_dkh(found)


def test_what_came_in_the_day_under_way_is_no_usual_day() -> None:
    """Four days of one dKH, and a fifth that has brought three in six hours."""
    one = (1.0, 1.0, 1.0, 1.0, 3.0)
    assert pytest.approx(1.0) == usual_dkh(of_days(*one, left_h=-6.0))


def test_what_comes_without_a_command_is_no_part_of_the_uptake_to_make_up_for() -> None:
    """A tank that takes up 2 dKH a day, of which a reactor brings 0.5."""
    moment = tank_of([], days=0.1)
    outside = {"reef": int(0.5 * PEQ_PER_DKH)}
    moment = replace(moment, rules=replace(moment.rules, outside=outside))
    given: tuple[dict[int, int], float, float] = ({}, BEGIN_S, BEGIN_S + 3 * DAY_S)
    known = explained(moment, "reef", TARGET_DKH * DKH, given)
    assert pytest.approx(1.5, rel=1e-6) == usual_dkh(known)
    assert pytest.approx(1.5 / (TARGET_DKH - DEAD_DKH) / DAY_S) == known.fades


def test_only_what_came_after_the_beginning_and_up_to_the_end_moved_the_water() -> None:
    """Doses and changes alike; what came at the end counts, at the beginning not."""
    moment = tank_of([], days=0.25)
    ends_s = BEGIN_S + 6 * HOUR_S
    given = {int(BEGIN_S): 1, int(BEGIN_S) + 5: 1, int(ends_s): 1, int(ends_s) + 1: 1}
    known = explained(moment, "reef", TARGET_DKH * DKH, (given, BEGIN_S, ends_s))
    assert [BEGIN_S, BEGIN_S + 5, ends_s] == known.moments
    moment = replace(moment, now=replace(moment.now, utc=utc(400)))
    moment.state.breaks["reef"] = {
        str(minute): Break(at=utc(minute), told="change", rise=0.1)
        for minute in (0, 10, 360, 361)
    }
    known = explained(moment, "reef", TARGET_DKH * DKH, ({}, BEGIN_S, ends_s))
    assert [BEGIN_S, BEGIN_S + 600, ends_s] == known.moments


def test_a_water_change_is_explained_and_an_addition_is_a_dose() -> None:
    """A change brings what it is said to, from its moment on."""
    moment = tank_of(even(24, 4))
    rise = 0.5 * DKH
    moment.state.breaks["reef"] = {"w": Break(at=utc(4000), told="change", rise=rise)}
    with_change = moved(moment, [3999.0, 4001.0])
    moment.state.breaks["reef"] = {"w": Break(at=utc(4000), told="change")}
    without = moved(moment, [3999.0, 4001.0])
    steps = [a - b for a, b in zip(with_change, without, strict=True)]
    assert pytest.approx([0.0, 0.5], abs=0.001) == steps


def test_what_lies_ahead_explains_nothing() -> None:
    """An announced change counts from its moment on."""
    moment = tank_of([], days=1.0)
    ahead = Break(at=moment.now.utc + timedelta(hours=1), told="change", rise=0.1)
    moment.state.breaks["reef"] = {"w": ahead}
    assert [] == breaks_of(moment, "reef")
    moment.state.breaks["reef"] = {"w": replace(ahead, at=moment.now.utc)}
    assert 1 == len(breaks_of(moment, "reef"))
    assert [] == breaks_of(moment, "other")


def test_without_a_known_uptake_the_usual_doses_stand_for_it() -> None:
    """The middle of the days; a tank that is given nothing takes up the least."""
    moment = tank_of(even(24, 4))
    bare = replace(moment.machine.tanks["reef"], uptake={})
    moment = replace(moment, machine=replace(moment.machine, tanks={"reef": bare}))
    found = moved(moment, [2000.0, 4000.0])
    assert [] == [level for level in found if abs(level) > UPTAKE_DKH / 24]
    given: tuple[dict[int, int], float, float] = ({}, BEGIN_S, BEGIN_S + 86_400.0)
    nothing = explained(moment, "reef", TARGET_DKH * DKH, given)
    # 0.05 dKH a day of the 5 dKH above 3: a hundredth of it each day.
    assert pytest.approx(0.01) == nothing.fades * DAY_S


def test_less_than_a_day_is_its_own_usual_day() -> None:
    """Nothing else is known of the tank yet."""
    moment = tank_of(even(24, 1), days=0.5)
    given = by_second(moment, "reef"), BEGIN_S, BEGIN_S + 43_200.0
    known = explained(moment, "reef", TARGET_DKH * DKH, given)
    assert pytest.approx(UPTAKE_DKH / 2, rel=0.01) == usual_dkh(known)


def test_where_the_weeks_before_left_the_water_is_gone_on_with() -> None:
    """Two days without a dose before the span: the level began low."""
    doses = [dose for dose in even(24, 6) if not DAY_MIN <= dose[0] < 3 * DAY_MIN]
    moment = tank_of(doses, days=6.0)
    begins_s = BEGIN_S + 3 * 86_400.0
    given = by_second(moment, "reef"), begins_s, begins_s + 3 * 86_400.0
    low = explained(moment, "reef", TARGET_DKH * DKH, given).at(begins_s) / DKH
    assert pytest.approx(level_dkh(doses, 3 * DAY_MIN) - TARGET_DKH, abs=0.15) == low
    assert low < -2.0
    moment.state.stage_since = None
    assert 0.0 == explained(moment, "reef", TARGET_DKH * DKH, given).at(begins_s)


def test_of_the_weeks_before_fourteen_days_are_gone_on_with() -> None:
    """A tank that was given nothing for twenty days, as if it had been for fourteen.

    x' = -a - k x with a = 0.05 dKH and k = 0.01 a day ends at -a / k (1 - exp(-14 k)).
    An hour that nobody has a record of brought nothing.
    """
    moment = tank_of([], days=0.1, uptake=0.0)
    begins_s = BEGIN_S + 20 * DAY_S
    given: tuple[dict[int, int], float, float] = ({}, begins_s, begins_s + 3 * DAY_S)
    moment.state.hours["reef"] = {0: 0}
    found = explained(moment, "reef", TARGET_DKH * DKH, given)
    assert pytest.approx(-5 * (1 - exp(-0.14))) == found.levels[0] / DKH
    hours = range(int(begins_s / HOUR_S) - 480, int(begins_s / HOUR_S))
    moment.state.hours["reef"] = dict.fromkeys(hours, 0)
    assert found == explained(moment, "reef", TARGET_DKH * DKH, given)


def test_hours_stand_in_for_seconds_where_no_probe_reads() -> None:
    """All that came in an hour came in its middle."""
    moment = tank_of([(30.0, 0.1), (50.0, 0.2)], days=0.5)
    first = next(iter(by_hour(moment, "reef").items()))
    assert BEGIN_S + 1800 == first[0]
    assert pytest.approx(0.3 * DKH * NET_UL / 1e-3, rel=1e-6) == first[1]
    assert {} == by_hour(moment, "other")
    assert {} == by_second(moment, "other")


def test_one_by_one_and_in_one_pass_are_the_same() -> None:
    """At a moment, at a dose, and long after the last."""
    known = Explained(
        moments=[0.0, 10.0, 20.0], levels=[0.0, 0.3, 0.5], lowest=-1.0, fades=0.01
    )
    course = [0.0, 5.0, 10.0, 19.0, 20.0, 20.0, 400.0]
    assert [known.at(at_s) for at_s in course] == known.along(course)
    assert [] == known.along([])
