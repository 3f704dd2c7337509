"""Faults of single lines and groups, all of them at once (H42 to H45, H47)."""

from dataclasses import replace

import pytest

from slackwater.errors import Finding
from slackwater.facts.plan import Group, PlanLine, Window
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import check
from slackwater.planning.faults import group_faults, line_faults
from tests.planning.plans import line, machine, plan, with_node, with_pump, with_tank


def said(one: PlanLine, made: Machine | None = None) -> list[str]:
    """What is wrong with a line."""
    return [fault.finding.what for fault in line_faults(plan(one), made or machine())]


BACKWARDS = (Window(start_minute=600, end_minute=480),)
BEYOND = (Window(start_minute=600, end_minute=1441),)
EMPTY = (Window(start_minute=600, end_minute=600),)
BEFORE = (Window(start_minute=-1, end_minute=600),)
OVERLAPPING = (
    Window(start_minute=0, end_minute=480),
    Window(start_minute=479, end_minute=600),
)
WINDOWS_WRONG = "the windows overlap, or one does not begin before it ends"


@pytest.mark.parametrize(
    ("one", "what"),
    [
        (line(pump="kettle"), "there is no pump kettle"),
        (line(solution="tea"), "there is no solution tea"),
        (
            replace(line(), solution="calcium"),
            "the pump carbonate-reef gives carbonate, not calcium",
        ),
        (
            replace(line(), tank="lagoon"),
            "the pump carbonate-reef doses into reef, not lagoon",
        ),
        (line(per_day_ul=0), "the amount is 0 µL a day"),
        (line(per_day_ul=-5), "the amount is -5 µL a day"),
        (line(count=0), "0 doses a day"),
        (line(per_day_ul=289_000, count=289), "289 doses a day"),
        (line(every_days=0), "every 0 days"),
        (line(windows=()), "no window is given"),
        (line(windows=BACKWARDS), WINDOWS_WRONG),
        (line(windows=BEYOND), WINDOWS_WRONG),
        (line(windows=EMPTY), WINDOWS_WRONG),
        (line(windows=BEFORE), WINDOWS_WRONG),
        (line(windows=OVERLAPPING), WINDOWS_WRONG),
        (line(count=2, times_minute=(60,)), "the times do not make 2 doses of one day"),
        (
            line(count=2, times_minute=(60, 60)),
            "the times do not make 2 doses of one day",
        ),
        (
            line(count=2, times_minute=(60, 1440)),
            "the times do not make 2 doses of one day",
        ),
        (
            line(count=2, times_minute=(-1, 60)),
            "the times do not make 2 doses of one day",
        ),
        (
            line(count=1, times_minute=(1440,)),
            "the times do not make 1 doses of one day",
        ),
        (
            replace(line(count=1), times_minute=(60,)),
            "windows and times are both given",
        ),
    ],
)
def test_h42_h45_each_fault_of_a_line_is_named(one: PlanLine, what: str) -> None:
    """A line that is wrong in one way says so, whatever else follows from it."""
    assert what in said(one)


def test_a_sound_line_has_no_fault() -> None:
    """Nothing is said of a line that is right, one of 288 doses among them."""
    assert said(line()) == []
    assert said(line(per_day_ul=288_000, count=288)) == []


def test_h45_an_unknown_tank_is_named() -> None:
    """A tank the machine does not have is a fault of the line."""
    assert "there is no tank pond" in said(replace(line(), tank="pond"))


def test_an_unknown_zone_is_a_fault_of_the_line() -> None:
    """A plan cannot be laid out in a zone that does not exist."""
    made = with_tank(machine(), zone="Mars/Olympus")

    assert said(line(), made) == ['there is no time zone "Mars/Olympus"']


def test_the_last_day_is_not_before_the_first() -> None:
    """Days that are turned round are named with both dates."""
    made = plan().starts
    one = line(first_day=made, last_day=made.replace(day=made.day - 1))

    assert said(one) == ["the last day 2026-01-04 is before the first, 2026-01-05"]


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        (
            {"node": "attic"},
            "the pump carbonate-reef names a node that is not there, attic",
        ),
        (
            {"reservoir": "cup"},
            "the pump carbonate-reef names a reservoir that is not there, cup",
        ),
        ({"rate_nl_per_s": 0}, "the pump carbonate-reef has a rate of 0 nL/s"),
    ],
)
def test_h45_a_pump_that_leads_nowhere_is_named(
    changes: dict[str, object], what: str
) -> None:
    """A pump without node, reservoir or rate cannot be planned with."""
    assert [what] == said(line(), with_pump(machine(), "carbonate-reef", **changes))


