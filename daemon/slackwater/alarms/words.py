"""Alarms in words: for a screen, a message, and a document.

Floor 4. One subject: what people and tools read of an alarm. Laws here: it says what,
since when, how much, how long there is, and one thing to do; nothing is called a
success; a dose that was missed will not be made up.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from slackwater.alarms.actions import ACTIONS
from slackwater.alarms.foresight import day_sums, in_dkh
from slackwater.alarms.row import NEW_TUBE, TUBE_SWAPPED
from slackwater.alarms.rows import ROWS
from slackwater.alarms.sizing import Size, rises
from slackwater.facts.alarms import (
    PRIORITIES,
    AlarmRaised,
    Cause,
    Priority,
    StandingAlarm,
)
from slackwater.facts.figures import figure_words
from slackwater.facts.first_aid import TOPICS
from slackwater.facts.reasons import SENTENCES, Code, Figure
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.water.show import show_count

# Said in words of their own.
REASON = "reason"
SAID = frozenset({"short_dkh", "excess_dkh", "hold", REASON})
REASONS = frozenset(map(str, Code))
IN_DAYS_FROM_HOURS = 48
FLOOR = "the floor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spoken:
    """One message for people: a line that names it, and what there is to know."""

    title: str
    body: str
    priority: Priority


def by_pressure(alarms: Iterable[StandingAlarm]) -> list[StandingAlarm]:
    """The most pressing first, then the oldest."""
    return sorted(
        alarms,
        key=lambda one: (
            PRIORITIES.index(one.raised.priority),
            one.first.at,
            one.first.alarm,
        ),
    )


def headline(raised: AlarmRaised) -> str:
    """Name and sentence on one line."""
    return f"{raised.alarm}: {sentence(raised)}"


def sentence(raised: AlarmRaised) -> str:
    """What is wrong; where a row speaks for many reasons, the reason's own words."""
    code = raised.figures.get(REASON)
    if isinstance(code, str) and code in REASONS:
        return SENTENCES[Code(code)]
    if raised.cause is Cause.CALIBRATION_DUE and TUBE_SWAPPED in raised.figures:
        return NEW_TUBE
    return ROWS[raised.cause].sentence


def action(raised: AlarmRaised) -> str:
    """The one thing to do; where a row speaks for many reasons, that of the reason."""
    code = raised.figures.get(REASON)
    if isinstance(code, str) and code in REASONS:
        return ACTIONS.get(Code(code), ROWS[raised.cause].action)
    return ROWS[raised.cause].action


def amounts(raised: AlarmRaised, hours_left: float | None) -> str:
    """How much is short or too much, and how long there is; may be empty."""
    # Where nothing rises it is the way down that was reckoned.
    is_up = rises(raised.cause, raised.figures)
    limit = "floor or ceiling" if is_up else FLOOR
    return " ".join(_amounts(raised.figures, hours_left, limit))


def _amounts(
    figures: Mapping[str, Figure], left: float | None, limit: str
) -> Iterator[str]:
    short, excess = figures.get("short_dkh"), figures.get("excess_dkh")
    if isinstance(short, float) and short > 0:
        yield f"Short by {short:.2f} dKH in 24 h."
    if isinstance(excess, float) and excess > 0:
        yield f"Too much by {excess:.2f} dKH."
    if left is not None:
        yield left_words(left, limit)


def left_words(hours: float, limit: str) -> str:
    """The time to what is met first, a level carried to now; in days when many."""
    if hours <= 0:
        return f"No time is left: as reckoned, {limit} is passed."
    if hours < 1:
        return f"Less than an hour left to {limit}."
    words = (
        f"{hours / 24:.0f} days" if hours >= IN_DAYS_FROM_HOURS else f"{hours:.0f} h"
    )
    return f"About {words} left to {limit}."


def figures_words(raised: AlarmRaised) -> str:
    """The figures behind it, such as "beat age 41 s"; may be empty."""
    figures = shown_figures(raised)
    return ", ".join(figure_words(name, value) for name, value in figures.items())


def shown_figures(raised: AlarmRaised) -> dict[str, Figure]:
    """The figures behind it that no sentence says."""
    return {name: v for name, v in raised.figures.items() if name not in SAID}


