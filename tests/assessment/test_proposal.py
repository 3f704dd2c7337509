"""What is proposed, from nothing to a running plan.

Bounds, dead-bands and rates are common practice, no source; the ratio of calcium to
alkalinity is Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O with IUPAC atomic weights.
"""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest

from slackwater.facts.plan import Group
from slackwater.facts.proposal import Evidence, Ground
from slackwater.facts.tank import Outside
from tests.assessment.reefs import (
    DAY,
    DKH,
    SOLUTIONS,
    TOMORROW,
    change,
    climbing,
    grounds,
    known,
    line,
    lines,
    machine,
    per_day,
    plan,
    proposed,
)

ONE_DAY = timedelta(days=1)
# 1 mL a day of carbonate is 0.01 meq/L a day.
UL_PER_MEQ_PER_L = 100_000
ALL = tuple(SOLUTIONS)


def test_a_stable_tank_is_left_alone_to_the_letter() -> None:
    """Uptake and level as the plan has them: the plan stays."""
    present = plan(line("carbonate", 42_000), line("calcium", 42_000))
    found = proposed(machine(ALL), present, known("alkalinity", 0.42, 0.02))
    assert found.is_none
    assert present.lines == found.plan.lines


def test_a_change_within_its_own_uncertainty_is_not_proposed() -> None:
    """0.42 against 0.45 with an error of 0.02: 1.5 sigma is chance."""
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(), present, known("alkalinity", 0.45, 0.02))
    assert found.is_none
    assert Ground.UNCERTAIN in grounds(found, "carbonate")


def test_a_change_beyond_its_uncertainty_is_proposed() -> None:
    """0.42 against 0.46 with an error of 0.02 is 2 sigma."""
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(), present, known("alkalinity", 0.46, 0.02))
    assert 46_000 == change(found, "carbonate").after_ul
    assert "more" == change(found, "carbonate").kind
    assert 0.04 == pytest.approx(change(found, "carbonate").adds["alkalinity"])
    assert [Ground.UPTAKE] == grounds(found, "carbonate")[:1]


def test_a_change_smaller_than_three_hundredths_is_not_proposed() -> None:
    """However sure it is: nobody consents to 1 mL of 42."""
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(), present, known("alkalinity", 0.43, 0.0001))
    assert found.is_none


def test_calcium_follows_alkalinity_by_stoichiometry() -> None:
    """20.04 mg/L of calcium for each meq/L, less strontium and magnesium beside it."""
    present = plan(line("carbonate", 42_000), line("calcium", 20_000))
    found = proposed(machine(ALL), present, known("alkalinity", 0.42, 0.01))
    wanted_mg_per_l = 0.42 * 40.078 / 2 / 1.0135
    wanted_ul = wanted_mg_per_l / 0.0002
    assert change(found, "calcium").after_ul == pytest.approx(wanted_ul, abs=100)
    assert Ground.STOICHIOMETRY in grounds(found, "calcium")


def test_steps_follow_each_other_without_a_gap_and_within_their_bound() -> None:
    """A rise by half: a tenth a day, or to the lower bound at once."""
    present = plan(line("carbonate", 40_000))
    made = climbing(1.0)
    found = proposed(made, present, known("alkalinity", 0.6, 0.1, uptake_low=0.4))
    steps = lines(found, "carbonate")
    amounts = [40_000, *(step.per_day_ul for step in steps)]
    assert 60_000 == amounts[-1]
    assert all(later <= before * 1.1 + 1 for before, later in pairwise(amounts))
    ends = [step.last_day for step in steps[:-1]]
    starts = [step.first_day for step in steps[1:]]
    assert [end + ONE_DAY for end in ends if end] == starts


def test_a_fall_comes_in_steps_of_a_fifth() -> None:
    """From 40 to 20 mL: 32, 25.6, 20.5 (rounded down to tenths), then 20."""
    present = plan(line("carbonate", 40_000))
    found = proposed(machine(), present, known("alkalinity", 0.2, 0.01))
    amounts = [step.per_day_ul for step in lines(found, "carbonate")]
    assert [32_000, 25_600, 20_400, 20_000] == amounts