def test_h47_the_largest_count_that_works_is_told() -> None:
    """2 399 µL in 24 doses leave one of 99 µL; 23 doses are fine."""
    fault = line_faults(plan(line(per_day_ul=2_399)), machine())[0].finding

    assert (
        Finding(
            what="2.399 mL in 24 doses makes one of 99 µL",
            where="line reef/carbonate",
            expected="at least 100 µL, what carbonate-reef gives reliably",
            do="Give at most 23 doses.",
        )
        == fault
    )
    assert said(line(per_day_ul=2_399, count=23)) == []
    assert said(line(per_day_ul=2_400, count=24)) == []


def test_h47_an_amount_below_one_dose_is_told_apart() -> None:
    """No number of doses helps where the day's amount is too small."""
    fault = line_faults(plan(line(per_day_ul=99, count=1)), machine())[0].finding

    assert fault.do == "Give more at a time on fewer days, or dilute the solution."


def test_h47_a_run_longer_than_the_node_allows_is_refused() -> None:
    """The node cuts off after 60 s, which is 60 mL at 1 mL/s."""
    assert said(line(per_day_ul=60_000, count=1)) == []

    fault = line_faults(plan(line(per_day_ul=120_001, count=2)), machine())[0].finding

    assert (fault.what, fault.do) == (
        "a dose of 60.001 mL is more than one run can give",
        "Give at least 3 doses.",
    )


def test_h47_more_doses_are_no_advice_where_a_cap_forbids_the_day() -> None:
    """3.6 L a day in runs of 60 mL would be 60 doses, and the pump may give 1 L."""
    capped = with_pump(machine(), "carbonate-reef", per_day_ul=1_000_000)
    (fault,) = line_faults(plan(line(per_day_ul=3_600_000, count=12)), capped)
    assert fault.finding.do == (
        "Lower the line: [pump.carbonate-reef] most_per_day allows 1 L, however many "
        "doses it is given in."
    )
    assert "longest_run in [node." in fault.finding.expected


def test_h47_the_cap_that_asks_for_more_doses_is_named() -> None:
    """240 mL in doses of 10 mL, the pump's cap, though a run could give 60."""
    capped = with_pump(
        machine(), "carbonate-reef", per_day_ul=10**6, per_dose_ul=10_000
    )
    (fault,) = line_faults(plan(line(per_day_ul=240_000, count=2)), capped)
    assert fault.finding.do == (
        "Give at least 24 doses, for [pump.carbonate-reef] most_per_dose allows 10 mL."
    )
    (fault,) = line_faults(
        plan(line(per_day_ul=1_000_000, count=2)),
        with_pump(capped, "carbonate-reef", per_dose_ul=1_000),
    )
    assert fault.finding.do.startswith("Lower the line; 1000 doses are more than 288")


@pytest.mark.parametrize(
    ("caps", "advice"),
    [
        # Nothing is stated: no cap to name.
        ({"per_day_ul": 0, "per_dose_ul": 0}, "Give at least 3 doses."),
        # What a run gives is as little as the cap.
        ({"per_dose_ul": 60_000}, "Give at least 3 doses."),
        (
            {"per_day_ul": 1},
            "Lower the line: [pump.carbonate-reef] most_per_day allows 1 µL",
        ),
    ],
)
def test_h47_the_advice_names_a_cap_only_where_it_asks_for_more(
    caps: dict[str, int], advice: str
) -> None:
    """180 mL in runs of 60 mL at most."""
    capped = with_pump(machine(), "carbonate-reef", **caps)
    (fault,) = line_faults(plan(line(per_day_ul=180_000, count=2)), capped)
    assert advice == fault.finding.do.split(", however")[0]


def test_h47_as_many_doses_as_a_day_has_are_advised() -> None:
    """288 runs of 60 mL are 17.28 L."""
    (fault,) = line_faults(plan(line(per_day_ul=17_280_000, count=1)), machine())
    assert "Give at least 288 doses." == fault.finding.do


def test_h47_what_a_run_gives_is_reckoned_to_the_microlitre() -> None:
    """A million milliseconds at 999 999 nL/s are 999 999 µL."""
    patient = with_node(machine(), cut_limit_ms=10**6)
    slower = with_pump(patient, "carbonate-reef", rate_nl_per_s=999_999)

    assert said(line(per_day_ul=999_999, count=1), slower) == []
    assert len(said(line(per_day_ul=1_000_000, count=1), slower)) == 1


