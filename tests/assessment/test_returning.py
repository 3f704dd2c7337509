"""What is proposed where uptake follows the level, so that this comes back by itself.

Oracle of every path: one box, dA/dt = dose - U (A - 3) / 5 from 8 dKH, in closed form.
Bounds and rates are common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta
from math import exp

import pytest

from slackwater.assessment.evidence import evidence_of
from slackwater.assessment.records import Assessment, Block, Standing, UptakeFound
from slackwater.facts.plan import PlanLine
from slackwater.facts.proposal import Evidence, Ground, Proposal
from slackwater.facts.tank import EffectCap
from tests.assessment.past import NOW
from tests.assessment.reefs import (
    DKH,
    TODAY,
    TOMORROW,
    change,
    grounds,
    known,
    line,
    lines,
    machine,
    per_day,
    plan,
    proposed,
)

# 1 mL a day of carbonate is 0.01 meq/L a day.
UL_PER_DKH = 100_000 * DKH
ONE_DAY = timedelta(days=1)
REST = 3.0


def box(uptake_dkh: float, sd_dkh: float, level_dkh: float, **more: object) -> Evidence:
    """A tank whose uptake at 8 dKH is known, at another level now."""
    share = (level_dkh - REST) / 5
    made = known(
        "alkalinity",
        uptake_dkh * share * DKH,
        0.01 * uptake_dkh * DKH,
        level=level_dkh * DKH,
        at_target=uptake_dkh * DKH,
        at_target_sd=sd_dkh * DKH,
        return_days=5 / uptake_dkh,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # any field


def asked(dose_dkh: float, evidence: Evidence, *others: PlanLine) -> Proposal:
    """What is proposed to a tank with such a dose."""
    present = plan(line("carbonate", round(dose_dkh * UL_PER_DKH)), *others)
    return proposed(machine(), present, evidence)


def after(days: int, level_dkh: float, uptake_dkh: float, dose_dkh: float) -> float:
    """The level of the box after some days of one dose."""
    end = REST + 5 * dose_dkh / uptake_dkh
    return end + (level_dkh - end) * exp(-uptake_dkh / 5 * days)


def test_the_dose_replaces_what_is_used_at_the_target() -> None:
    """At 7 dKH a tank uses a fifth less: dosed by that, it would stay there."""
    found = asked(1.2, box(1.5, 0.03, 7.0))
    assert change(found, "carbonate").after_ul == pytest.approx(
        1.5 * UL_PER_DKH, abs=100
    )


def test_a_change_that_the_level_does_not_show_waits() -> None:
    """Two errors of the uptake, and the level at its target."""
    found = asked(1.2, box(1.3, 0.05, 8.0))
    assert found.is_none
    assert Ground.LEVEL_HOLDS in grounds(found, "carbonate")


@pytest.mark.parametrize(("level", "uptake"), [(7.6, 1.3), (8.4, 1.1)])
def test_a_change_that_the_level_shows_too_is_proposed(
    level: float, uptake: float
) -> None:
    """The same two errors, and the level lies on the side that goes with them."""
    found = asked(1.2, box(uptake, 0.05, level))
    assert change(found, "carbonate").after_ul == pytest.approx(
        uptake * UL_PER_DKH, abs=100
    )


def test_a_level_on_the_other_side_shows_nothing() -> None:
    """More is used, and yet the level is high: one of them is chance."""
    found = asked(1.2, box(1.3, 0.05, 8.4))
    assert Ground.LEVEL_HOLDS in grounds(found, "carbonate")


def test_a_change_beyond_three_errors_needs_no_level() -> None:
    """A jump is answered before the level is far away."""
    found = asked(1.2, box(1.4, 0.05, 8.0))
    assert "more" == change(found, "carbonate").kind


@pytest.mark.parametrize("missing", ["level", "target"])
def test_without_a_level_the_uptake_decides(missing: str) -> None:
    """Nothing can show it; two errors are beyond chance."""
    none: dict[str, object] = {missing: None}
    found = asked(1.2, box(1.3, 0.05, 8.0, **none))
    assert "more" == change(found, "carbonate").kind


@pytest.mark.parametrize("jump", [0.4, -0.4])
def test_of_a_wide_uptake_only_the_sure_part_is_changed(jump: float) -> None:
    """Too wide to be enough, yet four errors away: to the near end of its interval."""
    evidence = box(1.2 + jump, 0.1, 8.0, enough=False, wide=True)
    found = asked(1.2, evidence)
    sure = 1.2 + jump - 0.1645 * jump / abs(jump)
    assert change(found, "carbonate").after_ul == pytest.approx(
        sure * UL_PER_DKH, abs=100
    )
    assert Ground.SURE_PART in grounds(found, "carbonate")


def test_a_wide_uptake_that_may_be_the_same_changes_nothing() -> None:
    """Three errors and less: the dose stays."""
    found = asked(1.2, box(1.49, 0.1, 8.0, enough=False, wide=True))
    assert found.is_none
    assert Ground.LITTLE_EVIDENCE in grounds(found, "carbonate")


def test_a_level_that_is_soon_back_by_itself_is_not_corrected() -> None:
    """At 2 dKH a day half a degree is gone in two and a half days."""
    found = asked(2.0, box(2.0, 0.02, 7.5))
    assert found.is_none
    assert Ground.RETURNS in grounds(found, "carbonate")


@pytest.mark.parametrize("level", [7.2, 8.8])
def test_a_slow_tank_is_led_to_its_target(level: float) -> None:
    """At 0.3 dKH a day it would take weeks; with the ramp it is there at its end."""
    found = asked(0.3, box(0.3, 0.005, level))
    asked_for = change(found, "carbonate")
    dose = 0.3 + asked_for.correction_ul / UL_PER_DKH
    assert (asked_for.correction_ul > 0) == (level < 8)
    there = after(asked_for.correction_days, level, 0.3, dose)
    assert 8.0 == pytest.approx(there, abs=0.03)


def test_a_dose_that_is_kept_too_high_is_withheld_from() -> None:
    """Nobody is sure that it is too much; the level is, and does not come back."""
    evidence = box(0.5, 0.2, 9.0, enough=False, wide=True)
    found = asked(0.7, evidence)
    assert 0 > change(found, "carbonate").correction_ul
    assert Ground.CORRECTION_DOWN in grounds(found, "carbonate")


def test_a_climb_is_slowed_where_the_return_alone_is_too_fast() -> None:
    """Not made faster, at any rate: 4 dKH a day lifts 5.5 dKH by 2 a day."""
    found = asked(4.0 * 0.7, box(2.8, 0.02, 5.5))
    assert 0 == change(found, "carbonate").correction_ul
    assert Ground.RETURNS in grounds(found, "carbonate")


def test_a_level_that_needs_help_and_may_not_climb_says_so() -> None:
    """No room on top of what is dosed: the ramp is left out, and the cap is named."""
    made = machine()
    tank = made.tanks["reef"]
    tight = EffectCap(gross=per_day("alkalinity", 0.3 * DKH))
    made = replace(
        made, tanks={"reef": replace(tank, caps={**tank.caps, "alkalinity": tight})}
    )
    present = plan(line("carbonate", round(0.3 * UL_PER_DKH)))
    found = proposed(made, present, box(0.3, 0.005, 7.2))
    assert found.is_none
    assert Ground.CAPPED in grounds(found, "carbonate")


def test_what_the_level_does_by_itself_must_be_known_to_count() -> None:
    """A guess at the uptake: an ordinary ramp over a week, in tenths of a mL."""
    evidence = box(2.0, 1.0, 7.3, enough=False, uptake_sd=0.5 * DKH)
    found = asked(2.0, evidence)
    step = 0.7 / 7 * UL_PER_DKH
    assert 0 <= step - change(found, "carbonate").correction_ul < 100
    assert 7 == change(found, "carbonate").correction_days


def rising(per_day_dkh: float, days: int) -> PlanLine:
    """A correction that runs for so many days yet."""
    return line(
        "carbonate",
        round(per_day_dkh * UL_PER_DKH),
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + days * ONE_DAY - ONE_DAY,
    )


def test_a_correction_that_runs_is_left_within_two_dead_bands() -> None:
    """It would miss by 0.25 dKH: no reason for another plan."""
    found = asked(0.3, box(0.3, 0.005, 7.45), rising(0.1, 3))
    assert found.is_none
    assert Ground.RUNNING in grounds(found, "carbonate")


def test_a_correction_that_would_miss_by_far_is_replaced() -> None:
    """Half a degree short."""
    found = asked(0.3, box(0.3, 0.005, 7.2), rising(0.1, 3))
    ups = [one for one in lines(found, "carbonate") if one.purpose == "correction"]
    assert [TOMORROW] == [one.first_day for one in ups]


def test_a_level_far_too_high_rests_and_the_dose_comes_back_by_itself() -> None:
    """At 10 dKH nothing is dosed for some days; nobody has to remember to begin."""
    found = asked(0.3, box(0.3, 0.005, 10.0, too_high=True))
    asked_for = change(found, "carbonate")
    assert Ground.RESTS in grounds(found, "carbonate")
    assert -0.3 * UL_PER_DKH == pytest.approx(asked_for.correction_ul, abs=1)
    (left,) = lines(found, "carbonate")
    assert left.first_day == TODAY + (asked_for.correction_days + 1) * ONE_DAY
    assert None is left.last_day


def test_a_level_far_too_high_falls_by_a_degree_a_day_at_most() -> None:
    """What comes back as fast by itself is not pushed."""
    slow = asked(1.5, box(1.5, 0.02, 10.0, too_high=True))
    dose = 1.5 + change(slow, "carbonate").correction_ul / UL_PER_DKH
    assert 0.8 < 1.5 * 7 / 5 - dose <= 1.0
    fast = asked(3.0, box(3.0, 0.02, 10.0, too_high=True))
    assert 0 == change(fast, "carbonate").correction_ul
    assert Ground.RETURNS in grounds(fast, "carbonate")


def test_what_may_not_be_dosed_does_not_rest() -> None:
    """It ends, and comes back when a person says so."""
    evidence = box(0.3, 0.005, 10.0, too_high=True, no_dose=(Ground.BLOCKED,))
    found = asked(0.3, evidence)
    assert () == found.plan.lines


def standing(level_dkh: float, *, age_days: float = 0.0) -> Standing:
    """Alkalinity at a level, dosing of which ends at 9.5 dKH."""
    return Standing(
        parameter="alkalinity",
        word="high",
        confidence="good",
        level=level_dkh * DKH,
        level_sd=0.03,
        age_days=age_days,
        shelf_days=3.0,
        stop_above=9.5 * DKH,
    )


def used(**more: object) -> UptakeFound:
    """An uptake that follows the level."""
    made = UptakeFound(
        parameter="alkalinity",
        per_day=0.4,
        sd_per_day=0.01,
        level=3.4,
        level_sd=0.03,
        at=NOW,
        tests=9,
        span_days=20.0,
        provenance="hand",
        method="drops",
        enough=False,
        at_target_per_day=0.36,
        at_target_sd=0.08,
        return_days=5.0,
        wide=True,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # any field


def seen(assessment: Assessment) -> Evidence:
    """What a proposal reads of alkalinity."""
    return evidence_of(assessment, machine().tanks["reef"])["alkalinity"]


@pytest.mark.parametrize(
    ("level", "age", "more", "expected"),
    [
        (9.6, 0.0, {}, True),
        (9.4, 0.0, {}, False),
        (9.6, 4.0, {}, False),
        (9.6, 0.0, {"return_days": None}, False),
    ],
)
def test_too_high_is_what_falls_by_itself(
    level: float, age: float, more: dict[str, object], *, expected: bool
) -> None:
    """Above the stop, by a fresh test, of what is used up."""
    found = Assessment(
        tank="reef",
        at=NOW,
        standings={"alkalinity": standing(level, age_days=age)},
        uptakes={"alkalinity": used(**more)},
    )
    assert expected == seen(found).too_high


def test_evidence_has_the_uptake_at_the_target_and_that_it_is_wide() -> None:
    """A block against changes takes that away."""
    uptakes = {"alkalinity": used()}
    free = seen(Assessment(tank="reef", at=NOW, uptakes=uptakes))
    block = Block(
        parameter="alkalinity", stops="change", ground=Ground.LITTLE_EVIDENCE, text=""
    )
    held = seen(Assessment(tank="reef", at=NOW, uptakes=uptakes, blocks=(block,)))
    assert (0.36, 0.08, True, 5.0) == (*free.lasting, free.wide, free.return_days)
    assert not held.wide
