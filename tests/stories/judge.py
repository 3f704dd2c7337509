"""The judge of a story: each key of `[expect]` is one question to ledger and water.

A question gives what is wrong, in words; nothing wrong is an empty list.
"""

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from operator import itemgetter
from typing import Any

from slackwater.facts.events import (
    DoseIntended,
    DoseMissed,
    HoldRaised,
    PlanApproved,
    SpanMissed,
)
from tests.properties.oracle import bursts_of, findings
from tests.stories.stage import Stage
from tests.stories.story import Table, microlitres

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
# A minute before the full hour: no story has a dose due then.
SAMPLED_AT = timedelta(minutes=59)
Question = Callable[[Stage, Any], Iterator[str]]


def wrong(stage: Stage) -> list[str]:
    """Everything that is not as told, and every law of the project that was broken."""
    told = [
        f"{key}: {finding}"
        for key, value in stage.story.expect.items()
        for finding in QUESTIONS[key](stage, value)
    ]
    return told + findings(stage, honest=True)


def given(stage: Stage, value: Table) -> Iterator[str]:
    """Volume of a pump, on each whole day alike or by day; by what its hose gave."""
    for pump, expected in value.items():
        found = {day: sum(v) for day, v in _by_day(stage, pump).items()}
        wanted = {d: microlitres(t) for d, t in _each_day(stage, expected).items()}
        yield from _compared(f"µL of {pump}", wanted, found)


def given_at_most(stage: Stage, value: Table) -> Iterator[str]:
    """Volume of a pump that no whole day exceeds."""
    for pump, text in value.items():
        for day, volumes in _by_day(stage, pump).items():
            if sum(volumes) > microlitres(text):
                yield f"{text} of {pump}, found {sum(volumes)} µL on {day}"


def doses(stage: Stage, value: Table) -> Iterator[str]:
    """Number of runs of a pump, on each whole day alike or by day."""
    for pump, expected in value.items():
        found = {day: len(v) for day, v in _by_day(stage, pump).items()}
        yield from _compared(f"runs of {pump}", _each_day(stage, expected), found)


def missed(stage: Stage, value: Table) -> Iterator[str]:
    """By reason: how many doses were missed for it, or which."""
    found: dict[str, list[str]] = {}
    for event in stage.book.events():
        if isinstance(event, DoseMissed):
            for reason in event.reasons:
                found.setdefault(str(reason.code), []).append(event.dose.id)
        elif isinstance(event, SpanMissed):
            for reason in event.reasons:
                found.setdefault(str(reason.code), []).extend(_in_span(event))
    for code, expected in value.items():
        ids = sorted(found.get(code, []))
        got = ids if isinstance(expected, list) else len(ids)
        if got != expected:
            yield f"{code} {expected}, found {len(ids)}: {ids}"


def _in_span(event: SpanMissed) -> list[str]:
    """A name for each dose of a long absence; which they were nobody wrote down."""
    name = f"{event.tank}/{event.line} {event.first_due} to {event.last_due}"
    return [name] * event.doses


def why_missed(stage: Stage, value: Table) -> Iterator[str]:
    """By dose: every reason for which it was missed, and no other."""
    found = {
        event.dose.id: sorted(str(reason.code) for reason in event.reasons)
        for event in stage.book.events()
        if isinstance(event, DoseMissed)
    }
    for dose, codes in value.items():
        if found.get(dose) != sorted(codes):
            yield f"{dose} {codes}, found {found.get(dose)}"


def missed_in_all(stage: Stage, value: int) -> Iterator[str]:
    """Number of missed doses, whatever the reason."""
    ids = [e.dose.id for e in stage.book.events() if isinstance(e, DoseMissed)]
    for event in stage.book.events():
        ids += _in_span(event) if isinstance(event, SpanMissed) else []
    if len(ids) != value:
        yield f"{value}, found {len(ids)}: {ids}"


def holds(stage: Stage, value: list[str]) -> Iterator[str]:
    """Every hold that was raised, in order; a request's by its kind alone."""
    raised = [e for e in stage.book.events() if isinstance(e, HoldRaised)]
    found = [re.split("/[a-z]+:request-", hold.hold_id)[0] for hold in raised]
    if found != value:
        yield f"{value}, found {found}"


def standing(stage: Stage, value: list[str]) -> Iterator[str]:
    """The holds that stand at the end."""
    found = sorted(stage.book.folded().holds)
    if found != value:
        yield f"{value}, found {found}"


def rests(stage: Stage, value: list[Table]) -> Iterator[str]:
    """No run of a pump begins in a stretch of time."""
    for stretch in value:
        if found := _begun(stage, stretch):
            yield f"{stretch['pump']} ran at {', '.join(map(str, found))}"


def runs(stage: Stage, value: list[Table]) -> Iterator[str]:
    """So many runs of a pump begin in a stretch of time."""
    for stretch in value:
        found = _begun(stage, stretch)
        if len(found) != stretch["times"]:
            yield f"{stretch}: found {len(found)}"


def by_plan(stage: Stage, value: Table) -> Iterator[str]:
    """Intents of each approval, by its number."""
    intents = [e for e in stage.book.events() if isinstance(e, DoseIntended)]
    found = Counter(str(intent.serial) for intent in intents)
    if found != value:
        yield f"{value}, found {dict(found)}"


