"""Gaps between doses of one pump and of solutions kept apart (H44, H46)."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from slackwater.errors import Finding
from slackwater.facts.plan import DueDose, Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import check
from slackwater.planning.timetable import Timetable
from tests.planning.plans import dues, line, machine, plan, timed, with_node, with_pump

DAY = date(2026, 5, 3)
ONE_DAY = timedelta(days=1)
MORNING = (Window(start_minute=480, end_minute=540),)


def day_dues(*lines: PlanLine, made: Machine | None = None) -> dict[str, list[str]]:
    """When each line's doses are due on a day in UTC."""
    doses = Timetable(plan(*lines), made or machine("UTC")).day("reef", DAY).doses
    return {
        one.id: [
            text[11:] for text in dues(dose for dose in doses if dose.line == one.id)
        ]
        for one in lines
    }


def findings(*lines: PlanLine, made: Machine | None = None) -> list[Finding]:
    """What a check of these lines says."""
    return check(plan(*lines), made or machine("UTC"))


def test_h46_the_later_line_moves_by_whole_minutes() -> None:
    """1 mL flows 2 s at most, then 15 minutes: the next whole minute is the 16th."""
    found = day_dues(line(per_day_ul=4_000, count=4), line("calcium", 4_000, 4))

    assert found["carbonate"] == ["00:00:00", "06:00:00", "12:00:00", "18:00:00"]
    assert found["calcium"] == ["00:16:00", "06:16:00", "12:16:00", "18:16:00"]


def test_h46_file_order_decides_who_moves() -> None:
    """The line that stands first stays where it was asked for."""
    found = day_dues(line("calcium", 4_000, 4), line(per_day_ul=4_000, count=4))

    assert found["calcium"][0] == "00:00:00"
    assert found["carbonate"][0] == "00:16:00"


def test_h46_a_hydroxide_keeps_half_an_hour() -> None:
    """The longer gap holds where one of the two is a hydroxide."""
    found = day_dues(line("lye", 4_000, 4), line("magnesium", 4_000, 4))

    assert found["magnesium"][0] == "00:31:00"


def test_h46_gap_runs_from_the_last_possible_flow_end() -> None:
    """50 mL run 50 s and may flow 60 s: the gap ends 16 minutes after the start."""
    lines = (line(per_day_ul=50_000, count=1), line("calcium", 1_000, 1))

    assert day_dues(*lines)["calcium"] == ["00:16:00"]
    assert day_dues(replace(lines[0], per_day_ul=50_001), lines[1])["calcium"] == [
        "00:17:00"
    ]


def test_h46_a_dose_moves_before_its_flow_would_reach_the_other() -> None:
    """A dose that would end too shortly before the other goes behind it."""
    first = line(per_day_ul=1_000, count=1, times_minute=(480,))
    # 07:44:58 would be the last start whose flow of 2 s ends 15 minutes before 08:00.
    times = (Window(start_minute=464, end_minute=540),)
    early = (Window(start_minute=465, end_minute=540),)

    assert day_dues(first, line("calcium", 1_000, 1, windows=times))["calcium"] == [
        "07:44:00"
    ]
    assert day_dues(first, line("calcium", 1_000, 1, windows=early))["calcium"] == [
        "08:16:00"
    ]


def test_h46_times_stay_and_windows_give_way() -> None:
    """A line with explicit times is laid first, wherever it stands in the file."""
    found = day_dues(
        line(per_day_ul=1_000, count=1, windows=MORNING),
        line("calcium", 1_000, 1, times_minute=(480,)),
    )

    assert found == {"carbonate": ["08:16:00"], "calcium": ["08:00:00"]}


def test_h46_solutions_that_go_together_do_not_move() -> None:
    """Calcium and magnesium may come at once."""
    found = day_dues(line("calcium", 4_000, 4), line("magnesium", 4_000, 4))

    assert found["calcium"] == found["magnesium"]


def test_h46_tanks_do_not_wait_for_each_other() -> None:
    """The same solutions in another tank keep no gap."""
    lines = (line(count=4), line("calcium", 4_000, 4, tank="lagoon"))
    timetable = Timetable(plan(*lines), machine("UTC", other_zone="UTC"))

    assert dues(timetable.day("reef", DAY).doses) == dues(
        timetable.day("lagoon", DAY).doses
    )


def test_h46_a_dose_gives_way_to_the_evening_before() -> None:
    """Across midnight the later dose moves, whatever the file order."""
    lines = (
        line("calcium", 1_000, 1),
        line(per_day_ul=1_000, count=1, times_minute=(1435,)),
    )

    assert day_dues(*lines)["calcium"] == ["00:11:00"]
    assert findings(*lines) == []


def test_h46_only_the_evening_before_is_given_way_to() -> None:
    """3 May 2026 is a Sunday: what comes on Saturdays alone pushes it, Monday not."""
    lines = (
        line("calcium", 1_000, 1),
        line(per_day_ul=1_000, count=1, times_minute=(1435,), weekdays=("sat",)),
    )
    timetable = Timetable(plan(*lines), machine("UTC"))

    assert ["2026-05-03T00:11:00", "2026-05-04T00:00:00"] == dues(
        timetable.day("reef", DAY).doses + timetable.day("reef", DAY + ONE_DAY).doses
    )


