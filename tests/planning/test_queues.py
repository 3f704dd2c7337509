"""Doses that wait for each other at one node (H47)."""

from dataclasses import replace

from slackwater.errors import Finding
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import check
from slackwater.planning.queues import late_starts
from slackwater.planning.timetable import Timetable
from tests.planning.plans import line, machine, plan, with_node


def slow_node(run_limit_ms: int = 600_000) -> Machine:
    """A machine in UTC whose node may run for ten minutes."""
    return with_node(machine("UTC"), cut_limit_ms=run_limit_ms)


def test_h47_a_node_that_cannot_get_round_to_a_dose_is_refused() -> None:
    """Three runs of ten minutes at once: the third would begin 20 minutes late."""
    # Hourly doses may be 15 minutes late; 600 mL run for ten minutes.
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert [
        Finding(
            what="reef/trace@2026-01-05#01 would wait more than 900 s for other doses "
            "of shelf-reef",
            where="line reef/trace",
            expected="run times that the node can fit in one after another",
            do="Give fewer doses, set other windows, or drive the pumps by two nodes.",
        )
    ] == check(busy, slow_node())


def test_h47_doses_that_wait_a_little_are_fine() -> None:
    """Two runs of five minutes at once leave the third in time."""
    busy = plan(
        line("calcium", 7_200_000), line("magnesium", 7_200_000), line("trace", 4_800)
    )

    assert check(busy, slow_node()) == []


def test_h47_another_node_does_not_wait() -> None:
    """The same doses on two nodes run side by side."""
    made = slow_node()
    apart = replace(
        made,
        pumps={
            **made.pumps,
            "magnesium-reef": replace(
                made.pumps["magnesium-reef"], node="shelf-lagoon"
            ),
        },
    )
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert check(busy, with_node(apart, "shelf-lagoon", cut_limit_ms=600_000)) == []


def test_each_node_is_named_once() -> None:
    """A plan that is late every day says so once for each node."""
    busy = plan(
        line("calcium", 14_400_000), line("magnesium", 14_400_000), line("trace", 4_800)
    )

    assert len(list(late_starts(Timetable(busy, slow_node())))) == 1
