"""From a plan to doses: identities, windows, totals, lateness, questions."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from slackwater.errors import InputError
from slackwater.facts.plan import Day, DueDose, Plan, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.planning.timetable import Timetable, dose_table_lines
from tests.planning.plans import (
    BERLIN,
    NOON,
    STARTS,
    dues,
    line,
    machine,
    plan,
    timed,
    utc,
    with_pump,
)

DAY = date(2026, 5, 3)
ONE_DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


def doses_of(
    *lines: PlanLine, made: Machine | None = None, day: date = DAY
) -> tuple[DueDose, ...]:
    """The doses of the reef on a day."""
    return Timetable(plan(*lines), made or machine()).day("reef", day).doses


def test_doses_stand_at_the_start_of_their_share() -> None:
    """Four doses of a whole day come at midnight, six, noon and six, local time."""
    assert dues(doses_of(line(count=4))) == [
        "2026-05-02T22:00:00",
        "2026-05-03T04:00:00",
        "2026-05-03T10:00:00",
        "2026-05-03T16:00:00",
    ]


def test_windows_share_the_doses_by_elapsed_time() -> None:
    """Two hours and one hour get two doses and one."""
    windows = (
        Window(start_minute=480, end_minute=600),
        Window(start_minute=1200, end_minute=1260),
    )

    assert dues(doses_of(line(count=3, windows=windows))) == [
        "2026-05-03T06:00:00",
        "2026-05-03T07:00:00",
        "2026-05-03T18:00:00",
    ]


def test_a_window_over_midnight_is_spread_evenly_across_it() -> None:
    """Late and early hours of a night meet at midnight without a seam."""
    night = (
        Window(start_minute=0, end_minute=360),
        Window(start_minute=1320, end_minute=1440),
    )
    timetable = Timetable(plan(line(count=8, windows=night)), machine())

    doses = timetable.between(utc("2026-05-03T12:00"), utc("2026-05-04T12:00"))

    assert [f"2026-05-03T{hour}:00:00" for hour in range(20, 24)] + [
        f"2026-05-04T0{hour}:00:00" for hour in range(4)
    ] == dues(doses)


def test_explicit_times_are_kept_to_the_minute() -> None:
    """Each time of the plan gets one dose."""
    one = line(count=2, times_minute=(450, 1170))

    assert dues(doses_of(one)) == ["2026-05-03T05:30:00", "2026-05-03T17:30:00"]


def test_identities_name_tank_line_local_day_and_ordinal() -> None:
    """Ordinals start at one and have two digits, or more where they need them."""
    ids = [dose.id for dose in doses_of(line(count=120), made=machine("UTC"))]

    assert [
        ids[0],
        ids[-1],
    ] == ["reef/carbonate@2026-05-03#01", "reef/carbonate@2026-05-03#120"]


def test_doses_due_at_once_come_in_file_order() -> None:
    """Lines that are not kept apart stay in the order of the file."""
    doses = doses_of(line("trace", count=2), line("calcium", count=2))

    assert [dose.line for dose in doses] == ["trace", "calcium"] * 2


def test_dose_may_be_late_by_a_quarter_of_the_gap() -> None:
    """Hourly doses may begin a quarter of an hour late, the last one too."""
    assert {timedelta(minutes=15)} == {
        dose.latest_at - dose.due_at for dose in doses_of(line(count=24))
    }


def test_lateness_has_an_upper_bound() -> None:
    """Two doses a day, twelve hours apart, may begin two hours late and no more."""
    assert {timedelta(hours=2)} == {
        dose.latest_at - dose.due_at for dose in doses_of(line(count=2))
    }


@pytest.mark.parametrize(
    ("one", "share", "late"),
    [
        # The next dose comes in two days: a tenth is 4.8 h, over the bound of 2 h.
        (line(count=1, every_days=2), 0.10, timedelta(hours=2)),
        (line(count=1, every_days=2), 0.02, timedelta(hours=0.02 * 48)),
        # The next dose comes in a week.
        (line(count=1, weekdays=("sun",)), 0.01, timedelta(hours=0.01 * 168)),
        # No next dose: the bound holds, however small the share.
        (line(count=1, last_day=DAY), 0.01, timedelta(hours=2)),
        (line(count=1), 0.0, timedelta(0)),
        (line(count=1, last_day=DAY), 0.0, timedelta(0)),
    ],
)
def test_lateness_looks_as_far_as_the_next_dose_of_the_line(
    one: PlanLine, share: float, late: timedelta
) -> None:
    """The gap is counted across days without a dose."""
    made = timed(machine("UTC"), lateness_share=share)
    start = replace(plan(one), starts=DAY)

    doses = Timetable(start, made).day("reef", DAY).doses

    assert [late] == [dose.latest_at - dose.due_at for dose in doses]


def test_nothing_is_due_before_the_plan_starts() -> None:
    """The day before the start is empty."""
    assert doses_of(line(), day=STARTS - ONE_DAY) == ()


def test_a_tank_without_lines_has_empty_days() -> None:
    """Asking for a tank the plan does not name gives nothing, not an error."""
    timetable = Timetable(plan(line()), machine())

    assert Day(local_day=DAY, doses=()) == timetable.day("lagoon", DAY)


def test_h45_a_line_at_fault_is_refused_with_its_name() -> None:
    """No timetable is made of a line that cannot be laid out."""
    with pytest.raises(InputError) as caught:
        Timetable(plan(line(per_day_ul=2_399)), with_small_doses())

    assert [finding.where for finding in caught.value.findings] == [
        "line reef/carbonate"
    ]


def with_small_doses() -> Machine:
    """A machine whose carbonate pump gives 0.1 mL at least."""
    return with_pump(machine(), "carbonate-reef", smallest_dose_ul=100)


def test_between_takes_the_end_and_leaves_the_start() -> None:
    """Neighbouring questions share no dose and lose none."""
    timetable = Timetable(plan(line(count=24)), machine())

    assert dues(
        timetable.between(utc("2026-05-03T10:00"), utc("2026-05-03T12:00"))
    ) == ["2026-05-03T11:00:00", "2026-05-03T12:00:00"]


def test_between_understands_other_zones() -> None:
    """The same instants in another zone ask the same question."""
    timetable = Timetable(plan(line(count=24)), machine())
    zone = timezone(timedelta(hours=-5))
    moments = utc("2026-05-03T02:30"), utc("2026-05-04T02:30")

    assert timetable.between(*moments) == timetable.between(
        *(moment.astimezone(zone) for moment in moments)
    )


def test_between_sorts_all_tanks_by_time_then_file_order() -> None:
    """Doses of different tanks and zones come in one order."""
    lines = (line("trace", tank="lagoon", count=2), line("trace", count=2))
    timetable = Timetable(plan(*lines), machine("UTC", other_zone="UTC"))

    doses = timetable.between(utc("2026-05-02T23:59"), utc("2026-05-03T23:59"))

    assert [dose.tank for dose in doses] == ["lagoon", "reef"] * 2


@given(
    hours=st.lists(st.integers(0, 24 * 12), min_size=2, max_size=8, unique=True),
    zone=st.sampled_from([BERLIN, "Pacific/Kiritimati", "Pacific/Marquesas"]),
)
@settings(deadline=None)
def test_questions_in_parts_give_what_one_question_gives(
    hours: list[int], zone: str
) -> None:
    """Every dose of a stretch is in exactly one of its parts, days give the same."""
    lines = (line(count=7), line("trace", tank="lagoon", count=5))
    timetable = Timetable(plan(*lines), machine(zone, other_zone="UTC"))
    moments = [utc("2026-03-24T00:00") + hour * HOUR for hour in sorted(hours)]

    parts = [timetable.between(one, other) for one, other in pairwise(moments)]
    days = [
        dose
        for offset in range(20)
        for tank in ("reef", "lagoon")
        for dose in timetable.day(tank, date(2026, 3, 20) + offset * ONE_DAY).doses
        if moments[0] < dose.due_at <= moments[-1]
    ]

    assert sorted(days, key=lambda dose: (dose.due_at, dose.tank == "lagoon")) == [
        dose for part in parts for dose in part
    ]


def test_next_after_is_the_first_later_dose() -> None:
    """A dose due now is not next any more."""
    timetable = Timetable(plan(line(count=24)), machine())

    asked = [utc("2026-05-03T10:00"), utc("2026-05-03T10:59:59"), utc("2026-05-03T11")]

    assert [utc("2026-05-03T11"), utc("2026-05-03T11"), utc("2026-05-03T12")] == [
        timetable.next_after(moment) for moment in asked
    ]


def test_next_after_answers_an_earlier_moment_too() -> None:
    """What was asked before does not change an answer."""
    timetable = Timetable(plan(line(count=24)), machine())
    timetable.next_after(utc("2026-05-03T10:30"))

    assert utc("2026-05-03T09:00") == timetable.next_after(utc("2026-05-03T08:30"))


def test_knowing_the_next_dose_hides_none() -> None:
    """Nothing lies before it; itself, and one before the question, are found."""
    timetable = Timetable(plan(line(count=24)), machine())
    asked = utc("2026-05-03T10:15")
    timetable.next_after(asked)

    spans = ((asked, 1), (asked, 3), (asked - HOUR, 1), (asked - HOUR, 3))
    assert [0, 1, 0, 1] == [
        len(timetable.between(after, after + quarters * HOUR / 4))
        for after, quarters in spans
    ]


def test_next_after_looks_400_days_ahead_and_no_further() -> None:
    """A plan that starts in 400 days is seen, a second earlier it is not."""
    later = plan(line(), starts=date(2027, 6, 8))
    timetable = Timetable(later, machine("UTC"))
    seen = utc("2027-06-08T00:00") - timedelta(days=400)

    assert [None, utc("2027-06-08T00:00")] == [
        timetable.next_after(seen - timedelta(seconds=1)),
        timetable.next_after(seen),
    ]


def test_next_after_the_last_dose_is_none() -> None:
    """A plan that has ended says so, every time it is asked."""
    timetable = Timetable(plan(line(last_day=DAY)), machine())
    after = utc("2026-05-04T00:00")

    assert [
        timetable.next_after(after + days * ONE_DAY) for days in (0, 0.5, 1, 2)
    ] == [None] * 4


def test_dose_table_is_canonical() -> None:
    """Lines hold everything a digest must cover, by time, then identity."""
    one = line(per_day_ul=2_001, count=2)
    other = line("trace", per_day_ul=500, count=1, windows=(NOON,))

    lines = dose_table_lines(plan(one, other), machine("UTC"), [DAY, DAY])

    shown = b"""\