def first_aid(raised: AlarmRaised) -> str:
    """The verb that helps, or nothing."""
    topic = topic_of(raised)
    return f"slackwater first-aid {topic}" if topic else ""


def topic_of(raised: AlarmRaised) -> str:
    """The topic of first aid that helps, or nothing."""
    code = raised.figures.get(REASON)
    if isinstance(code, str) and code in REASONS:
        return TOPICS.get(Code(code), "")
    return ROWS[raised.cause].topic


def spoken(known: StandingAlarm) -> Spoken:
    """The message for an alarm that was just told."""
    raised = known.raised
    figures = figures_words(raised)
    again = f" ({raised.reminder} % of the way to the floor)" if raised.reminder else ""
    if raised.cause is Cause.APPROVAL_GRACE:
        again = ""
    aid = first_aid(raised)
    lines = [
        sentence(raised) + (f" ({figures})" if figures else ""),
        amounts(raised, raised.hours_left),
        f"Do: {action(raised)}",
        f"First aid: {aid}" if aid else "",
        f"Since {_time(known.first.at)}{again}.",
    ]
    return Spoken(
        title=f"{raised.priority}: {raised.alarm}",
        body="\n".join(line for line in lines if line),
        priority=raised.priority,
    )


def ended(known: StandingAlarm) -> Spoken:
    """The message for an alarm whose cause has gone."""
    return Spoken(
        title=f"over: {known.first.alarm}",
        body=f"Its cause is gone. It began {_time(known.first.at)}.",
        priority=known.raised.priority,
    )


def summary(moment: Moment) -> Spoken:
    """The daily line: what stands, and what each tank was given."""
    standing = by_pressure(a for a in moment.state.alarms.values() if a.is_standing)
    lines = [_count(standing), *(headline(one.raised) for one in standing)]
    lines += _audit(moment)
    would = "would have been given" if moment.state.stage == "shadow" else "was given"
    for _, tank in sorted(moment.machine.tanks.items()):
        planned, given = day_sums(moment, tank, ALKALINITY)
        if planned:
            lines.append(
                f"{tank.id} {would} {in_dkh(given, tank):.2f} of "
                f"{in_dkh(planned, tank):.2f} dKH planned in 24 h."
            )
    worst: Priority = standing[0].raised.priority if standing else "note"
    return Spoken(title="daily summary", body="\n".join(lines), priority=worst)


def _audit(moment: Moment) -> Iterator[str]:
    """What the newest audit says, where there is one."""
    audit = moment.state.audited
    if audit is None:
        return
    would = "would have been given" if moment.state.stage == "shadow" else "given"
    yield (
        f"Audit of {_time(audit.at)}: {audit.given} of {audit.doses} approved doses "
        f"{would}, {audit.missing} missing with a reason, "
        f"{show_count(audit.faults, 'fault')}."
    )


def _count(standing: list[StandingAlarm]) -> str:
    if not standing:
        return "No alarm stands."
    urgent = sum(one.raised.priority == "urgent" for one in standing)
    alarms = "1 alarm stands" if len(standing) == 1 else f"{len(standing)} alarms stand"
    return f"{alarms}, {urgent} urgent." if urgent else f"{alarms}."


def document(known: StandingAlarm, size: Size | None = None) -> dict[str, object]:
    """One alarm for tools; `size` has newer figures than it was told with."""
    raised = known.raised
    left = raised.hours_left if size is None else size.hours_left
    return {
        "alarm": raised.alarm,
        "cause": str(raised.cause),
        "about": raised.about,
        "state": known.word,
        "seen": known.is_seen,
        "priority": raised.priority,
        "text": sentence(raised),
        "action": action(raised),
        "first_aid": topic_of(raised),
        "tanks": list(raised.tanks),
        "since": known.first.at.isoformat(),
        "told": raised.at.isoformat(),
        "ended": None if known.ended_at is None else known.ended_at.isoformat(),
        "hours_left": left,
        "reminder": raised.reminder,
        "times": known.times,
        "until": None if known.until is None else known.until.isoformat(),
        "by": known.by,
        "note": known.note,
        "figures": dict(raised.figures if size is None else size.figures),
    }


def _time(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"
