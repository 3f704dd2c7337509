"""What is corrected, and what a cap, a limit or another correction stops.

Bounds, dead-bands and rates are common practice, no source; the ratio of calcium to
alkalinity is Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O with IUPAC atomic weights.
"""

from dataclasses import replace
from datetime import timedelta
from math import ceil

import pytest

from slackwater.facts.proposal import Ground
from tests.assessment.reefs import (
    DKH,
    SETTLED,
    SOLUTIONS,
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

ONE_DAY = timedelta(days=1)
# 1 mL a day of carbonate is 0.01 meq/L a day.
UL_PER_MEQ_PER_L = 100_000
ALL = tuple(SOLUTIONS)


def test_a_low_level_is_made_good_over_days_in_a_line_with_an_end() -> None:
    """0.8 dKH too low, seven days at least, within the net rise."""
    present = plan(line("carbonate", 42_000))
    found = proposed(
        machine(), present, known("alkalinity", 0.42, 0.01, level=7.2 * DKH)
    )
    up = next(one for one in lines(found, "carbonate") if one.purpose == "correction")
    assert (TOMORROW, TODAY + 7 * ONE_DAY) == (up.first_day, up.last_day)
    step_ul = 0.8 * DKH / 7 * UL_PER_MEQ_PER_L
    assert up.per_day_ul == pytest.approx(step_ul, abs=100)
    assert present.lines[0] in found.plan.lines
    assert Ground.CORRECTION_UP in grounds(found, "carbonate")
    assert Ground.RETEST in grounds(found, "carbonate")


def test_an_idle_second_pump_leaves_as_much_room_as_none() -> None:
    """Whatever it may give a day: it has no share in what is corrected."""
    present = plan(line("carbonate", 42_000))
    low = known("alkalinity", 0.42, 0.01, level=7.2 * DKH)
    made = machine()
    spare = replace(made.pumps["carbonate"], id="spare", channel="z", per_day_ul=1)
    both = replace(made, pumps={**made.pumps, "spare": spare})
    alone, beside = (proposed(each, present, low) for each in (made, both))
    assert lines(alone, "carbonate") == lines(beside, "carbonate")
    assert [] == lines(beside, "spare")


def test_correction_doses_stand_half_way_between_the_others() -> None:
    """The pump rests: no two of its doses within a quarter of an hour."""
    present = plan(line("carbonate", 42_000))
    found = proposed(
        machine(), present, known("alkalinity", 0.42, 0.01, level=7.2 * DKH)
    )
    up = next(one for one in lines(found, "carbonate") if one.purpose == "correction")
    length = sum(one.end_minute - one.start_minute for one in up.windows)
    share = length / up.count
    assert 0 == share % 60
    assert 30 == up.windows[0].start_minute


def test_a_high_level_is_left_to_fall_by_withholding() -> None:
    """0.9 dKH too high: less for seven days, then the full dose again by itself."""
    present = plan(line("carbonate", 42_000))
    found = proposed(
        machine(), present, known("alkalinity", 0.42, 0.01, level=8.9 * DKH)
    )
    low, full = lines(found, "carbonate")
    assert (TOMORROW, TODAY + 7 * ONE_DAY) == (low.first_day, low.last_day)
    held_ul = 0.9 * DKH / 7 * UL_PER_MEQ_PER_L
    assert low.per_day_ul == pytest.approx(42_000 - held_ul, abs=100)
    assert (42_000, None) == (full.per_day_ul, full.last_day)
    assert full.first_day == TODAY + 8 * ONE_DAY


def test_a_correction_that_runs_is_not_proposed_again() -> None:
    """Half of the ramp is still to come and covers the half that is missing."""
    running = line(
        "carbonate",
        4_000,
        id="carbonate-up",
        purpose="correction",
        first_day=TODAY - 3 * ONE_DAY,
        last_day=TODAY + 3 * ONE_DAY,
    )
    present = plan(line("carbonate", 42_000), running)
    level = 8 * DKH - 4 * 0.04
    found = proposed(machine(), present, known("alkalinity", 0.42, 0.01, level=level))
    assert present.lines == found.plan.lines
    assert Ground.RUNNING in grounds(found, "carbonate")


def test_a_correction_that_nobody_approved_is_not_said_to_run() -> None:
    """It stays in the plan as it is, and nothing runs."""
    coming = line(
        "carbonate",
        4_000,
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + 3 * ONE_DAY,
    )
    draft = plan(line("carbonate", 42_000), coming)
    evidence = known("alkalinity", 0.42, 0.01, level=8 * DKH - 4 * 0.04)
    found = proposed(machine(), draft, evidence, runs=False)
    assert draft.lines == found.plan.lines
    told = change(found, "carbonate").grounds
    assert [Ground.IN_PLAN] == [
        one.ground for one in told if one.ground in (Ground.IN_PLAN, Ground.RUNNING)
    ]
    assert all("runs" not in one.text for one in told)


def test_a_correction_that_ended_is_left_out() -> None:
    """Lines that have no day left do not come into the new plan."""
    ended = line(
        "carbonate",
        4_000,
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY - ONE_DAY,
    )
    present = plan(line("carbonate", 42_000), ended)
    found = proposed(machine(), present, known("alkalinity", 0.42, 0.01))
    assert ["carbonate"] == [one.id for one in found.plan.lines]


def test_a_running_correction_goes_on_beside_a_new_maintenance() -> None:
    """The uptake has changed, the ramp is still right."""
    running = line(
        "carbonate",
        4_000,
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + 3 * ONE_DAY,
    )
    present = plan(line("carbonate", 42_000), running)
    level = 8 * DKH - 4 * 0.04
    found = proposed(machine(), present, known("alkalinity", 0.5, 0.01, level=level))
    assert running in found.plan.lines
    assert 50_000 == change(found, "carbonate").after_ul


@pytest.mark.parametrize(
    ("changes", "ground"),
    [
        ({"fresh": False}, Ground.TOO_OLD),
        ({"level": None}, Ground.NO_VALUE),
        ({"target": None}, Ground.NO_TARGET),
        ({"blocked": (Ground.SALINITY,)}, Ground.SALINITY),
        ({"level": 7.95 * DKH}, Ground.NEAR_TARGET),
        # Low, and perhaps only by its error of 0.4 dKH: nobody calls that right.
        ({"level": 7.5 * DKH, "level_sd": 0.4 * DKH}, Ground.WITHIN_ERROR),
    ],
)
def test_no_correction_without_a_sound_value(
    changes: dict[str, object], ground: Ground
) -> None:
    """Old, missing, aimless, blocked or near: the maintenance alone goes on."""
    evidence = known("alkalinity", 0.42, 0.01, level=7.0 * DKH)
    present = plan(line("carbonate", 42_000))
    found = proposed(
        machine(),
        present,
        replace(evidence, **changes),  # type: ignore[arg-type]  # any field
    )
    assert found.is_none
    assert ground in grounds(found, "carbonate")


def test_of_the_three_one_is_corrected_at_a_time() -> None:
    """Alkalinity is further away, in its own dead-bands; calcium waits."""
    made = machine(ALL, targets={"alkalinity": 8 * DKH, "calcium": 420.0})
    present = plan(line("carbonate", 42_000), line("calcium", 41_500))
    found = proposed(
        made,
        present,
        known("alkalinity", 0.42, 0.01, level=7.0 * DKH),
        known("calcium", 8.3, 0.2, level=400.0, target=420.0),
    )
    assert change(found, "carbonate").correction_days > 0
    assert 0 == change(found, "calcium").correction_days
    assert Ground.ONE_AT_A_TIME in grounds(found, "calcium")
    assert Ground.CORRECTION_UP not in grounds(found, "calcium")


def test_while_one_correction_runs_no_other_of_the_three_begins() -> None:
    """The knob that is being turned keeps the others still."""
    running = line(
        "carbonate",
        4_000,
        id="carbonate-up",
        purpose="correction",
        last_day=TODAY + 3 * ONE_DAY,
    )
    made = machine(ALL, targets={"alkalinity": 8 * DKH, "calcium": 420.0})
    present = plan(line("carbonate", 42_000), running, line("calcium", 41_500))
    found = proposed(
        made,
        present,
        known("alkalinity", 0.42, 0.01, level=8 * DKH - 0.16),
        known("calcium", 8.3, 0.2, level=380.0, target=420.0),
    )
    assert Ground.ONE_AT_A_TIME in grounds(found, "calcium")


def test_calcium_alone_is_corrected_slowly() -> None:
    """20 mg/L over thirty days: a drift, not a dose."""
    made = machine(ALL, targets={"alkalinity": 8 * DKH, "calcium": 420.0})
    present = plan(line("carbonate", 42_000), line("calcium", 41_500))
    found = proposed(
        made,
        present,
        known("alkalinity", 0.42, 0.01),
        known("calcium", 8.3, 0.2, level=400.0, target=420.0),
    )
    assert 30 == change(found, "calcium").correction_days


def test_a_cap_holds_and_names_itself() -> None:
    """More than the pump may give a day comes down to what fits beside a late dose."""
    made = machine()
    tight = replace(made.pumps["carbonate"], per_day_ul=44_000)
    made = replace(made, pumps={**made.pumps, "carbonate": tight})
    found = proposed(
        made,
        plan(line("carbonate", 30_000)),
        known("alkalinity", 0.6, 0.01, level=7.0 * DKH),
    )
    asked = change(found, "carbonate")
    assert asked.after_ul <= 44_000 * 12 / 13
    assert 0 == asked.correction_ul
    capped = next(one for one in asked.grounds if one.ground is Ground.CAPPED)
    assert "[pump.carbonate] most_per_day" == capped.figures["cap"]


def test_a_correction_over_a_cap_is_left_out_and_the_rest_stays() -> None:
    """No room on top of the maintenance: that goes on as it was."""
    made = machine()
    tight = replace(made.pumps["carbonate"], per_day_ul=46_000)
    made = replace(made, pumps={**made.pumps, "carbonate": tight})
    present = plan(line("carbonate", 42_000))
    found = proposed(made, present, known("alkalinity", 0.42, 0.01, level=7.0 * DKH))
    assert present.lines == found.plan.lines
    assert Ground.CAPPED in grounds(found, "carbonate")


def test_a_correction_is_slowed_to_what_the_pump_may_give() -> None:
    """Room for 2.3 mL a day on top: 1 dKH, 35.7 mL, takes sixteen days, not seven."""
    made = machine()
    tight = replace(made.pumps["carbonate"], per_day_ul=48_000)
    made = replace(made, pumps={**made.pumps, "carbonate": tight})
    present = plan(line("carbonate", 42_000))
    found = proposed(made, present, known("alkalinity", 0.42, 0.01, level=7.0 * DKH))
    asked = change(found, "carbonate")
    room_ul = 48_000 * 12 / 13 - 42_000
    days = ceil(DKH * UL_PER_MEQ_PER_L / room_ul)
    assert (16, days) == (days, asked.correction_days)
    assert asked.correction_ul == pytest.approx(DKH * UL_PER_MEQ_PER_L / days, rel=0.02)
    (laid,) = (one for one in found.plan.lines if one.purpose == "correction")
    assert laid.per_day_ul == asked.correction_ul


def test_without_a_cap_nothing_is_proposed() -> None:
    """A cap that is absent is zero."""
    made = machine(("carbonate",))
    tank = replace(made.tanks["reef"], caps={})
    made = replace(made, tanks={"reef": tank})
    found = proposed(made, None, known("alkalinity", 0.42, 0.01))
    assert () == found.plan.lines
    assert Ground.CAPPED in grounds(found, "carbonate")


def test_a_correction_longer_than_sixty_days_is_a_persons_work() -> None:
    """40 mg/L of potassium at half a milligram a day is another target."""
    made = machine(("potash",), targets={"potassium": 400.0})
    tank = replace(
        made.tanks["reef"],
        caps={
            "potassium": replace(
                made.tanks["reef"].caps["potassium"],
                net_rise=per_day("potassium", 0.5),
            )
        },
    )
    made = replace(made, tanks={"reef": tank})
    found = proposed(
        made,
        None,
        known("potassium", 0.0, 0.1, level=360.0, target=400.0),
    )
    assert Ground.RAMP_TOO_LONG in grounds(found, "potash")


def test_a_blind_correction_stays_below_its_limit() -> None:
    """Two units of room in thirty days: no more than that is added."""
    made = machine(("iodide",), targets={"iodine": 60.0})
    found = proposed(
        made,
        None,
        known("iodine", 0.0, 0.1, level=40.0, target=60.0, room=20.0, falls=False),
        SETTLED,
    )
    asked = change(found, "iodide")
    added = asked.correction_ul * asked.correction_days * 0.0005
    assert 0 < added <= 20.0


def test_a_blind_limit_that_is_reached_ends_corrections() -> None:
    """No room, no dose on top."""
    made = machine(("iodide",), targets={"iodine": 60.0})
    found = proposed(
        made,
        None,
        known("iodine", 0.0, 0.1, level=40.0, target=60.0, room=0.0, falls=False),
        SETTLED,
    )
    assert Ground.CAPPED in grounds(found, "iodide")


def test_a_correction_too_small_for_the_pump_is_left_out() -> None:
    """0.7 mL a day by a pump of 30 mL and more: a dose every forty days."""
    made = machine(("iodide",), targets={"iodine": 60.0})
    large = replace(made.pumps["iodide"], smallest_dose_ul=30_000, per_dose_ul=90_000)
    made = replace(made, pumps={"iodide": large})
    small = known("iodine", 0.0, 0.1, level=54.8, target=60.0, falls=False)
    found = proposed(made, None, small, SETTLED)
    assert () == found.plan.lines
    assert Ground.TOO_SMALL in grounds(found, "iodide")


def test_a_level_at_salinity_35_is_called_so() -> None:
    """An assessment shows it beside that of now: the figure names which one it is."""
    for at_35, name in ((True, "level_at_35"), (False, "level")):
        found = proposed(
            machine(("potash",), targets={"potassium": 400.0}),
            None,
            known("potassium", 0.0, 0.1, level=360.0, target=400.0, at_35=at_35),
        )
        told = [
            figure for one in change(found, "potash").grounds for figure in one.figures
        ]
        assert name in told
        assert ({"level", "level_at_35"} - {name}).isdisjoint(told)


def test_what_is_held_back_says_why_and_once() -> None:
    """The sentence of the block stands behind the ground; not under two headings."""
    why = ("Salinity is off by +1.4: correct that first.",)
    made = machine(("potash",), targets={"potassium": 400.0})
    low = known("potassium", 0.0, 1.0, level=380.0, target=400.0, why=why)
    present = plan(line("potash", 1_000))
    for field in ("blocked", "no_dose"):
        held = replace(low, **{field: (Ground.BLOCKED,)})  # type: ignore[arg-type]  # one of two fields
        told = [
            one.figures["why"]
            for one in change(proposed(made, present, held), "potash").grounds
            if one.ground is Ground.BLOCKED
        ]
        assert [why[0]] == told
