"""A proposal is brought under every cap, by what is over and no more.

The caps are those of the invented tank in `tests.assessment.reefs`; that one dose more
may begin late within 24 hours is the rule of `planning.ceilings`.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.assessment.proposal import Asked
from slackwater.facts.plan import Group, Plan
from slackwater.facts.proposal import Evidence, Ground
from slackwater.facts.tank import EffectCap, Machine, Outside, Pump, Uptake
from slackwater.planning.ceilings import check
from slackwater.service.proposing import Fitted, propose_fitting
from tests.assessment.reefs import (
    DAY,
    DKH,
    TODAY,
    change,
    grounds,
    known,
    line,
    lines,
    machine,
    per_day,
    plan,
)

# 1 mL a day of carbonate is 0.01 meq/L a day.
UL_PER_DKH = 100_000 * DKH
ONE_DAY = timedelta(days=1)


def stating(low_dkh: float, made: Machine | None = None) -> Machine:
    """The machine with another lower bound of the uptake."""
    made = made or machine()
    tank = made.tanks["reef"]
    low = per_day("alkalinity", low_dkh * DKH)
    uptake = {**tank.uptake, "alkalinity": Uptake(estimate=low, low=low)}
    return replace(made, tanks={"reef": replace(tank, uptake=uptake)})


def with_pump(made: Machine, **changes: int) -> Machine:
    """The machine with other caps of its carbonate pump."""
    pump: Pump = replace(made.pumps["carbonate"], **changes)  # type: ignore[arg-type]  # any whole figure
    return replace(made, pumps={**made.pumps, "carbonate": pump})


def fitted(
    made: Machine,
    present: Plan,
    evidence: Evidence | None = None,
    only: frozenset[str] | None = None,
) -> Fitted:
    """The proposal for the tank, 1.2 dKH a day used if not said otherwise."""
    found: Mapping[str, Evidence] = {
        "alkalinity": evidence or known("alkalinity", 1.2 * DKH, 0.02 * DKH)
    }
    return propose_fitting(
        Asked(
            machine=made,
            tank="reef",
            plan=present,
            evidence=found,
            today=TODAY,
            only=only,
        )
    )


def hundreds(amount_ul: float) -> int:
    """An amount as people read it."""
    return round(amount_ul / 100) * 100


def just_fits(found: Fitted, made: Machine) -> bool:
    """Whether the carbonate of a sound proposal is as much as the caps allow."""
    more = tuple(
        replace(one, per_day_ul=round(one.per_day_ul * 1.02))
        if one.pump == "carbonate"
        else one
        for one in found.proposal.plan.lines
    )
    return not found.findings and bool(
        check(replace(found.proposal.plan, lines=more), made)
    )


def dosed(dkh: float, **changes: object) -> Plan:
    """A plan of so much a day."""
    return plan(line("carbonate", hundreds(dkh * UL_PER_DKH), **changes))


def test_a_plan_that_fits_stays_to_the_letter() -> None:
    """What is stated leaves room for one dose more."""
    present = dosed(1.2)
    found = fitted(stating(1.0), present)
    assert found.proposal.is_none
    assert present.lines == found.proposal.plan.lines
    assert () == found.findings


def test_a_kept_plan_over_a_cap_comes_down_to_it() -> None:
    """The stated lower bound was lowered: 0.6 and 0.5 let 1.1 dKH in."""
    made = stating(0.6)
    found = fitted(made, dosed(1.2))
    assert just_fits(found, made)
    assert not found.proposal.is_none
    assert Ground.CAPPED in grounds(found.proposal, "carbonate")
    assert 1.1 * UL_PER_DKH > change(found.proposal, "carbonate").after_ul


def test_steps_down_do_not_climb_over_a_cap_on_their_way() -> None:
    """Far less is used than dosed and stated: the first step is below the cap."""
    evidence = known("alkalinity", 0.9 * DKH, 0.02 * DKH)
    found = fitted(stating(0.85), dosed(1.9), evidence)
    amounts = [one.per_day_ul for one in lines(found.proposal, "carbonate")]
    assert () == found.findings
    assert max(amounts) <= 1.35 * UL_PER_DKH
    assert 0.9 * UL_PER_DKH == pytest.approx(amounts[-1], abs=100)


def test_steps_of_the_present_plan_over_a_cap_are_laid_anew() -> None:
    """It leads to what fits, by way of what does not."""
    first = line(
        "carbonate",
        hundreds(1.5 * UL_PER_DKH),
        id="carbonate-step-1",
        last_day=TODAY + 2 * ONE_DAY,
    )
    last = line("carbonate", hundreds(1.2 * UL_PER_DKH), first_day=TODAY + 3 * ONE_DAY)
    found = fitted(stating(0.95), plan(first, last))
    assert () == found.findings
    assert not found.proposal.is_none
    assert "same" == change(found.proposal, "carbonate").kind
    (left,) = lines(found.proposal, "carbonate")
    assert left.per_day_ul == last.per_day_ul


def test_a_correction_that_runs_goes_before_what_lasts() -> None:
    """The maintenance fits; with the ramp on top it does not."""
    running = line(
        "carbonate",
        round(0.2 * UL_PER_DKH),
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + 3 * ONE_DAY,
        windows=DAY,
    )
    present = plan(*dosed(1.2).lines, running)
    evidence = known("alkalinity", 1.2 * DKH, 0.02 * DKH, level=7.3 * DKH)
    found = fitted(stating(0.95), present, evidence)
    assert () == found.findings
    assert not found.proposal.is_none
    assert present.lines[:1] == found.proposal.plan.lines
    assert Ground.CAPPED in grounds(found.proposal, "carbonate")


def test_a_new_maintenance_over_a_cap_ends_the_correction_that_runs() -> None:
    """More is used, and the cap has room for that alone."""
    running = line(
        "carbonate",
        round(0.2 * UL_PER_DKH),
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + 3 * ONE_DAY,
        windows=DAY,
    )
    present = plan(*dosed(1.2).lines, running)
    evidence = known("alkalinity", 1.4 * DKH, 0.02 * DKH, level=7.3 * DKH)
    found = fitted(stating(1.2), present, evidence)
    assert () == found.findings
    assert {"maintenance"} == {
        one.purpose for one in lines(found.proposal, "carbonate")
    }
    assert "more" == change(found.proposal, "carbonate").kind


def test_what_an_outside_source_adds_cannot_be_lowered() -> None:
    """Limewater of 0.5 dKH under a gross cap of 3: 2.5 are left for doses."""
    lime = Outside(
        id="lime",
        tank="reef",
        parameter="alkalinity",
        per_day=per_day("alkalinity", 0.5 * DKH),
    )
    made = stating(9.0, machine(outside=(lime,)))
    evidence = known("alkalinity", 2.95 * DKH, 0.02 * DKH)
    found = fitted(made, dosed(2.42, count=24), evidence)
    assert just_fits(found, made)
    assert 2.5 * UL_PER_DKH > change(found.proposal, "carbonate").after_ul


def test_a_cap_of_the_pump_is_met_by_its_share() -> None:
    """Three of its doses of 2 mL fit an hour that may hold 4."""
    made = with_pump(stating(1.0), per_hour_ul=4_000)
    found = fitted(made, dosed(1.2, count=21))
    asked = change(found.proposal, "carbonate")
    assert () == found.findings
    assert 0 < asked.after_ul < 1.2 * UL_PER_DKH


def test_what_is_not_taken_is_not_lowered_and_stays_refused() -> None:
    """Only another pump's changes are accepted: the finding stands for all to see."""
    made = stating(0.6, machine(("carbonate", "calcium")))
    present = dosed(1.2)
    found = fitted(made, present, only=frozenset({"calcium"}))
    assert present.lines[0] in found.proposal.plan.lines
    assert ["line reef/carbonate"] == [one.where for one in found.findings]