def test_without_enough_evidence_the_last_dose_stays() -> None:
    """Silence is not safe: 42 mL go on."""
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(), present, known("alkalinity", 0.2, 0.2, enough=False))
    assert found.is_none
    assert Ground.LITTLE_EVIDENCE in grounds(found, "carbonate")


def test_what_may_not_be_dosed_ends_at_once() -> None:
    """A contaminant is never dosed: the line goes."""
    present = plan(line("iodide", 3_000))
    found = proposed(
        machine(("iodide",)),
        present,
        known("iodine", 1.0, 0.1, no_dose=(Ground.BLOCKED,)),
    )
    assert () == found.plan.lines
    assert "ends" == change(found, "iodide").kind


def test_side_effects_of_one_solution_count_for_the_next() -> None:
    """Potassium that comes with the nitrate is not dosed again.

    2.0 mg/L are used up a day and 20 mL of nitre bring 0.6 of it, though nitrate comes
    later in order: 1.4 are left for the potash, which brings 0.1 with each millilitre.
    """
    present = plan(line("nitre", 20_000), line("potash", 20_000))
    made = machine(("nitre", "potash"), targets={})
    found = proposed(made, present, known("potassium", 2.0, 0.05))
    assert change(found, "potash").after_ul == 14_000
    assert Ground.SIDE_EFFECT in grounds(found, "potash")
    assert present.lines[0] in found.plan.lines


def test_two_solutions_that_bring_what_is_used_up_are_left_alone() -> None:
    """1.4 of the potash and 0.6 beside the nitrate are the 2.0 that are used up."""
    present = plan(line("nitre", 20_000), line("potash", 14_000))
    made = machine(("nitre", "potash"), targets={})
    assert proposed(made, present, known("potassium", 2.0, 0.05)).is_none


def test_an_outside_source_is_taken_off() -> None:
    """Limewater brings 0.1 meq/L a day: the pump needs the rest."""
    lime = Outside(
        id="lime",
        tank="reef",
        parameter="alkalinity",
        per_day=per_day("alkalinity", 0.1),
    )
    present = plan(line("carbonate", 42_000))
    found = proposed(machine(outside=(lime,)), present, known("alkalinity", 0.42, 0.01))
    assert 32_000 == change(found, "carbonate").after_ul
    assert Ground.SIDE_EFFECT in grounds(found, "carbonate")


def test_what_no_solution_brings_is_said() -> None:
    """A target and a value, and no pump: it is in the list of what is not dosed."""
    made = machine(("carbonate",), targets={"alkalinity": 8 * DKH, "potassium": 400.0})
    found = proposed(
        made, None, Evidence(parameter="potassium", target=400.0, level=380.0)
    )
    assert ["potassium"] == [one.parameter for one in found.withheld]
    assert Ground.NO_SOLUTION == found.withheld[0].grounds[0].ground


def test_what_has_no_value_either_is_not_worth_a_word() -> None:
    """A target alone: nothing is known that could be dosed."""
    made = machine(("carbonate",), targets={"alkalinity": 8 * DKH, "potassium": 400.0})
    found = proposed(made, None, Evidence(parameter="potassium", target=400.0))
    assert () == found.withheld


def test_what_rounding_leaves_out_is_said() -> None:
    """0.215 mL a day are given as 0.21."""
    evidence = known("potassium", 0.0215, 0.0001, uptake_low=0.0215)
    found = proposed(machine(("potash",), targets={}), None, evidence)
    assert 210 == change(found, "potash").after_ul
    assert Ground.ROUNDED in grounds(found, "potash")


def test_less_than_a_dose_is_given_every_few_days() -> None:
    """0.05 mL a day from a pump of 0.2 mL: one dose every four days."""
    found = proposed(
        machine(("potash",), targets={}),
        None,
        known("potassium", 0.005, 0.0001),
    )
    every = lines(found, "potash")[-1]
    assert (200, 1, 4) == (every.per_day_ul, every.count, every.every_days)


def test_far_less_than_a_dose_asks_for_a_weaker_solution() -> None:
    """A dose every hundred days is none."""
    found = proposed(
        machine(("potash",), targets={}),
        None,
        known("potassium", 0.0001, 0.000001),
    )
    assert () == found.plan.lines
    assert Ground.TOO_SMALL in grounds(found, "potash")