def left_out_for(stage: Stage, value: Table) -> Iterator[str]:
    """How long after its taking over an approval leaves doses out, in minutes."""
    for event in stage.book.events():
        if isinstance(event, PlanApproved):
            serial, approval = str(event.approval.serial), event.approval
            until = approval.left_out_until or approval.takes_over_at
            minutes = (until - approval.takes_over_at) / timedelta(minutes=1)
            if minutes != value.pop(serial, 0):
                yield f"approval {serial} leaves out {minutes} min"
    yield from (f"there is no approval {serial}" for serial in value)


def alkalinity_dkh(stage: Stage, value: Table) -> Iterator[str]:
    """Bounds on the true water from the story's beginning on."""
    course = [(at, dkh) for at, dkh in stage.course if at >= stage.begins]
    levels = [dkh for _, dkh in course]
    found = {
        "never_below": min(levels),
        "never_above": max(levels),
        "at_the_end_above": levels[-1],
        "rises_in_a_day_by_at_most": _steepest(course),
    }
    for bound, limit in value.items():
        broken = found[bound] < limit if bound in LOWER else found[bound] > limit
        if broken:
            yield f"{bound} {limit}, found {found[bound]:.3f}"


LOWER = frozenset({"never_below", "at_the_end_above"})


def shares_percent(stage: Stage, value: list[Table]) -> Iterator[str]:
    """How much of each planned dose of a pump was given in a stretch of time."""
    for stretch in value:
        found = {
            round(100 * event.command.ul / event.planned_ul)
            for event in stage.book.events()
            if isinstance(event, DoseIntended)
            and event.dose.pump == stretch["pump"]
            and _is_within(stage, event.at, stretch)
        }
        if found != set(stretch["are"]):
            yield f"{stretch}: found {sorted(found)}"


QUESTIONS: Mapping[str, Question] = {
    "given": given,
    "given_at_most": given_at_most,
    "doses": doses,
    "missed": missed,
    "why_missed": why_missed,
    "missed_in_all": missed_in_all,
    "holds": holds,
    "standing": standing,
    "rests": rests,
    "runs": runs,
    "by_plan": by_plan,
    "left_out_for": left_out_for,
    "alkalinity_dkh": alkalinity_dkh,
    "shares_percent": shares_percent,
}


def _by_day(stage: Stage, pump: str) -> dict[date, list[int]]:
    """What the hose of a pump gave, run by run, by the local day the dose belongs to.

    Only days that lie in the story as a whole.
    """
    days = {
        event.command.attempt: event.dose.local_day
        for event in stage.book.events()
        if isinstance(event, DoseIntended)
    }
    found: dict[date, list[int]] = {day: [] for day in _whole_days(stage)}
    for burst in bursts_of(stage):
        day = days[burst.attempt]
        if burst.pump == pump and day in found:
            found[day].append(round(burst.volume_ul))
    return found


def _whole_days(stage: Stage) -> list[date]:
    first, end = stage.begins, stage.begins + stage.story.lasts
    day = first.astimezone(stage.zone).date()
    days = []
    while stage.utc(datetime.combine(day + DAY, datetime.min.time())) <= end:
        if stage.utc(datetime.combine(day, datetime.min.time())) >= first:
            days.append(day)
        day += DAY
    return days


def _each_day(stage: Stage, expected: Any) -> dict[date, Any]:  # noqa: ANN401 -- text, number or a table of them
    if isinstance(expected, dict):
        return {date.fromisoformat(day): each for day, each in expected.items()}
    return dict.fromkeys(_whole_days(stage), expected)


def _compared(
    what: str, wanted: Mapping[date, int], found: Mapping[date, int]
) -> Iterator[str]:
    if not wanted:
        yield "the story has no whole day"
    for day, number in wanted.items():
        if found.get(day) != number:
            yield f"{number} {what} on {day}, found {found.get(day)}"


def _begun(stage: Stage, stretch: Table) -> list[datetime]:
    moments = [
        stage.times.begin + timedelta(milliseconds=burst.begin_ms)
        for burst in bursts_of(stage)
        if burst.pump == stretch["pump"]
    ]
    return [
        at.astimezone(stage.zone) for at in moments if _is_within(stage, at, stretch)
    ]


def _is_within(stage: Stage, at: datetime, stretch: Table) -> bool:
    return stage.utc(stretch["from"]) <= at.astimezone(UTC) < stage.utc(stretch["to"])


def _steepest(course: list[tuple[datetime, float]]) -> float:
    """The largest rise from one moment to the same of the next day, hour by hour.

    That is what a keeper sees who tests at the same time each day; what a single dose
    lifts and the corals take again before the next one is no rise.
    """
    first, last = course[0][0] + SAMPLED_AT, course[-1][0]
    hours = range((last - first) // HOUR + 1)
    levels = [_level(course, first + hour * HOUR) for hour in hours]
    return max(later - early for early, later in zip(levels, levels[24:], strict=False))


def _level(course: list[tuple[datetime, float]], at: datetime) -> float:
    """The newest level by then."""
    return course[bisect_right(course, at, key=itemgetter(0)) - 1][1]
