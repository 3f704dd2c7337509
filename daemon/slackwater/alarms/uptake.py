"""What an assessment finds in uptake, pumps and water, as alarms.

Floor 4. One subject: an uptake that fell, a pump to which alkalinity answers otherwise,
a contaminant to act on. Laws here: only an assessment begins and ends it; the same
finding twice is one alarm, told again each week for as long as it is found; none of
them moves a dose.
Source: a week is common practice, no source.
"""

from collections.abc import Iterator, Mapping
from datetime import timedelta

from slackwater.alarms.rows import ROWS
from slackwater.assessment.records import TRACE_ACT, Assessment
from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmEvent,
    AlarmRaised,
    Cause,
    StandingAlarm,
    alarm_id,
)
from slackwater.facts.reasons import Figure
from slackwater.facts.state import State
from slackwater.pump.outcome import Stamp
from slackwater.water.show import show_figure

# The notices of an assessment that say so.
FELL, ANSWERS = "uptake-fell", "pump-answers"
# Sooner than an alarm that no assessment repeats ends by itself.
TOLD_AGAIN = timedelta(days=7)


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
        is_news = known is None or not stands or _is_news(known, figures, stamp)
        if stands and not figures:
            yield AlarmChanged(**stamp, alarm=name, to="returned", by=by)
        elif figures and is_news:
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


def _is_news(known: StandingAlarm, figures: Mapping[str, Figure], stamp: Stamp) -> bool:
    """Whether what stands was not told for a week, or is joined by a contaminant."""
    is_long = stamp["at"] - known.raised.at >= TOLD_AGAIN
    joined = known.first.cause is Cause.CONTAMINANT and not (
        _named(figures) <= _named(known.raised.figures)
    )
    return is_long or joined


def _named(figures: Mapping[str, Figure]) -> set[str]:
    """The contaminants that an alarm names."""
    also = str(figures.get("also", ""))
    return {str(figures.get("parameter", "")), *also.split(", ")} - {""}


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
    """The trace furthest above the level to act on, and which others are above theirs.

    Nothing where there is none.
    """
    found = [
        made.traces[notice.parameter]
        for notice in made.notices
        if notice.code == TRACE_ACT and notice.weight == "alarm"
    ]
    if not found:
        return {}
    worst = max(found, key=lambda one: max(one.value, one.at_most) / one.act)
    level = show_figure(max(worst.value, worst.at_most))
    figures: dict[str, Figure] = {"parameter": worst.parameter, "seen": f"{level} ug/L"}
    others = sorted(one.parameter for one in found if one is not worst)
    return {**figures, "also": ", ".join(others)} if others else figures


def _answers(made: Assessment) -> Mapping[str, Figure]:
    """Which pumps alkalinity answers otherwise, and how; nothing where as believed."""
    for notice in made.notices:
        if notice.code == ANSWERS:
            return {
                "pumps": notice.figures["pumps"],
                "seen_over_believed": notice.figures["seen_over_believed"],
            }
    return {}
