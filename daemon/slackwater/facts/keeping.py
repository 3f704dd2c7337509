"""What people found and did, as far as decisions read it.

Floor 2. One subject: tests, hand additions, water changes and tasks in the state.
Laws here: what was poured in by hand is charged and believed like a dose, at the time
it was given; only the four newest levels of a parameter, the changes of two days and
the open tasks are kept, so that memory does not grow with the years; where only own
tests decide, a laboratory's result takes the place of none.
"""

from datetime import datetime, timedelta

from slackwater.facts.charging import (
    ALKALINITY,
    HOURS_KEPT,
    charge,
    drop,
    hour_of,
)
from slackwater.facts.rolling import DAY_MS, KEPT_MS, Rolling
from slackwater.facts.state import Flow, State
from slackwater.facts.waters import (
    OWN_TESTS_ONLY,
    AddedByHand,
    MeasurementKept,
    MeasurementStruck,
    TaskClosed,
    TaskSet,
    WaterChanged,
)

CHANGES_KEPT = timedelta(hours=48)
# A slip and its replicates can be struck, and what was known before them stands again.
LEVELS_AT_MOST = 4


def fold_measured(state: State, event: MeasurementKept) -> None:
    """Keep the newest level; a correction takes the place of what it corrects.

    Where only own tests decide, an own test stays before whatever a laboratory says.
    """
    key = f"{event.tank}/{event.parameter}"
    _keep(state, key, [event, *_known(state, key, event.supersedes)])


def fold_struck(state: State, event: MeasurementStruck) -> None:
    """Forget a level that should not be there; the one before it stands again."""
    for key in list(state.levels):
        _keep(state, key, _known(state, key, event.measurement))


def _known(state: State, key: str, but: str) -> list[MeasurementKept]:
    """The levels that are kept of a parameter, but for the one of this id."""
    newest = (state.levels.get(key), state.levels_before.get(key))
    kept = (*newest, *state.levels_older.get(key, ()))
    return [one for one in kept if one is not None and one.id != but]


def _keep(state: State, key: str, found: list[MeasurementKept]) -> None:
    """Keep the few that count most; of two of one moment the one written last."""
    found = sorted(found, key=_weight, reverse=True)
    for kept, one in zip((state.levels, state.levels_before), (0, 1), strict=True):
        kept.pop(key, None)
        if len(found) > one:
            kept[key] = found[one]
    state.levels_older.pop(key, None)
    older = found[2:LEVELS_AT_MOST]
    if older:
        state.levels_older[key] = older


def _weight(kept: MeasurementKept) -> tuple[bool, datetime]:
    is_posted = kept.provenance == "lab" and kept.parameter in OWN_TESTS_ONLY
    return not is_posted, kept.taken_at


def fold_added(state: State, event: AddedByHand) -> None:
    """Charge and believe what was poured in, at the time it was given.

    By the wall clock it is as old as it was said to be, and proven time passes no
    faster: it counts for a day at least. What left every window is charged nowhere.
    """
    age_s = max((event.at - event.given_at).total_seconds(), 0.0)
    given_ms = event.proven_ms - int(age_s * 1000)
    for parameter, amount in event.effects.items():
        if event.proven_ms - given_ms < KEPT_MS:
            key = f"effect/{event.tank}/{parameter}"
            charge(state, key, (given_ms, amount, event.id), event.local_day)
            known = f"{event.tank}/{parameter}"
            rolling = state.believed.setdefault(known, Rolling())
            rolling.add(given_ms, amount, "")
        if parameter == ALKALINITY:
            _believe_hour(state, event, amount)
            if state.courses:
                drop(state, event.tank, event.given_at, amount)
    _flow(state, event, given_ms)


def _flow(state: State, event: AddedByHand, given_ms: int) -> None:
    """A hand is a pump without a name: what must not meet its solution waits."""
    hand = f"hand/{event.tank}/{event.solution}"
    known = state.flows.get(hand)
    end_ms = given_ms if known is None else max(known.end_ms, given_ms)
    # No gap is as long as a day: older hands are forgotten.
    state.flows = {
        name: flow
        for name, flow in state.flows.items()
        if not name.startswith("hand/") or flow.end_ms > event.proven_ms - DAY_MS
    }
    state.flows[hand] = Flow(tank=event.tank, solution=event.solution, end_ms=end_ms)


def _believe_hour(state: State, event: AddedByHand, amount: int) -> None:
    hour, now = hour_of(event.given_at), hour_of(event.at)
    if not now - HOURS_KEPT < hour <= now:
        return
    hours = dict(state.hours.get(event.tank, {}))
    hours[hour] = hours.get(hour, 0) + amount
    state.hours[event.tank] = dict(sorted(hours.items()))


def fold_water_changed(state: State, event: WaterChanged) -> None:
    """Keep a water change, done or announced; one without volume was called off."""
    oldest = event.at - CHANGES_KEPT
    kept = {
        change_id: change
        for change_id, change in state.changes.items()
        if change.changed_at > oldest and change_id != event.supersedes
    }
    if event.volume_ul > 0 and event.changed_at > oldest:
        kept[event.id] = event
    state.changes = kept


def fold_task_set(state: State, event: TaskSet) -> None:
    """Open a task; one for the same remedy takes the place of the one before."""
    about = (event.tank, event.remedy, event.parameter)
    state.tasks = {
        task_id: task
        for task_id, task in state.tasks.items()
        if (task.tank, task.remedy, task.parameter) != about
    }
    state.tasks[event.task] = event


def fold_task_closed(state: State, event: TaskClosed) -> None:
    """Close a task; one that is not open stays closed."""
    state.tasks.pop(event.task, None)