def test_a_group_keeps_its_ratio_to_the_microlitre() -> None:
    """Two to three: whatever the steps are.

    By itself calcium would stay, for 11.9 mg/L a day by alkalinity is 12.6 within its
    error; with its group it goes to 18, which nothing of its own shows.
    """
    groups = {"pair": Group(id="pair", ratio={"calcium": 3, "carbonate": 2})}
    present = plan(
        line("carbonate", 42_000, group="pair"),
        line("calcium", 63_000, group="pair"),
        groups=groups,
    )
    found = proposed(
        machine(ALL), present, known("alkalinity", 0.6, 0.02, uptake_low=0.4)
    )
    made = found.plan
    for name, group in made.groups.items():
        members = {one.id: one for one in made.lines if one.group == name}
        assert set(members) == set(group.ratio)
        carbonate, calcium = (
            next(one for one in members.values() if one.pump == pump)
            for pump in ("carbonate", "calcium")
        )
        assert carbonate.per_day_ul * 3 == calcium.per_day_ul * 2
        assert group.ratio[carbonate.id] * 3 == group.ratio[calcium.id] * 2
    assert len(made.groups) > 1
    assert [Ground.GROUP, Ground.GROUP_UNSURE] == grounds(found, "calcium")


def test_a_follower_that_moves_within_its_error_is_not_warned_of() -> None:
    """A twentieth more: 0.4 mg/L of 8.4 a day, whose error is as large (5 %)."""
    groups = {"pair": Group(id="pair", ratio={"calcium": 1, "carbonate": 1})}
    present = plan(
        line("carbonate", 42_000, group="pair"),
        line("calcium", 42_000, group="pair"),
        groups=groups,
    )
    found = proposed(machine(ALL), present, known("alkalinity", 0.44, 0.005))
    moved = change(found, "calcium")

    assert 44_000 == moved.after_ul
    assert [Ground.GROUP] == grounds(found, "calcium")


def test_a_follower_whose_uptake_nobody_knows_is_warned_of() -> None:
    """Calcium moves with its group, with its own figures and a second look."""
    groups = {"pair": Group(id="pair", ratio={"calcium": 1, "carbonate": 1})}
    present = plan(
        line("carbonate", 42_000, group="pair"),
        line("calcium", 42_000, group="pair"),
        groups=groups,
    )
    found = proposed(
        machine(ALL),
        present,
        known("alkalinity", 0.3, 0.01),
        known("calcium", 8.0, 6.0, enough=False),
    )
    told = change(found, "calcium").grounds

    assert [Ground.GROUP, Ground.GROUP_UNSURE] == grounds(found, "calcium")
    # By alkalinity, 20.04 mg/L for each meq/L, for want of its own.
    assert 5.93 == pytest.approx(told[1].figures["uptake_per_day"], abs=0.01)


def test_a_group_without_its_leader_accepted_stays_as_it_is() -> None:
    """Taking one pump of a pair takes both; taking another takes neither."""
    groups = {"pair": Group(id="pair", ratio={"calcium": 1, "carbonate": 1})}
    present = plan(
        line("carbonate", 42_000, group="pair"),
        line("calcium", 42_000, group="pair"),
        line("nitre", 5_000),
        groups=groups,
    )
    evidence = known("alkalinity", 0.6, 0.02)
    none = proposed(machine(ALL), present, evidence, only=frozenset({"nitre"}))
    assert present.lines == none.plan.lines
    both = proposed(machine(ALL), present, evidence, only=frozenset({"calcium"}))
    assert {"carbonate", "calcium"} == {one.pump for one in both.changes}


def test_lines_of_another_tank_and_of_food_are_not_touched() -> None:
    """What nothing is known of stays to the letter, its group too."""
    other = replace(
        line("calcium", 9_000, id="other", group="far"), tank="lagoon", pump="far"
    )
    second = replace(other, id="second", pump="farther")
    food = line("food", 6_000)
    present = plan(
        other,
        second,
        food,
        line("carbonate", 42_000),
        groups={"far": Group(id="far", ratio={"other": 1, "second": 1})},
    )
    found = proposed(machine(ALL), present, known("alkalinity", 0.6, 0.02))
    assert {other, second} <= set(found.plan.lines)
    assert present.groups == found.plan.groups
    assert food in found.plan.lines


