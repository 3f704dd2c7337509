"""What stands beside the plan in the first screen: bottles, tubes, an old doser.

Floor 8. One subject: who gives what a line asks for, and for how long it lasts. Laws
here: a line that somebody else still gives is named with what that one gives; a bottle
is held against the next visit, a tube against the days that are rehearsed.
"""

from collections.abc import Iterator

from slackwater.cli.lasting import tube_days, tube_hours
from slackwater.cli.report.made import Report
from slackwater.cli.report.minds import day_of
from slackwater.cli.report.words import number
from slackwater.rehearsal.reserves import Bottle
from slackwater.water.show import show_volume


def days_note(report: Report) -> str:
    """What the rehearsed days are counted from, where that is not the plan's start."""
    first, starts = report.done.record.first, report.plan.starts
    is_past = report.past.at is not None and starts < first
    return f" (the plan's start, {starts}, is past)" if is_past else ""


def old_words(report: Report) -> Iterator[str]:
    """The lines that ours does not give yet; nothing where there are none."""
    told = [
        f"{name} ({show_volume(ul)} a day)" if ul else name
        for name, ul in report.still_old.items()
    ]
    if told:
        yield (
            f"still gives {', '.join(told)}; shown as ours, which it is only once "
            "`slackwater take-over` was told that the old one is off"
        )


def bottle_words(report: Report) -> Iterator[str]:
    """The bottle that ends first, and whether all last until somebody comes."""
    drawn = [one for one in report.bottles if one.lasts_days is not None]
    if not drawn:
        return
    first = drawn[0]
    when = day_of(first.empty_on) or "beyond a century"
    visit = ""
    if report.visit is not None:
        short = [one.id for one in report.bottles if one.short_ul]
        lacks = f"not enough: {', '.join(short)}" if short else "all last"
        day = day_of(report.visit)
        visit = f"; until the {report.visit_is} on {day} {lacks}"
    yield (
        f"{first.id}, {show_volume(first.content_ul)}, lasts "
        f"{number(first.lasts_days or 0.0)} days{_between(first)}, to {when}{visit}"
    )


def tube_words(report: Report) -> Iterator[str]:
    """The tubes that are worn before the rehearsed days are over."""
    record = report.done.record
    length = (record.until - record.first).days + 1
    for tube in report.past.tubes:
        days = tube_days(report.plan, tube, record.first)
        if days is not None and days <= length:
            yield (
                f"tube of {tube.pump} has run {tube_hours(tube)} and is worn in "
                f"{days:.0f} days: `slackwater swap-tube {tube.pump}`"
            )


def _between(bottle: Bottle) -> str:
    """The interval that books and calibrations leave; nothing where it is not known."""
    low, high = bottle.low_days, bottle.high_days
    return "" if low is None or high is None else f" ({low:.0f} to {high:.0f})"
