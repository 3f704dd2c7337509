"""Coming back after a gap: no day rises by more than the net limit."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import hour_of, plan_for
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.tank import Outside, Uptake
from slackwater.gate.moment import Moment, rules_for
from slackwater.gate.resuming import (
    has_recovered,
    must_resume,
    planned_per_day,
    resume_ppm,
)
from tests.gate.box import Reef, fed, level_after, levels, settled
from tests.gate.scene import NOW, PROVEN_MS, dkh, dkh_peq

LIMIT_DKH = 0.5
BACK_DAYS = 15


def steepest(course: list[float]) -> float:
    """The largest rise within any 24 hours."""
    return max(later - first for first, later in zip(course, course[24:], strict=False))


def test_a_tank_takes_up_nothing_once_it_is_at_rest() -> None:
    """An uptake that would eat all there is within the hour: then it is over.

    130 dKH a day are 5.4 an hour of the 5 above rest; 90 % of the net limit are left.
    """
    at = fed(Reef(uptake_dkh=130.0))
    at.state.stage_since = NOW - timedelta(hours=25)
    _, plan_peq = planned_per_day(at, "reef")
    share_ppm = dkh_peq(LIMIT_DKH) * 90 // 100 * 1_000_000 // plan_peq
    assert share_ppm == resume_ppm(at, "reef")


@pytest.mark.parametrize(
    "reef",
    [
        *(Reef(uptake_dkh=uptake) for uptake in (0.8, 1.5, 2.0, 3.0, 4.0)),
        Reef(uptake_dkh=1.5, usual_dkh=6.5),
        Reef(uptake_dkh=3.0, usual_dkh=9.0),
        Reef(uptake_dkh=2.0, usual_dkh=6.5, target_stated=False),
        Reef(uptake_dkh=4.0, usual_dkh=9.0, target_stated=False),
        Reef(uptake_dkh=1.5, true_share=0.9),
        Reef(uptake_dkh=4.0, true_share=0.9),
        Reef(uptake_dkh=2.0, true_share=1.15),
        Reef(uptake_dkh=1.5, low_share=None),
        Reef(uptake_dkh=4.0, low_share=None),
    ],
    ids=str,
)
def test_no_day_after_four_days_off_rises_by_more_than_the_limit(reef: Reef) -> None:
    """Source: mass balance in one box; the 0.5 dKH are common practice, no source.

    The tank is stepped by its closed form; within 15 days it is back to the limit.
    """
    course = levels(reef, BACK_DAYS)
    assert steepest(course) <= LIMIT_DKH
    assert min(settled(reef), reef.usual_dkh) - LIMIT_DKH <= course[-1]


@pytest.mark.parametrize(("uptake_dkh", "first_day_dkh"), [(1.5, 0.9), (3.0, 2.0)])
def test_the_full_rate_at_once_lifts_as_the_closed_form_says(
    uptake_dkh: float, first_day_dkh: float
) -> None:
    """What the way back is for: 5 (1 - e^-4k)(1 - e^-k) dKH with k = U0 / 5."""
    course = levels(Reef(uptake_dkh=uptake_dkh), 1, slowly=False)
    assert pytest.approx(first_day_dkh, abs=0.06) == course[24] - course[0]


def test_the_box_itself_is_the_textbook_decay() -> None:
    """Source: first-order decay; 8 dKH at 1.5 a day for four days: 3 + 5 e^-1.2."""
    assert pytest.approx(4.5060, abs=1e-4) == level_after(Reef(uptake_dkh=1.5), 8.0, 4)


def gap(days: float, uptake_dkh: float = 1.5) -> Moment:
    """So long since the last dose, and a day of the plan missed."""
    at = fed(Reef(uptake_dkh=uptake_dkh))
    at.state.stage_since = NOW - timedelta(days=days)
    plan_for(
        at.state, "reef", {"alkalinity": dkh_peq(uptake_dkh)}, PROVEN_MS - 1, "missed"
    )
    at.state.wanting["reef"] = PROVEN_MS - 1
    return at


def test_half_a_day_without_alkalinity_needs_the_way_back() -> None:
    """Nothing of a day's plan came, and the tank has sunk by more than a day's rise."""
    at = gap(4)
    assert (True, False) == (must_resume(at, "reef"), has_recovered(at, "reef"))


def test_a_short_gap_needs_none() -> None:
    """0.25 days at 1.5 dKH a day are 0.37 dKH: less than the net limit."""
    at = gap(0.25)
    assert (False, True) == (must_resume(at, "reef"), has_recovered(at, "reef"))


def test_a_tank_whose_whole_plan_fits_needs_none() -> None:
    """0.4 dKH a day can never lift by 0.5, however long the gap."""
    at = gap(30, 0.4)
    assert (False, 1_000_000) == (must_resume(at, "reef"), resume_ppm(at, "reef"))


def test_nothing_is_looked_at_while_nothing_came_short() -> None:
    """A shortfall of more than a day ago has been seen already."""
    at = gap(4)
    at.state.wanting["reef"] = PROVEN_MS - DAY_MS
    assert not must_resume(at, "reef")
    at.state.wanting.clear()
    assert not must_resume(at, "reef")


def test_a_plan_without_alkalinity_never_comes_back_slowly() -> None:
    """There is nothing to bring back."""
    at = gap(4)
    bare = replace(at, rules=rules_for(at.machine, None))
    assert (False, 1_000_000) == (must_resume(bare, "reef"), resume_ppm(bare, "reef"))


def test_a_day_on_which_nothing_was_planned_is_no_gap() -> None:
    """Without a word of the plan there is no shortfall."""
    at = gap(4)
    at.state.planned.clear()
    assert not must_resume(at, "reef")


@pytest.mark.parametrize(("given", "expected"), [(0.74, True), (0.75, False)])
def test_less_than_half_of_the_planned_is_a_gap(
    given: float, *, expected: bool
) -> None:
    """Half of 1.5 dKH believed within the day is enough."""
    at = gap(4)
    believed = at.state.planned["reef/alkalinity"]
    at.state.believed["reef/alkalinity"] = replace(believed, entries=[], total=0)
    at.state.believed["reef/alkalinity"].add(PROVEN_MS - 1, dkh_peq(given), "")
    assert expected == must_resume(at, "reef")


def enabled_again(hours_ago: float) -> Moment:
    """Pumps fed the tank for two days, stood still for four, and were enabled again."""
    at = fed(Reef(uptake_dkh=1.5))
    at.state.stage = "live"
    at.state.stage_since = NOW - timedelta(hours=hours_ago)
    at.state.fed_since = NOW - timedelta(days=6)
    now = hour_of(NOW)
    hours = range(now - 6 * 24, now - 4 * 24)
    at.state.hours["reef"] = dict.fromkeys(hours, dkh_peq(1.5) // 24)
    return at


def test_pumps_that_are_enabled_again_have_a_gap_behind_them() -> None:
    """Looked at for a day; nothing needs to have been planned, or came short."""
    at = enabled_again(0.0)
    assert (True, False) == (must_resume(at, "reef"), has_recovered(at, "reef"))
    assert must_resume(enabled_again(23.9), "reef")
    assert not must_resume(enabled_again(24.0), "reef")
    at.state.hours["reef"] |= dict.fromkeys(
        range(hour_of(NOW) - 4 * 24, hour_of(NOW)), dkh_peq(1.5) // 24
    )
    assert not must_resume(at, "reef")


def test_what_was_never_enabled_before_or_is_imagined_has_none() -> None:
    """The first enabling, and shadow: memory begins with the stage."""
    at = enabled_again(1.0)
    at.state.fed_since = None
    assert not must_resume(at, "reef")
    assert has_recovered(at, "reef")
    at = enabled_again(1.0)
    at.state.stage = "shadow"
    assert not must_resume(at, "reef")
    assert has_recovered(at, "reef")
    at.state.stage, at.state.stage_since = "live", None
    assert not must_resume(at, "reef")


def test_h39_a_gap_that_proven_time_does_not_know_counts_in_full() -> None:
    """A board without a clock of its own proves no outage; the water knows it."""
    at = gap(4)
    short = replace(at, proven_ms=PROVEN_MS)
    later = replace(at, proven_ms=PROVEN_MS + 4 * DAY_MS)
    assert resume_ppm(short, "reef") == resume_ppm(later, "reef")


def test_what_comes_without_us_is_taken_off_the_share() -> None:
    """Limewater of 0.3 dKH a day leaves less of the rise to the pumps."""
    at = gap(4)
    source = Outside(id="top-off", tank="reef", parameter="alkalinity", per_day=0)
    more = replace(source, per_day=dkh_peq(0.3))
    shares = []
    for outside in (source, more):
        used = replace(at.machine, outside=(outside,))
        rules = replace(at.rules, outside={"reef": outside.per_day})
        shares.append(resume_ppm(replace(at, machine=used, rules=rules), "reef"))
    assert shares[1] < shares[0]


def test_more_from_outside_than_may_rise_stops_the_pumps() -> None:
    """The share ends at nothing, never below."""
    at = gap(4)
    rules = replace(at.rules, outside={"reef": dkh_peq(5.0)})
    assert 0 == resume_ppm(replace(at, rules=rules), "reef")


def test_what_was_given_lifts_the_share() -> None:
    """Believed alkalinity of the last hours gives the tank its uptake back."""
    at = gap(4)
    before = resume_ppm(at, "reef")
    at.state.hours["reef"] = {hour_of(NOW) - 1: dkh_peq(1.0)}
    assert before < resume_ppm(at, "reef")


def test_a_target_near_the_end_of_uptake_still_gives_a_share() -> None:
    """Anything below 6 dKH is reckoned as 6: the box must have a depth."""
    at = gap(4)
    shares = []
    for target_dkh in (2.0, 6.0):
        targets = {"alkalinity": dkh(target_dkh)}
        tank = replace(at.machine.tanks["reef"], targets=targets)
        used = replace(at.machine, tanks={"reef": tank})
        shares.append(resume_ppm(replace(at, machine=used), "reef"))
    assert shares[0] == pytest.approx(shares[1], abs=2)


def test_a_wide_interval_does_not_keep_the_plan_down_for_good() -> None:
    """At the usual level the full plan was found safe: 0.45 + 1.0 of 1.5 dKH."""
    at = gap(0)
    uptake = Uptake(estimate=dkh_peq(1.5), low=0)
    tank = replace(at.machine.tanks["reef"], uptake={"alkalinity": uptake})
    wide = replace(at, machine=replace(at.machine, tanks={"reef": tank}))
    expected = 1_450_000 / 1.5
    assert pytest.approx(expected, rel=1e-3) == resume_ppm(wide, "reef")


def test_the_first_entry_is_where_memory_begins() -> None:
    """Before there is any, the tank counts as whole."""
    at = gap(4)
    at.state.stage_since = None
    assert has_recovered(at, "reef")