def test_h47_a_command_carries_a_litre_at_most() -> None:
    """However long the node may run, one dose is no more than a command can say.

    Source: the command contract, `ul` up to 10^6.
    """
    patient = with_node(machine(), cut_limit_ms=10**7)

    assert said(line(per_day_ul=1_000_000, count=1), patient) == []
    assert said(line(per_day_ul=1_000_001, count=1), patient) == [
        "a dose of 1000.001 mL is more than one run can give"
    ]


def test_h47_a_node_that_may_not_run_gives_no_dose() -> None:
    """A limit of nothing is told as such, not as a number of doses."""
    still = with_node(machine(), cut_limit_ms=0)

    fault = line_faults(plan(line()), still)[0].finding

    assert fault.do == "Raise the longest run of the node."


def test_h44_an_identity_that_stands_twice_is_a_fault() -> None:
    """The second line of one id is named; in another tank it is another line."""
    found = line_faults(
        plan(line(), line("trace", tank="lagoon", id="carbonate"), line()), machine()
    )

    assert [fault.order for fault in found] == [2]
    assert found[0].finding.what == "the id carbonate stands on an earlier line already"


def test_all_faults_come_out_at_once() -> None:
    """Three wrong lines give findings of all three, in file order."""
    wrong = plan(line(count=0), line("calcium", pump="kettle"), line("trace", 0))

    assert [finding.where for finding in check(wrong, machine())] == [
        "line reef/carbonate",
        "line reef/calcium",
        "line reef/trace",
    ]


def test_the_rest_of_a_plan_is_checked_beside_a_faulty_line() -> None:
    """One fault does not hide that another line breaks a cap."""
    small = with_pump(machine(), "calcium-reef", per_dose_ul=999)

    found = check(plan(line(count=0), line("calcium")), small)

    assert [finding.where for finding in found] == [
        "line reef/carbonate",
        "line reef/calcium",
    ]


GROUP = {"pair": Group(id="pair", ratio={"carbonate": 3, "calcium": 2})}


def pair(carbonate_ul: int, calcium_ul: int) -> tuple[PlanLine, PlanLine]:
    """Two lines of one group."""
    return (
        line(per_day_ul=carbonate_ul, group="pair"),
        line("calcium", calcium_ul, group="pair"),
    )


@pytest.mark.parametrize(
    ("carbonate_ul", "calcium_ul"),
    [(30_000, 20_000), (30_001, 20_001), (10_000, 6_667)],
)
def test_amounts_as_the_ratio_says_are_fine(carbonate_ul: int, calcium_ul: int) -> None:
    """A microlitre of rounding is not another ratio."""
    assert group_faults(plan(*pair(carbonate_ul, calcium_ul), groups=GROUP)) == []


def test_amounts_that_do_not_match_the_ratio_are_refused() -> None:
    """The line, both amounts and the ratio are named."""
    assert [
        Finding(
            what="carbonate gets 30 mL a day and calcium 20.01 mL",
            where="group pair",
            expected="amounts as 3 to 2, as the ratio says",
            do="Mend the amounts or the ratio.",
        )
    ] == group_faults(plan(*pair(30_000, 20_010), groups=GROUP))


def test_a_group_without_its_lines_is_refused() -> None:
    """A ratio that names a line which is not there is wrong, so is no ratio."""
    alone = plan(pair(30_000, 20_000)[0], groups=GROUP)
    unnamed = plan(*pair(30_000, 20_000))

    assert [
        fault.what for asked in (alone, unnamed) for fault in group_faults(asked)
    ] == [
        "its lines are carbonate, its ratio names calcium, carbonate",
        "its lines are calcium, carbonate, its ratio names none",
    ]


def test_a_group_across_tanks_is_refused() -> None:
    """Lines that hold and resume together share a tank."""
    other = line("calcium", 20_000, group="pair", tank="lagoon")
    asked = plan(pair(30_000, 20_000)[0], other, groups=GROUP)

    assert [fault.what for fault in group_faults(asked)] == [
        "its lines belong to different tanks"
    ]


def test_a_group_keeps_one_purpose() -> None:
    """A correction that rests would take the maintenance of its group with it."""
    first, second = pair(30_000, 20_000)
    mixed = plan(first, replace(second, purpose="correction"), groups=GROUP)
    assert ["maintenance and correction lines in one group"] == [
        finding.what for finding in group_faults(mixed)
    ]
