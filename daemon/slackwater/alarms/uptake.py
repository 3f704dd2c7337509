"""An uptake that fell, as an alarm.

Floor 4. One subject: what an assessment says of the uptake. Laws here: only an
assessment begins and ends it; the same finding twice is one alarm.
"""

from collections.abc import Iterator

from slackwater.alarms.rows import ROWS
from slackwater.assessment.records import Assessment
from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmEvent,
    AlarmRaised,
    Cause,
    alarm_id,
)
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp

# The notice of an assessment that says so.
FELL = "uptake-fell"


def uptake_alarms(
    made: Assessment, state: State, stamp: Stamp, by: str
) -> Iterator[AlarmEvent]:
    """The entries that follow from what an assessment found."""
    name = alarm_id(Cause.UPTAKE_FELL, made.tank)
    known = state.alarms.get(name)
    stands = known is not None and known.is_standing
    fell = {
        notice.parameter: 1.0 - made.uptakes[notice.parameter].per_day / before
        for notice in made.notices
        if notice.code == FELL
        and (before := made.uptakes[notice.parameter].before_per_day)
    }
    if stands and not fell:
        yield AlarmChanged(**stamp, alarm=name, to="returned", by=by)
    elif fell and not stands:
        parameter = max(sorted(fell), key=fell.__getitem__)
        yield AlarmRaised(
            **stamp,
            alarm=name,
            cause=Cause.UPTAKE_FELL,
            about=made.tank,
            priority=ROWS[Cause.UPTAKE_FELL].least,
            tanks=(made.tank,),
            figures={
                "parameter": parameter,
                "less_percent": round(100 * fell[parameter]),
            },
            by=by,
        )