2026-05-03T00:00:00Z 2026-05-03T02:00:00Z reef/carbonate@2026-05-03#01 \
carbonate-reef carbonate 1000
2026-05-03T12:00:00Z 2026-05-03T14:00:00Z reef/carbonate@2026-05-03#02 \
carbonate-reef carbonate 1001
2026-05-03T12:00:00Z 2026-05-03T14:00:00Z reef/trace@2026-05-03#01 \
trace-reef trace 500"""

    assert shown == b"\n".join(lines)


def test_h41_another_zone_makes_another_dose_table() -> None:
    """Lisbon and Berlin share local times and no dose table."""
    tables = [
        list(dose_table_lines(plan(line()), machine(zone), [DAY]))
        for zone in (BERLIN, "Europe/Lisbon", "Europe/Vienna")
    ]

    assert tables[0] != tables[1]
    assert tables[0] == tables[2]


WINDOWS = (
    st.lists(st.integers(0, 1440), min_size=2, max_size=6, unique=True)
    .map(sorted)
    .map(
        lambda edges: tuple(
            Window(start_minute=start, end_minute=end)
            for start, end in zip(edges[::2], edges[1::2], strict=False)
        )
    )
)


@st.composite
def roomy_lines(draw: st.DrawFn) -> PlanLine:
    """Lines of any amount, count and windows that leave the pump its rest."""
    windows = draw(WINDOWS)
    minutes = sum(window.end_minute - window.start_minute for window in windows)
    per_day_ul = draw(st.integers(100, 2_000_000))
    # A pause is 60 s and the run; 2 mL a dose run for 2 s.
    most = min(minutes // 2, 288, per_day_ul // 100)
    count = draw(st.integers(1, max(1, most)))
    return line(per_day_ul=min(per_day_ul, count * 2_000), count=count, windows=windows)


@given(one=roomy_lines(), day=st.dates(STARTS, date(2027, 12, 31)))
@settings(deadline=None, max_examples=150)
def test_any_line_gives_its_exact_total_inside_its_windows(
    one: PlanLine, day: date
) -> None:
    """Sum, count, ordinals, windows and lateness hold for what can be asked for."""
    # UTC: what the calendar changes is tested apart.
    timetable = Timetable(plan(one), machine("UTC"))

    doses = timetable.day("reef", day).doses
    following = timetable.day("reef", day + ONE_DAY).doses

    assert one.per_day_ul == sum(dose.volume_ul for dose in doses)
    assert list(range(1, one.count + 1)) == [dose.ordinal for dose in doses]
    assert all(_inside(one, dose) for dose in doses)
    assert all(
        dose.due_at <= dose.latest_at < later.due_at
        for dose, later in pairwise((*doses, following[0]))
    )
    assert min(dose.volume_ul for dose in doses) >= 100


def _inside(one: PlanLine, dose: DueDose) -> bool:
    shown = dose.due_at.astimezone(ZoneInfo("UTC"))
    minute = shown.hour * 60 + shown.minute
    return any(
        window.start_minute <= minute < window.end_minute for window in one.windows
    )


def test_identities_are_unique_over_a_year() -> None:
    """No identity comes twice in a year of two clock changes."""
    lines = (line(count=9), line("trace", count=4, every_days=3))
    timetable = Timetable(plan(*lines), machine())

    doses = timetable.between(utc("2026-01-01T00:00"), utc("2027-01-01T00:00"))

    assert len(doses) == len({dose.id for dose in doses})


def test_equal_plans_give_equal_doses_in_whatever_order_they_are_asked() -> None:
    """A day is the same before and after other days were laid out."""
    forwards = Timetable(three_apart(), machine())
    backwards = Timetable(three_apart(), machine())
    days = [date(2026, 3, 20) + offset * ONE_DAY for offset in range(15)]

    one = [forwards.day("reef", day) for day in days]
    other = [backwards.day("reef", day) for day in reversed(days)]

    assert one == other[::-1]


def three_apart() -> Plan:
    """A plan in which lines move for each other."""
    return plan(line(count=12), line("calcium", count=12), line("magnesium", count=8))


def test_a_year_of_doses_is_made_once() -> None:
    """The same dose is the same object when it is asked for again soon."""
    timetable = Timetable(plan(line()), machine())
    moments = datetime(2026, 5, 3, tzinfo=UTC), datetime(2026, 5, 4, tzinfo=UTC)

    one, other = timetable.between(*moments), timetable.between(*moments)

    assert all(dose is same for dose, same in zip(one, other, strict=True))
