"""The shape of a row: what an alarm of one cause says and does.

Floor 4. One subject: one row. Laws here: a row for a reason of the gate speaks in that
reason's own words.
"""

from dataclasses import dataclass

from slackwater.facts.alarms import Cause, Priority
from slackwater.facts.first_aid import TOPICS
from slackwater.facts.reasons import SENTENCES, Code

# A cause must stand, and be gone, for so long, in seconds, unless its row says more.
ON_S, OFF_S = 5.0, 60.0

# The figure that a calibration which is due for its tube comes with, and what it says.
TUBE_SWAPPED = "tube_swapped"
NEW_TUBE = (
    "The tube was swapped after the pump was measured; what it gives now is not known."
)

# What follows by itself when a tank is not dosed as planned.
FOLLOWS = frozenset(
    {Cause.MISSED_DOSES, Cause.RESUMING, Cause.ALKALINITY_LOW, Cause.ALKALINITY_FALL}
)
# What cannot be known while nothing is heard.
UNHEARD = frozenset(
    {
        Cause.NODE_ABSENT,
        Cause.PROBE_MISSING,
        Cause.PROBE_STALE,
        Cause.PROBE_SPOILED,
        Cause.INPUT_SPOILED,
    }
)
# What a wrong clock makes look too early or too late.
CLOCKED = frozenset(
    {
        Cause.NO_PLAN,
        Cause.APPROVAL_ENDING,
        Cause.APPROVAL_EXPIRED,
        Cause.APPROVAL_GRACE,
        Cause.CALIBRATION_DUE,
        Cause.RELAY_CHECK_ENDING,
        Cause.PROBE_MISSING,
        Cause.PROBE_STALE,
        Cause.TASK_OVERDUE,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What an alarm of one cause says and does.

    `hides` are causes not told for the same tanks, `covers` for the same thing.
    `rises`: there is, or may be, too much. `least` is its priority whatever time is
    left.
    Units: `on_s` and `off_s` seconds.
    """

    sentence: str
    action: str
    topic: str = ""
    hides: frozenset[Cause] = frozenset()
    covers: frozenset[Cause] = frozenset()
    rises: bool = False
    least: Priority = "note"
    on_s: float = ON_S
    off_s: float = OFF_S


def coded(code: Code, action: str, **more: object) -> Row:
    """A row for a reason of the gate: its sentence and its first aid.

    `more` are other fields of the row.
    """
    topic = TOPICS.get(code, "")
    return Row(sentence=SENTENCES[code], action=action, topic=topic, **more)  # type: ignore[arg-type]  # fields of Row
