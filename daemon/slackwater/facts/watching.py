"""Readings, hand tests, and what explains them, as far as swings are judged by them.

Floor 2. One subject: the part of the state that the judging of series reads. Laws here:
everything kept here is bounded; a mark that a person made takes back what was said of
the series before it; these folds come before those of `facts.fold` and write nothing
that others read.
"""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any

from slackwater.facts.charging import ALKALINITY
from slackwater.facts.courses import Course
from slackwater.facts.events import (
    HoldReleased,
    PumpsDisabled,
    PumpsEnabled,
    ReadingKept,
)
from slackwater.facts.judgements import Break, SeriesJudged
from slackwater.facts.reasons import Code
from slackwater.facts.state import State
from slackwater.facts.waters import (
    AddedByHand,
    HusbandryNoted,
    MeasurementKept,
    MeasurementStruck,
    WaterChanged,
)

# What a baseline can look at, and a little more.
BREAKS_KEPT = timedelta(days=16)
BREAKS_AT_MOST = 32
TESTS_AT_MOST = 16
# Who books what pumps exchange.
DAEMON = "daemon"
# A person who releases one of these accepts the water as it is.
SWINGS = frozenset({Code.ALKALINITY_SWING_UP, Code.ALKALINITY_DOSE_FAULT})


Fold = Callable[[State, Any], None]


def watching(folds: Mapping[type, Fold]) -> dict[type, Fold]:
    """The folds, those of entries that explain a series led by what is kept of them."""
    return {kind: _led(kind, fold) for kind, fold in folds.items()}


def fold_judged(state: State, event: SeriesJudged) -> None:
    """Keep what is said of a series now."""
    state.judged[event.source] = event


def keep_course(state: State, event: ReadingKept) -> None:
    """Let the course of an alkalinity probe go on."""
    if event.parameter == ALKALINITY:
        course = state.courses.setdefault(event.probe, Course())
        course.add(event.taken_at.timestamp(), event.value)


def keep_test(state: State, event: MeasurementKept) -> None:
    """Keep the newest own tests of alkalinity in the order they were taken."""
    if event.parameter != ALKALINITY or event.censored or event.provenance != "hand":
        return
    known = state.tests.get(event.tank, [])
    tests = [test for test in known if test.id not in (event.id, event.supersedes)]
    tests.append(event)
    tests.sort(key=_taken)
    state.tests[event.tank] = tests[-TESTS_AT_MOST:]


def strike_test(state: State, event: MeasurementStruck) -> None:
    """Leave out a test that should not be there."""
    for tank, tests in state.tests.items():
        state.tests[tank] = [test for test in tests if test.id != event.measurement]


def mark_change(state: State, event: WaterChanged) -> None:
    """A water change, done or announced; one that was called off is no break."""
    if event.supersedes in state.breaks.get(event.tank, {}):
        del state.breaks[event.tank][event.supersedes]
    # A portion that two pumps exchanged moves the water by less than a test shows, and
    # they come by the hour: as breaks they would let no reading be judged any more.
    if event.volume_ul > 0 and event.by != DAEMON:
        rise = event.steps.get(ALKALINITY)
        mark = Break(at=event.changed_at, told="change", rise=rise)
        _mark(state, event.tank, event.id, mark)


def mark_addition(state: State, event: AddedByHand) -> None:
    """Something poured in by hand that adds alkalinity."""
    added = event.effects.get(ALKALINITY, 0)
    if added:
        mark = Break(at=event.given_at, told="addition", added=added)
        _mark(state, event.tank, event.id, mark)


def mark_event(state: State, event: HusbandryNoted) -> None:
    """Something that happened; what was said of the tank's series before is over."""
    is_service = event.what == "probe_serviced"
    mark = Break(at=event.happened_at, told="service" if is_service else "event")
    _mark(state, event.tank, event.id, mark)
    _take_back(state, event.tank)


def mark_release(state: State, event: HoldReleased) -> None:
    """A person looked at a swing and lets dosing go on from what is there now."""
    hold = state.holds.get(event.hold_id)
    if hold is not None and hold.reason.code in SWINGS:
        tank = hold.scope.removeprefix("alkalinity/")
        mark = Break(at=event.at, told="release")
        _mark(state, tank, f"{event.hold_id}@{event.at.isoformat()}", mark)
        _take_back(state, tank)


def begin_stage(state: State, event: PumpsEnabled | PumpsDisabled) -> None:
    """What was judged in the stage before, with doses of its own kind, is over."""
    if isinstance(event, PumpsDisabled) or state.stage == "shadow":
        state.judged.clear()


def _mark(state: State, tank: str, mark_id: str, mark: Break) -> None:
    marks = {**state.breaks.get(tank, {}), mark_id: mark}
    ordered = sorted(marks.items(), key=_when)
    # What is announced lies ahead of where a baseline looks back from.
    newest = min(ordered[-1][1].at, state.newest_at or mark.at)
    oldest = newest - BREAKS_KEPT
    kept = [(name, known) for name, known in ordered if known.at > oldest]
    state.breaks[tank] = dict(kept[-BREAKS_AT_MOST:])


def _take_back(state: State, tank: str) -> None:
    for source, judged in list(state.judged.items()):
        if judged.tank == tank:
            del state.judged[source]


def _when(named: tuple[str, Break]) -> tuple[datetime, str]:
    return named[1].at, named[0]


def _taken(test: MeasurementKept) -> tuple[datetime, str]:
    return test.taken_at, test.id


def _led(kind: type, fold: Fold) -> Fold:
    watch = _WATCHING.get(kind)
    if watch is None:
        return fold

    def both(state: State, event: object) -> None:
        watch(state, event)
        fold(state, event)

    return both


_WATCHING: Mapping[type, Fold] = {
    ReadingKept: keep_course,
    MeasurementKept: keep_test,
    MeasurementStruck: strike_test,
    WaterChanged: mark_change,
    AddedByHand: mark_addition,
    HusbandryNoted: mark_event,
    HoldReleased: mark_release,
    PumpsEnabled: begin_stage,
    PumpsDisabled: begin_stage,
}
