"""What the rehearsal promises of days that have passed, approval by approval."""

from dataclasses import replace
from datetime import timedelta

from slackwater.service.promising import promised
from tests.audit.books import BEGIN, DAY, Days, approved
from tests.planning import plans

SPAN = BEGIN, BEGIN + 2 * DAY


def test_every_dose_of_the_days_is_promised() -> None:
    """As the plan asks for them, each with its volume."""
    days = Days()
    found = promised(list(enumerate(days.rules, start=1)), SPAN)
    expected = {dose.id: dose.volume_ul for dose in days.doses()}
    assert expected == {name: found[name] for name in expected}


def test_a_dose_belongs_to_the_approval_that_asked_for_it() -> None:
    """From the second day on another plan is in force: its doses are half as large."""
    days = Days()
    lines = tuple(
        replace(line, per_day_ul=line.per_day_ul // 2) for line in days.plan.lines
    )
    later = approved(2, BEGIN + DAY, (days.machine, replace(days.plan, lines=lines)))
    days.rules.append(later)
    found = promised(list(enumerate(days.rules, start=1)), SPAN)
    carbonate = {name: ul for name, ul in found.items() if "carbonate" in name}
    by_day = {
        day: {ul for name, ul in carbonate.items() if f"@{day}" in name}
        for day in (BEGIN.date(), BEGIN.date() + timedelta(days=1))
    }
    assert [{3000}, {1500}] == list(by_day.values())


def test_what_a_cap_would_refuse_is_not_promised() -> None:
    """A machine whose caps are too narrow for its plan: the rehearsal gives less."""
    days = Days()
    narrow = plans.with_pump(days.machine, "carbonate-reef", per_day_ul=9_000)
    days.rules[0] = approved(1, BEGIN, (narrow, days.plan))
    found = promised(list(enumerate(days.rules, start=1)), SPAN)
    given = sum(
        found[dose.id] for dose in days.doses() if dose.pump == "carbonate-reef"
    )
    assert 0 < given <= 2 * 9_000


def test_nothing_is_promised_where_nobody_approved() -> None:
    """No approval, or one that takes over later."""
    assert {} == promised([], SPAN)
    days = Days()
    later = approved(1, BEGIN + 5 * DAY, (days.machine, days.plan))
    assert {} == promised([(1, later)], SPAN)
