"""What an assessment changes in the list of tasks.

Floor 8. One subject: tasks that open and close with an assessment. Laws here: one task
stands for each remedy and parameter, so that asking twice changes nothing; a test that
was asked for and has come closes its task as done; what no longer applies is dropped;
nothing is closed on less of the past than it was set on.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from slackwater.assessment.records import Advice, Assessment, Series
from slackwater.assessment.trace_bands import is_trace
from slackwater.cli.typed import new_id
from slackwater.facts.state import State
from slackwater.facts.waters import OWN_TESTS_ONLY, TaskClosed, TaskSet
from slackwater.pump.outcome import Stamp

NO_LONGER_NEEDED = "no longer needed"
# A task keeps its text while only figures in it move, or each day would bring another.
_FIGURE = re.compile(r"[0-9.\s]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """Who asks, when, and on which clock the tank's days are counted."""

    by: str
    stamp: Stamp
    zone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """Tasks that close, and tasks that open."""

    closed: tuple[TaskClosed, ...] = ()
    opened: tuple[TaskSet, ...] = ()

    @property
    def entries(self) -> tuple[TaskClosed | TaskSet, ...]:
        """In the order in which they are written: the old make room for the new."""
        return (*self.closed, *self.opened)


def task_news(state: State, made: Assessment, asking: Asking) -> News:
    """What changes in the open tasks of the tank; nothing when asked again."""
    wanted = {(one.remedy, one.parameter): one for one in made.advice}
    closed, standing = [], set()
    for task in state.tasks.values():
        if task.tank != made.tank:
            continue
        advice = wanted.get((task.remedy, task.parameter))
        tested = _tested_on(task, made, asking.zone, is_wanted=advice is not None)
        if advice is None or tested is not None:
            closed.append(_closed(task, asking, tested))
        elif _is_same(task.text, advice.text):
            standing.add((task.remedy, task.parameter))
    return News(
        closed=tuple(closed),
        opened=tuple(
            _opened(made.tank, advice, asking)
            for about, advice in wanted.items()
            if about not in standing
        ),
    )


def _is_same(text: str, other: str) -> bool:
    return _FIGURE.sub("", text) == _FIGURE.sub("", other)


def _tested_on(
    task: TaskSet, made: Assessment, zone: str, *, is_wanted: bool
) -> date | None:
    """The tank's day of the test that a retest asked for; None when none came.

    Where nothing is asked for any more, a test of the day the task was set will do: it
    was written down later than it was made.
    """
    if task.remedy != "retest":
        return None
    tests = [
        point.at
        for series in made.series
        if _answers(series, task.parameter)
        for point in series.points
    ]
    if not tests:
        return None
    newest, set_on = _day(max(tests), zone), _day(task.at, zone)
    came = max(tests) > task.at or (newest >= set_on and not is_wanted)
    return newest if came else None


def _answers(series: Series, wanted: str) -> bool:
    """Whether tests of this kind are what a retest asks for; of all traces when empty.

    One bottle for a laboratory answers for all of them.
    """
    if is_trace(series.parameter):
        return series.provenance == "lab" and wanted in {"", series.parameter}
    if series.parameter != wanted:
        return False
    return series.provenance != "lab" or series.parameter not in OWN_TESTS_ONLY


def _day(at: datetime, zone: str) -> date:
    return at.astimezone(ZoneInfo(zone)).date()


def _closed(task: TaskSet, asking: Asking, tested: date | None) -> TaskClosed:
    return TaskClosed(
        **asking.stamp,
        task=task.task,
        how="dropped" if tested is None else "done",
        by=asking.by,
        note=NO_LONGER_NEEDED if tested is None else f"tested on {tested}",
    )


def _opened(tank: str, advice: Advice, asking: Asking) -> TaskSet:
    return TaskSet(
        **asking.stamp,
        task=new_id("t"),
        tank=tank,
        remedy=advice.remedy,
        parameter=advice.parameter,
        text=advice.text,
        due_on=advice.due_on,
        by=asking.by,
    )


def news_words(news: News, texts: Mapping[str, str]) -> Iterator[str]:
    """Sentences for people; `texts` are those of the tasks by id before."""
    for one in news.closed:
        yield f"{one.how.capitalize()}, {one.note}: {texts[one.task]}"
    if news.opened:
        yield f"{_count(news.opened)} recorded; see `slackwater tasks`."


def _count(opened: Sequence[TaskSet]) -> str:
    return f"{len(opened)} new task{'s' if len(opened) > 1 else ''}"
