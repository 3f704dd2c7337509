"""What a root left behind: alarms that ended lately.

Floor 4. One subject: the day after a root. Laws here: what a root brought about is not
told as a trouble of its own until a day after it ended; what is still wrong is looked
at as it is and not as it was told; one that ended ahead of the clock ended never.
"""

from collections.abc import Container, Iterator
from datetime import timedelta

from slackwater.alarms.conditions import EVERYTHING
from slackwater.alarms.row import FOLLOWS
from slackwater.alarms.rows import ROWS
from slackwater.alarms.sizing import SHORT, rises
from slackwater.facts.alarms import AlarmRaised, Cause, StandingAlarm
from slackwater.gate.moment import Moment, daily_of

# What a root cause left behind is not told for so long after it ended.
AFTERMATH_FOR = timedelta(hours=24)
AFTERMATH = frozenset({Cause.MISSED_DOSES, Cause.RESUMING, Cause.ALKALINITY_FALL})


def ended_lately(
    moment: Moment, cause: Cause, tanks: Container[str], present: Container[str]
) -> Iterator[tuple[StandingAlarm, timedelta]]:
    """Alarms that hide a cause for one of these tanks, and how long ago they ended.

    `present` are the names of what is wrong now. An alarm that still stands though its
    cause is gone ends at this moment.
    """
    for name, known in moment.state.alarms.items():
        first = known.first
        if name in present or first.cause in AFTERMATH:
            continue
        if cause not in ROWS[first.cause].hides:
            continue
        if any(tank in tanks for tank in first.tanks):
            ago = _ended_ago(moment, known)
            if timedelta() <= ago < AFTERMATH_FOR:
                yield known, ago


def _ended_ago(moment: Moment, known: StandingAlarm) -> timedelta:
    if known.is_standing or known.ended_at is None:
        return timedelta()
    return moment.now.utc - known.ended_at


def is_whole(cause: Cause, about: str) -> bool:
    """Whether it reaches all doses, or tells of the water itself: no line is asked."""
    return about == EVERYTHING or not ROWS[cause].hides >= FOLLOWS


def took_alkalinity(moment: Moment, raised: AlarmRaised) -> bool:
    """Whether less alkalinity came because of it, as it was told."""
    if is_whole(raised.cause, raised.about) or rises(raised.cause, raised.figures):
        return True
    if not raised.stops:
        return SHORT in raised.figures
    return any(_adds_alkalinity(moment, name) for name in raised.stops)


def _adds_alkalinity(moment: Moment, name: str) -> bool:
    """Whether a line does; of one that is gone nobody can say that it did not."""
    rule = moment.rules.lines.get(name)
    return rule is None or daily_of(rule.line, moment.rules.pumps) > 0
