"""What an assessment finds in uptake, pumps and water, as alarms.

Floor 4. One subject: an uptake that fell, a pump to which alkalinity answers otherwise,
a contaminant to act on. Laws here: only an assessment begins and ends it; the same
finding twice is one alarm; none of them moves a dose.
"""

from collections.abc import Iterator, Mapping

from slackwater.alarms.rows import ROWS
from slackwater.assessment.records import TRACE_ACT, Assessment
from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmEvent,
    AlarmRaised,
    Cause,
    alarm_id,
)
from slackwater.facts.reasons import Figure
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_figure

# The notices of an assessment that say so.
FELL, ANSWERS = "uptake-fell", "pump-answers"


def uptake_alarms(
    made: Assessment, state: State, stamp: Stamp, by: str
) -> Iterator[AlarmEvent]:
    """The entries that follow from what an assessment found."""
    found = {
        Cause.UPTAKE_FELL: _fell(made),
        Cause.CONTAMINANT: _contaminant(made),
        Cause.PUMP_ANSWERS: _answers(made),
    }
    for cause, figures in found.items():
        name = alarm_id(cause, made.tank)
        known = state.alarms.get(name)
        stands = known is not None and known.is_standing
        if stands and not figures:
            yield AlarmChanged(**stamp, alarm=name, to="returned", by=by)
        elif figures and not stands:
            yield AlarmRaised(
                **stamp,
                alarm=name,
                cause=cause,
                about=made.tank,
                priority=ROWS[cause].least,
                tanks=(made.tank,),
                figures=figures,
                by=by,
            )


def _fell(made: Assessment) -> Mapping[str, Figure]:
    """What fell most, and by how much; nothing where none fell."""
    fell = {
        notice.parameter: 1.0 - made.uptakes[notice.parameter].per_day / before
        for notice in made.notices
        if notice.code == FELL
        and (before := made.uptakes[notice.parameter].before_per_day)
    }
    if not fell:
        return {}
    parameter = max(sorted(fell), key=fell.__getitem__)
    return {"parameter": parameter, "less_percent": round(100 * fell[parameter])}


def _contaminant(made: Assessment) -> Mapping[str, Figure]:
    """The trace furthest above the level to act on; nothing where there is none."""
    found = [
        made.traces[notice.parameter]
        for notice in made.notices
        if notice.code == TRACE_ACT and notice.weight == "alarm"
    ]
    if not found:
        return {}
    worst = max(found, key=lambda one: max(one.value, one.at_most) / one.act)
    level = show_figure(max(worst.value, worst.at_most))
    return {"parameter": worst.parameter, "seen": f"{level} ug/L"}


def _answers(made: Assessment) -> Mapping[str, Figure]:
    """Which pumps alkalinity answers otherwise, and how; nothing where as believed."""
    for notice in made.notices:
        if notice.code == ANSWERS:
            return {
                "pumps": notice.figures["pumps"],
                "seen_over_believed": notice.figures["seen_over_believed"],
            }
    return {}
