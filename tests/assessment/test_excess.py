"""A newest test above its bound: assessment and proposal judge it as one.

The bound of alkalinity is the ceiling that the file states, else 1.5 dKH above the
target and 12 dKH at most; those of elements are common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.assessment.assess import assess
from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.excess import Bounded, bound_of, held_to
from slackwater.assessment.proposal import Asked, propose
from slackwater.assessment.records import Assessment
from slackwater.facts.history import History
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.proposal import Ground, Proposal
from slackwater.facts.tank import AlkalinityGuard, Machine
from slackwater.facts.waters import MeasurementKept
from tests.assessment.past import (
    DKH,
    NOW,
    history,
    kept_tank,
    machine,
    measured,
    pico,
    report,
    with_report,
)
from tests.assessment.pictures import drops, stands
from tests.assessment.reefs import change, grounds, line

GUARD = AlkalinityGuard(
    ceiling=9.5 * DKH,
    floor=6.5 * DKH,
    rise=0.8 * DKH,
    fall=0.8 * DKH,
    spread=0.5 * DKH,
    hysteresis=0.1 * DKH,
    good_readings=3,
    hold_at_least_s=3600.0,
)
TARGETS = {"alkalinity": 8.2 * DKH, "calcium": 420.0}


def guarded(**parts: object) -> Machine:
    """The invented machine with a ceiling of 9.5 dKH and wide caps."""
    made = machine(targets=TARGETS)
    pumps = {
        name: replace(one, per_dose_ul=10**6, per_day_ul=10**8)
        for name, one in made.pumps.items()
    }
    return replace(made, guards={"reef": GUARD}, pumps=pumps, **parts)  # type: ignore[arg-type]  # any field


def sinking(*later: MeasurementKept) -> History:
    """A tank that uses up more than it is given, at 7.3 dKH two days ago, and more."""
    past = kept_tank(uptake_dkh=1.3, dose_dkh=1.05)
    older = (one for one in past.measurements if one.taken_at < NOW)
    return replace(past, measurements=(*older, *later))


def proposal(found: Assessment, *more: PlanLine) -> Proposal:
    """What is proposed where the plan gives 1.05 dKH a day."""
    made = guarded()
    per_day_ul = round(pico("alkalinity", 1.05 * DKH) / 10**6)
    present = Plan(
        name="invented",
        starts=NOW.date() - timedelta(days=30),
        lines=(line("alkalinity", per_day_ul), *more),
    )
    return propose(
        Asked(
            machine=made,
            tank="reef",
            plan=present,
            evidence=evidence_of(found, made.tanks["reef"]),
            today=NOW.date(),
        )
    )


HIGH = measured("alkalinity", 11.0 * DKH, 0.01, confirmed=True)


def test_without_it_the_same_tank_is_raised() -> None:
    """The tank of these tests is low, and its dose would rise."""
    found = assess(sinking(), guarded(), "reef", NOW)
    assert "low" == found.standings["alkalinity"].word
    assert "more" == change(proposal(found), "alkalinity").kind


def test_a_newest_test_above_the_ceiling_is_said_and_nothing_is_raised() -> None:
    """Eleven dKH, confirmed, after a month that says 7.3: high, and no more of it."""
    found = assess(sinking(HIGH), guarded(), "reef", NOW)
    standing = found.standings["alkalinity"]
    assert "high" == standing.word
    assert 11.0 == pytest.approx((standing.above or 0.0) / DKH)
    assert found.todo[0].startswith("Alkalinity was tested at 11.00 dKH, above 9.50")
    assert found.is_blocked("alkalinity", "rise")
    told = proposal(found)
    assert change(told, "alkalinity").after_ul <= change(told, "alkalinity").before_ul
    assert 0 >= change(told, "alkalinity").correction_ul
    assert Ground.ABOVE_BOUND in grounds(told, "alkalinity")


def test_a_correction_that_runs_upward_is_taken_out() -> None:
    """What leads up although the newest test is too high does not go on."""
    found = assess(sinking(HIGH), guarded(), "reef", NOW)
    raises = line(
        "alkalinity",
        20_000,
        id="alkalinity-up",
        purpose="correction",
        first_day=NOW.date(),
        last_day=NOW.date() + timedelta(days=6),
    )
    told = proposal(found, raises)
    assert not told.is_none
    assert [] == [one for one in told.plan.lines if one.purpose == "correction"]


def test_a_test_of_another_method_counts_as_much() -> None:
    """The older method knows the tank better; the newest test decides all the same."""
    other = measured("alkalinity", 10.4 * DKH, 0.01, method="meter")
    found = assess(sinking(other), guarded(), "reef", NOW)
    assert "high" == found.standings["alkalinity"].word
    assert Ground.ABOVE_BOUND in grounds(proposal(found), "alkalinity")


def test_the_next_test_below_ends_it() -> None:
    """One that lies below the ceiling takes its place."""
    early = measured("alkalinity", 11.0 * DKH, 0.5)
    late = measured("alkalinity", 7.3 * DKH, 0.01)
    found = assess(sinking(early, late), guarded(), "reef", NOW)
    assert found.standings["alkalinity"].above is None


@pytest.mark.parametrize(("days_ago", "counts"), [(2.9, True), (3.1, False)])
def test_it_speaks_for_its_shelf_life(days_ago: float, *, counts: bool) -> None:
    """Three days for alkalinity; then nobody knows."""
    past = history(measured("alkalinity", 11.0 * DKH, days_ago))
    found = assess(past, guarded(), "reef", NOW)
    assert counts == (found.standings["alkalinity"].above is not None)


def test_a_posted_sample_is_no_newest_test_of_what_changes_in_the_post() -> None:
    """Alkalinity by a laboratory decides nothing, high or low."""
    past = with_report(sinking(), report(0.5, {"alkalinity": 11.0 * DKH}))
    found = assess(past, guarded(), "reef", NOW)
    assert found.standings["alkalinity"].above is None


@pytest.mark.parametrize(
    ("parameter", "level", "bound"),
    [
        ("calcium", 510.0, 500.0),
        ("magnesium", 1600.0, 1550.0),
        ("potassium", 460.0, 450.0),
        ("strontium", 14.5, 14.0),
        ("iodine", 95.0, 90.0),
    ],
)
def test_elements_have_a_bound_of_their_own(
    parameter: str, level: float, bound: float
) -> None:
    """Calcium 500, magnesium 1550, potassium 450, strontium 14 mg/L, iodine 90 ug/L."""
    low = [measured(parameter, 0.7 * bound, days) for days in (21, 14, 7)]
    past = history(*low, measured(parameter, level, 0.1))
    found = assess(past, guarded(), "reef", NOW)
    assert (level, bound) == (
        found.standings[parameter].above,
        bound_of(parameter, guarded(), "reef"),
    )
    assert found.is_blocked(parameter, "rise")


def test_the_lower_of_ceiling_and_practice_is_the_bound() -> None:
    """A ceiling above target + 1.5 dKH does not raise it; without a guard it stands."""
    usual = pytest.approx(9.7 * DKH)
    wide = replace(guarded(), guards={"reef": replace(GUARD, ceiling=11 * DKH)})
    assert usual == bound_of("alkalinity", wide, "reef")
    assert usual == bound_of("alkalinity", machine(targets=TARGETS), "reef")
    assert GUARD.ceiling == bound_of("alkalinity", guarded(), "reef")
    assert bound_of("nitrate", guarded(), "reef") is None


@pytest.mark.parametrize(("apart_min", "is_held"), [(20, True), (40, False)])
def test_a_low_test_of_another_kit_within_half_an_hour_frees_no_rise(
    apart_min: int, *, is_held: bool
) -> None:
    """As at the gate: of one water the highest decides, whichever came last."""
    high = measured("alkalinity", 10.4 * DKH, 0.01 + apart_min / 1440, method="meter")
    low = measured("alkalinity", 7.3 * DKH, 0.01)
    found = assess(sinking(high, low), guarded(), "reef", NOW)
    assert is_held == found.is_blocked("alkalinity", "rise")


def test_a_newest_test_above_takes_no_place_of_a_higher_level() -> None:
    """The bound is passed by both, and the higher of the two goes on speaking."""
    tank = machine().tanks["reef"]
    told = stands("alkalinity", 12.6 * DKH, provenance="lab", method="")
    newest = (drops("alkalinity", 8.0 * DKH, 12.2 * DKH),)
    found = held_to(told, Bounded(tank=tank, series=newest, bound=12.0 * DKH, now=NOW))
    assert ("high", told.level, None) == (found.word, found.level, found.gainsaid_by)
    assert found.above == newest[0].points[-1].value
