"""Who leads a group, and the ratio its lines keep."""

from slackwater.assessment.grouping import Ties, groups_of, ties_of
from slackwater.assessment.knobs import knobs_of
from slackwater.facts.plan import Group, Plan
from slackwater.facts.proposal import Ground, Proposal
from tests.assessment.reefs import (
    TODAY,
    change,
    grounds,
    known,
    line,
    lines,
    machine,
    plan,
    proposed,
)

SALTS = ("potash", "calcium")


def grouped(*solutions: str, **ratio: int) -> Plan:
    """A plan of lines in one group."""
    lines = [line(name, 5_000, group="salts") for name in solutions]
    return plan(*lines, groups={"salts": Group(id="salts", ratio=ratio)})


def ties(present: Plan) -> Ties:
    """Who follows whom in it."""
    pumps = [one.pump for one in present.lines]
    return ties_of(knobs_of(machine(pumps), "reef", present, TODAY, {}), present, TODAY)


def test_without_alkalinity_the_first_line_leads() -> None:
    """As it stands in the file, not by name."""
    found = ties(grouped(*SALTS, potash=2, calcium=3))
    assert {"calcium": ("potash", 3, 2)} == {
        name: (tie.leader, tie.own, tie.led) for name, tie in found.by_pump.items()
    }


def test_alkalinity_leads_wherever_it_stands() -> None:
    """Its pump is the one that tests move."""
    found = ties(
        grouped(
            "calcium",
            "carbonate",
            "potash",
            **dict.fromkeys(("calcium", "carbonate", "potash"), 1),
        )
    )
    assert {"calcium", "potash"} == {tie.pump for tie in found.of("carbonate")}
    assert found.by_pump.keys() == {"calcium", "potash"}


def test_a_ratio_that_fits_its_lines_stays_and_another_is_told_anew() -> None:
    """Over the leader's share, in whole numbers."""
    present = grouped(*SALTS, potash=2, calcium=3)
    known = ties(present)
    assert present.groups == groups_of(present.lines, present, known)
    renamed = [line(name, 5_000, id=f"{name}-2", group="salts") for name in SALTS]
    assert {"potash-2": 2, "calcium-2": 3} == dict(
        groups_of(renamed, present, known)["salts"].ratio
    )


def with_a_little(*solutions: str) -> Proposal:
    """36 mL a day of each and 0.5 mL of iodide; the tank uses 10 mL of soda a day.

    The pumps give 0.2 mL at least: an eighth of a millilitre of iodide is too little.
    """
    present = [line(name, 36_000, group="all") for name in solutions]
    present.append(line("iodide", 500, count=2, group="all"))
    ratio = {**dict.fromkeys(solutions, 72), "iodide": 1}
    made = plan(*present, groups={"all": Group(id="all", ratio=ratio)})
    pumps = (*solutions, "iodide")
    return proposed(machine(pumps), made, known("alkalinity", 0.10, 0.004))


def test_a_follower_that_is_too_small_ends_without_the_others() -> None:
    """Soda and calcium go on in their ratio: 9 mL, as their grain allows."""
    found = with_a_little("carbonate", "calcium")

    assert [9_000, 9_000, 0] == [
        change(found, name).after_ul for name in ("carbonate", "calcium", "iodide")
    ]
    assert {"carbonate": 72, "calcium": 72} == found.plan.groups["all"].ratio
    assert [Ground.GROUP, Ground.GROUP_UNSURE, Ground.TOO_SMALL] == grounds(
        found, "iodide"
    )


def test_a_leader_that_is_left_alone_is_in_no_group() -> None:
    """Of two lines one goes on; while both can be given they keep their ratio."""
    found = with_a_little("carbonate")
    *steps, last = lines(found, "carbonate")
    little = lines(found, "iodide")

    assert ("", 9_000, None) == (last.group, last.per_day_ul, last.last_day)
    assert {one.group for one in little} == {one.group for one in steps} - {""}
    assert found.plan.groups.keys() == {one.group for one in little}
    assert all(one.last_day is not None for one in little)
