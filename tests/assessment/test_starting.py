"""From which day a proposed plan runs."""

from dataclasses import replace
from datetime import timedelta

from slackwater.assessment.starting import started
from slackwater.facts.plan import Group
from tests.assessment.reefs import (
    STARTS,
    TODAY,
    TOMORROW,
    known,
    line,
    machine,
    plan,
    proposed,
)

ONE_DAY = timedelta(days=1)
BEFORE = plan(line("carbonate", 42_000))


def test_a_changed_plan_starts_tomorrow_and_an_unchanged_one_when_it_did() -> None:
    """The plan began nineteen days ago; 0.6 meq/L a day changes it, 0.42 does not."""
    more = proposed(machine(), BEFORE, known("alkalinity", 0.6, 0.01))
    same = proposed(machine(), BEFORE, known("alkalinity", 0.42, 0.01))
    none = proposed(machine(), None, known("alkalinity", 0.42, 0.01))
    assert [TOMORROW, STARTS, TOMORROW] == [
        one.plan.starts for one in (more, same, none)
    ]


def test_what_is_over_is_not_in_it_and_corrections_lie_within() -> None:
    """A step that ends today goes with its group; a correction keeps what is ahead."""
    over = line("calcium", 9_000, id="over", last_day=TODAY, group="pair")
    running = line(
        "carbonate",
        2_000,
        id="up",
        purpose="correction",
        first_day=STARTS,
        last_day=TOMORROW + ONE_DAY,
    )
    new = line("carbonate", 50_000)
    changed = plan(
        over, running, new, groups={"pair": Group(id="pair", ratio={"over": 1})}
    )
    found = started(changed, BEFORE, TOMORROW)
    assert (replace(running, first_day=TOMORROW), new) == found.lines
    assert {} == found.groups


def test_lines_every_so_many_days_keep_their_beat() -> None:
    """Every fourth day from 1 May on: 17 May is the last one before 21 May, which is.

    From 22 May on it is 21 May, the day before; a new line has no beat to keep.
    """
    rare = line("potash", 800, every_days=4)
    before = plan(rare, line("carbonate", 42_000))
    changed = plan(rare, line("carbonate", 50_000))
    assert TOMORROW == started(changed, before, TOMORROW).starts
    assert TOMORROW == started(changed, before, TOMORROW + ONE_DAY).starts
    assert TOMORROW - 4 * ONE_DAY == started(changed, before, TODAY).starts
    assert TODAY == started(changed, BEFORE, TODAY).starts