def test_h46_no_dose_leaves_its_window() -> None:
    """A window of ten minutes has no place behind a gap of fifteen."""
    narrow = (Window(start_minute=480, end_minute=490),)
    lines = (
        line(per_day_ul=1_000, count=1, times_minute=(479,)),
        line("calcium", 1_000, 1, windows=narrow),
    )
    day = Timetable(plan(*lines), machine("UTC")).day("reef", DAY)

    left_out = (
        "reef/calcium@2026-05-03#01: no time in its share keeps the gap to carbonate "
        "(carbonate)"
    )

    assert (left_out,) == day.left_out
    assert [dose.line for dose in day.doses] == ["carbonate"]


def test_h46_a_plan_without_room_is_refused_at_its_first_dose() -> None:
    """The finding names the line, the first dose, the gap and what to change."""
    lines = (
        line(per_day_ul=1_000, count=1, times_minute=(479,)),
        line("calcium", 1_000, 1, times_minute=(480,)),
    )

    assert [
        Finding(
            what="reef/calcium@2026-01-05#01: no time in its share keeps the gap to "
            "carbonate (carbonate)",
            where="line reef/calcium",
            expected="902 s after a dose of carbonate has begun",
            do="Give fewer doses of one of the two, or move calcium away.",
        )
    ] == findings(*lines)


def test_h46_a_crowded_plan_is_refused() -> None:
    """Every half hour of two solutions that need a quarter of an hour each way."""
    found = findings(line(count=48), line("calcium", count=48))

    assert [finding.where for finding in found] == ["line reef/calcium"]
    assert "reef/calcium@2026-01-05#01" in found[0].what


def test_a_moved_dose_keeps_the_rest_of_its_own_pump() -> None:
    """A dose pushed onto the next of its line pushes that one too."""
    lines = (
        line(per_day_ul=1_000, count=1, times_minute=(475,)),
        line("calcium", 4_000, 4, windows=MORNING),
    )
    crowded = timed(machine("UTC"), apart_gap_s=1138.0)

    # 07:55 + 2 s + 1138 s is 08:14; a run and its rest take 61 s, so not 08:15.
    assert day_dues(*lines, made=crowded)["calcium"] == [
        "08:14:00",
        "08:16:00",
        "08:30:00",
        "08:45:00",
    ]


def test_h47_a_line_that_outruns_its_pump_is_refused() -> None:
    """Doses closer than the run and the gap of the pump never fit."""
    # 10 mL run 10 s, then 60 s: 50 doses of an hour stand 72 s apart, 52 only 69 s.
    fits = line(per_day_ul=500_000, count=50, windows=MORNING)
    runs = line(per_day_ul=520_000, count=52, windows=MORNING)

    assert findings(fits) == []
    assert [
        Finding(
            what="reef/carbonate@2026-01-05#02: carbonate-reef has not rested since "
            "its dose of carbonate",
            where="line reef/carbonate",
            expected="70 s from one dose of carbonate-reef to its next",
            do="Give fewer doses, or widen the windows; mend a doubled line.",
        )
    ] == findings(runs)


def test_h44_a_line_that_is_there_twice_is_refused() -> None:
    """A doubled line under another name does not become a doubled dose."""
    twice = findings(line(), line(id="again"))

    assert [finding.where for finding in twice] == ["line reef/again"]
    assert "has not rested since its dose of carbonate" in twice[0].what


def test_h44_two_lines_of_a_pump_may_share_it_at_other_hours() -> None:
    """Day and night amounts on one pump are a plan, not a doubled line."""
    night = (Window(start_minute=0, end_minute=480),)
    day = (Window(start_minute=480, end_minute=1440),)

    assert findings(line(windows=day), line(id="night", windows=night)) == []


def test_h44_lines_of_a_pump_that_meet_at_midnight_are_refused() -> None:
    """The rest of a pump holds across midnight."""
    found = findings(
        line(count=1, per_day_ul=1_000, times_minute=(0,)),
        line(id="late", count=1, per_day_ul=50_000, times_minute=(1439,)),
    )

    assert [finding.where for finding in found] == ["line reef/carbonate"]
    assert "reef/carbonate@2026-01-06#01" in found[0].what


def test_a_dose_that_its_own_pump_pushes_out_of_its_window_is_refused() -> None:
    """Where the pump's own rest pushes over the end, the pump is named."""
    # Six minutes for four doses: shares of 90 s, the third cut short at 08:04.
    windows = (
        Window(start_minute=480, end_minute=484),
        Window(start_minute=600, end_minute=602),
    )
    found = findings(
        line(per_day_ul=1_000, count=1, times_minute=(464,)),
        line("calcium", 4_000, 4, windows=windows),
        made=timed(machine("UTC"), apart_gap_s=1018.0),
    )

    # 07:44 + 2 s + 1018 s is 08:01; so 08:01:00, 08:02:30, and 08:04:00 is too late.
    assert found[0].what == (
        "reef/calcium@2026-01-05#03: calcium-reef has not rested since its dose of "
        "calcium"
    )


