"""How alarms stand, folded from their entries.

Floor 2. One subject: alarms in the state. Laws here: a person's word holds until it
grows worse; what ended is remembered for a week, and then forgotten, so that memory
does not grow with the years.
"""

from datetime import datetime, timedelta

from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmRaised,
    StandingAlarm,
    is_more_pressing,
)
from slackwater.facts.state import State

# What ended is shown for a week.
ENDED_KEPT = timedelta(days=7)
# What comes back within a day is the same trouble.
SAME_TROUBLE = timedelta(hours=24)
# So many alarms may be told in any ten minutes; their proven times are kept.
TOLD_AT_MOST = 10


def fold_alarm_raised(state: State, event: AlarmRaised) -> None:
    """Begin an alarm, begin it again, or tell more of one that stands."""
    known = state.alarms.get(event.alarm)
    if known is None or known.word == "returned":
        state.alarms[event.alarm] = StandingAlarm(
            first=event, raised=event, times=_times(known, event.at)
        )
    else:
        worse = is_more_pressing(event.priority, known.raised.priority)
        known.raised = event
        if known.word == "acknowledged" or (known.word == "suppressed" and worse):
            known.word, known.is_seen, known.until = "active", False, None
    state.told_ms = [*state.told_ms, event.proven_ms][-TOLD_AT_MOST:]
    _forget(state, event.at)


def fold_alarm_changed(state: State, event: AlarmChanged) -> None:
    """Take what was said of an alarm; one that nobody knows changes nothing."""
    known = state.alarms.get(event.alarm)
    if known is None:
        return
    if event.to == "acknowledged":
        known.is_seen, known.by, known.note = True, event.by, event.note
    if event.to == "returned":
        known.ended_at = event.at
    # What is gone stays gone until it is raised again.
    if known.word != "returned":
        known.word, known.until = event.to, event.until
        if event.to == "suppressed":
            known.by, known.note = event.by, event.note
    _forget(state, event.at)


def _times(known: StandingAlarm | None, at: datetime) -> int:
    if known is None or at - known.first.at > SAME_TROUBLE:
        return 1
    return known.times + 1


def _forget(state: State, at: datetime) -> None:
    gone = [
        name
        for name, known in state.alarms.items()
        if known.ended_at is not None
        and known.word == "returned"
        and at - known.ended_at > ENDED_KEPT
    ]
    for name in gone:
        del state.alarms[name]
