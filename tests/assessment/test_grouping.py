"""Who leads a group, and the ratio its lines keep."""

from slackwater.assessment.grouping import Ties, groups_of, ties_of
from slackwater.assessment.knobs import knobs_of
from slackwater.facts.plan import Group, Plan
from tests.assessment.reefs import TODAY, line, machine, plan

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