def test_two_pumps_of_one_parameter_keep_their_shares() -> None:
    """Two thirds by day, one third by night: so it stays."""
    made = machine(("carbonate",))
    second = replace(made.pumps["carbonate"], id="carbonate-two", channel="z")
    made = replace(made, pumps={**made.pumps, "carbonate-two": second})
    present = plan(
        line("carbonate", 28_000),
        line("carbonate", 14_000, id="second", pump="carbonate-two", windows=DAY),
    )
    found = proposed(made, present, known("alkalinity", 0.6, 0.01))
    assert 40_000 == change(found, "carbonate").after_ul
    assert 20_000 == change(found, "carbonate-two").after_ul


def test_lines_by_weekday_count_by_their_share_of_a_week() -> None:
    """21 mL on four days of seven are 12 a day."""
    present = plan(line("carbonate", 21_000, weekdays=("mon", "tue", "thu", "sat")))
    found = proposed(machine(), present, known("alkalinity", 0.12, 0.01))
    assert found.is_none


def test_the_steps_of_an_earlier_proposal_lead_where_they_lead() -> None:
    """What is compared is the amount after the last step, not that of today."""
    first = line("carbonate", 46_000, id="carbonate-step-1", last_day=TOMORROW)
    last = line("carbonate", 50_000, first_day=TOMORROW + ONE_DAY)
    present = plan(first, last)
    found = proposed(machine(), present, known("alkalinity", 0.5, 0.01))
    assert present.lines == found.plan.lines


def test_a_plan_of_the_future_is_compared_from_its_first_day() -> None:
    """Approved for next week: that is the present amount."""
    present = plan(line("carbonate", 42_000, first_day=date(2026, 6, 1)))
    found = proposed(machine(), present, known("alkalinity", 0.42, 0.01))
    assert found.is_none


def test_lines_at_explicit_times_keep_them() -> None:
    """Half past seven in the morning and evening."""
    present = plan(
        line("carbonate", 42_000, windows=(), times_minute=(450, 1170), count=2)
    )
    made = machine()
    wide = replace(made.pumps["carbonate"], per_dose_ul=40_000)
    made = replace(made, pumps={**made.pumps, "carbonate": wide})
    found = proposed(made, present, known("alkalinity", 0.12, 0.001, level=7 * DKH))
    steps = lines(found, "carbonate")
    assert {(450, 1170)} <= {one.times_minute for one in steps}


def test_a_plan_that_does_not_run_is_no_amount_to_step_down_from() -> None:
    """Nothing flows yet: what is taken up is given, never a fifth less of a draft."""
    draft = plan(line("carbonate", 60_000))
    evidence = known("alkalinity", 0.10, 0.01)
    running = proposed(machine(), draft, evidence)
    drafted = proposed(machine(), draft, evidence, runs=False)
    first = lines(drafted, "carbonate")[0]
    assert 48_000 == lines(running, "carbonate")[0].per_day_ul
    assert 10_000 >= first.per_day_ul
    assert 10_000 == change(drafted, "carbonate").after_ul


def test_a_plan_that_does_not_run_goes_up_from_what_is_surely_taken_up() -> None:
    """A draft of 60 mL says nothing about what the water stands on its first day."""
    draft = plan(line("carbonate", 60_000))
    found = proposed(machine(), draft, known("alkalinity", 0.8, 0.02), runs=False)
    amounts = [one.per_day_ul for one in lines(found, "carbonate")]
    assert sorted(amounts) == amounts
    assert amounts[0] <= 80_000
    assert amounts[0] >= 0.9 * (0.8 - 1.645 * 0.02) * UL_PER_MEQ_PER_L


def test_without_tests_of_alkalinity_calcium_does_not_follow_a_plan() -> None:
    """What is planned is no evidence of what is used: both stay to the letter."""
    present = plan(line("carbonate", 42_000), line("calcium", 10_000))
    found = proposed(machine(ALL), present)
    assert found.is_none
    assert present.lines == found.plan.lines