def test_a_plan_at_fault_in_itself_is_left_to_check() -> None:
    """More doses than its times: caps are not what is wrong."""
    present = dosed(1.2, count=0)
    found = fitted(stating(0.6), present, known("alkalinity", 1.2 * DKH, 0.2 * DKH))
    assert found.findings


def test_without_a_cap_on_the_climb_the_gross_one_is_enough() -> None:
    """Nobody stated by how much it may climb."""
    made = stating(0.0)
    tank = made.tanks["reef"]
    caps = {**tank.caps, "alkalinity": EffectCap(gross=per_day("alkalinity", DKH))}
    made = replace(made, tanks={"reef": replace(tank, caps=caps)})
    found = fitted(made, dosed(0.5))
    assert just_fits(found, made)
    assert "more" == change(found.proposal, "carbonate").kind


def test_a_group_rises_no_further_than_the_caps_of_all_its_pumps() -> None:
    """Calcium follows soda one to one and may bring 10 mg/L a day: 50 mL of each."""
    made = machine(("carbonate", "calcium"))
    tank = made.tanks["reef"]
    narrow = replace(tank.caps["calcium"], gross=per_day("calcium", 10.0))
    tank = replace(tank, caps={**tank.caps, "calcium": narrow})
    made = replace(made, tanks={"reef": tank})
    ratio = {"carbonate": 1, "calcium": 1}
    present = plan(
        *(line(name, 42_000, group="pair") for name in ratio),
        groups={"pair": Group(id="pair", ratio=ratio)},
    )
    found = fitted(made, present, known("alkalinity", 0.6, 0.01))
    moved = [change(found.proposal, name).after_ul for name in ratio]

    assert () == found.findings
    assert moved[0] == moved[1]
    assert 42_000 < moved[0] <= 50_000
    assert Ground.CAPPED in grounds(found.proposal, "carbonate")


@pytest.mark.parametrize(
    ("smallest_ul", "used", "present_ul", "count"),
    [(1_000, 0.08, 12_000, 12), (2_000, 0.42, 6_000, 3), (2_000, 0.05, 6_000, 3)],
)
def test_a_correction_keeps_its_distance_from_steps_of_fewer_or_more_doses(
    smallest_ul: int, used: float, present_ul: int, count: int
) -> None:
    """Steps beside a correction: nine doses, then eight; twice as many as now."""
    made = with_pump(machine(), smallest_dose_ul=smallest_ul)
    low = known("alkalinity", used, 0.003, level=7.2 * DKH)
    found = fitted(made, plan(line("carbonate", present_ul, count=count)), low)

    assert () == found.findings
    assert 0 < change(found.proposal, "carbonate").correction_ul
    assert count not in {
        one.count
        for one in lines(found.proposal, "carbonate")
        if one.purpose == "maintenance"
    }