def test_doses_that_push_each_other_from_day_to_day_are_refused() -> None:
    """A push that runs through a whole day would need the whole past to be known."""
    # Four runs of 21 420 s and the rest of a minute leave two minutes each: Monday's
    # last dose of carbonate pushes Tuesday's first, and that goes on to Wednesday.
    slow = with_pump(machine("UTC"), "calcium-reef", rate_nl_per_s=1_000)
    slow = with_node(slow, cut_limit_ms=86_400_000)
    asked = (
        line("calcium", 85_680, 4, weekdays=("tue", "wed")),
        line(per_day_ul=1_000, count=1, times_minute=(1439,), weekdays=("mon",)),
    )

    found = findings(*asked, made=slow)

    assert [
        Finding(
            what="doses push each other from day to day up to 2026-01-07",
            where="tank reef",
            expected="a pause each night in which what was moved is caught up with",
            do="Give fewer doses, or leave out the hours around midnight.",
        )
    ] == found


def kept_gaps(asked: Plan, made: Machine, doses: list[DueDose]) -> bool:
    """Whether doses, in order of time, keep all gaps, worked out dose by dose."""
    solutions = {(one.tank, one.id): one.solution for one in asked.lines}
    rests_s = (made.timing.hydroxide_gap_s, made.timing.apart_gap_s)
    longest_s = max(*rests_s, made.timing.same_pump_gap_s)
    for place, one in enumerate(doses):
        rate = made.pumps[one.pump].rate_nl_per_s
        run_s = one.volume_ul * 1000 / rate
        for other in doses[place + 1 :]:
            apart = (other.due_at - one.due_at).total_seconds()
            # No gap is longer, and all that follow are further away.
            if apart >= run_s * 1.2 + longest_s:
                break
            if one.pump == other.pump and apart < run_s + made.timing.same_pump_gap_s:
                return False
            pair = [solutions[each.tank, each.line] for each in (one, other)]
            gap_s = made.gap_s(*pair)
            if gap_s and apart < run_s * 1.2 + gap_s:
                return False
    return True


@st.composite
def lines_apart(draw: st.DrawFn) -> list[PlanLine]:
    """Three lines that keep gaps, one of them in a window, in any order."""
    start, end = sorted(
        draw(st.lists(st.integers(0, 1440), min_size=2, max_size=2, unique=True))
    )
    lines = [
        line(solution, draw(st.integers(5_000, 400_000)), draw(st.integers(1, 20)))
        for solution in draw(st.permutations(["carbonate", "calcium", "lye"]))
    ]
    windows = (Window(start_minute=start, end_minute=end),)
    return [*lines[:2], replace(lines[2], windows=windows)]


@given(
    lines=lines_apart(),
    zone=st.sampled_from(["UTC", "Europe/Berlin", "Australia/Lord_Howe"]),
    gap_s=st.integers(0, 3600),
)
@settings(deadline=None, max_examples=120)
def test_h46_random_plans_keep_every_gap_or_are_refused(
    lines: list[PlanLine], zone: str, gap_s: int
) -> None:
    """What a plan that passes asks for keeps all gaps, around clock changes too."""
    asked = plan(*lines)
    long_runs = with_node(machine(zone), cut_limit_ms=600_000)
    made = timed(long_runs, apart_gap_s=float(gap_s))
    timetable = Timetable(asked, made)
    refused = check(asked, made)

    days = [date(2026, 3, 28) + offset * ONE_DAY for offset in range(9)]
    laid = [timetable.day("reef", day) for day in days]
    # A window inside an hour that the clock leaves out is listed and not refused, as an
    # explicit time is.
    assume(not any("do not exist" in text for day in laid for text in day.left_out))
    doses = [dose for day in laid for dose in day.doses]
    total_ul = len(days) * sum(one.per_day_ul for one in lines)

    assert kept_gaps(asked, made, doses) or _pushed(refused)
    assert all(one.due_at <= other.due_at for one, other in pairwise(doses))
    assert refused or not any(day.left_out for day in laid)
    assert refused or total_ul == sum(dose.volume_ul for dose in doses)


def _pushed(refused: list[Finding]) -> bool:
    return any("push each other" in finding.what for finding in refused)


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/St_Johns"])
def test_h46_gaps_hold_on_every_day_of_a_year(zone: str) -> None:
    """Three solutions kept apart, a whole year, both clock changes."""
    asked = plan(line(count=12), line("calcium", count=18), line("magnesium", count=8))
    made = machine(zone)
    timetable = Timetable(asked, made)

    mondays = [date(2026, 2, 2) + week * 7 * ONE_DAY for week in range(52)]
    weeks = [
        [
            dose
            for offset in range(8)
            for dose in timetable.day("reef", monday + offset * ONE_DAY).doses
        ]
        for monday in mondays
    ]

    assert check(asked, made) == []
    assert all(kept_gaps(asked, made, doses) for doses in weeks)
