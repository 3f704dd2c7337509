"""Why a dose is missing: a closed list, in the words of a keeper.

Floor 3. One subject: from the codes of a refusal to one word. Laws here: a code that is
not in the table explains nothing, and a dose without a word from it is a finding.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum

from slackwater.facts.reasons import Code, Reason


class Missing(StrEnum):
    """Every reason for which a dose of the plan may be missing."""

    NODE_AWAY = "node away"
    CLOCK = "clock"
    HOLD = "hold"
    SENSOR = "sensor"
    CAP = "cap"
    GAP = "gap"
    SMALL = "too small"
    BOTTLE = "bottle"
    PUMP = "pump"
    PLAN = "plan changed or over"
    OLD_DOSER = "given by the old doser"
    LEDGER = "ledger"
    OFF = "daemon off"
    WINDOW = "window passed"
    SKIPPED = "skipped by a person"
    UNKNOWN = "unknown, counted as dosed"


_NODE = (
    *(Code.LINK_DOWN, Code.NODE_ABSENT, Code.NODE_SETTLING, Code.NODE_BUSY),
    *(Code.NODE_HELD, Code.NODE_FAULT, Code.NODE_BUDGET, Code.NODE_IDENTITY),
    *(Code.NODE_SILENT, Code.NODE_TWICE, Code.NODE_IMPOSSIBLE, Code.NODE_LIMIT),
    *(Code.OPEN_INTENT, Code.NOT_TAKEN, Code.RETAINED_COMMAND, Code.TAKEN_OVER),
    *(Code.SECOND_DAEMON, Code.RELAY_UNCHECKED),
)
_SENSOR = (
    *(Code.ALKALINITY_CEILING, Code.ALKALINITY_CLIMB, Code.ALKALINITY_MISSING),
    *(Code.ALKALINITY_STALE, Code.ALKALINITY_FROZEN, Code.ALKALINITY_SPREAD),
    *(Code.ALKALINITY_LOW, Code.ALKALINITY_FALL, Code.ALKALINITY_SWING_UP),
    *(Code.ALKALINITY_SWING_DOWN, Code.ALKALINITY_PROBE_FAULT),
    *(Code.ALKALINITY_DOSE_FAULT, Code.ALKALINITY_TEST, Code.ALKALINITY_ENTERED),
    *(Code.PH_HIGH, Code.PH_RISE),
    *(Code.PH_UNKNOWN, Code.TEMPERATURE_OFF, Code.TEMPERATURE_FAR, Code.SALINITY_OFF),
    *(Code.SALINITY_FAR, Code.PROBE_MISSING, Code.PROBE_STALE, Code.PROBE_FROZEN),
    *(Code.PROBE_REFUSED, Code.PROBE_OUT, Code.PROBES_APART, Code.PROBE_AGAINST_TEST),
    Code.PROBE_STOOD_IN,
    *(
        Code.RETURN_OFF,
        Code.RETURN_UNKNOWN,
        Code.LEVEL_WRONG,
        Code.LEAK,
        Code.SKIMMER_OFF,
        Code.AIR_OFF,
    ),
    *(Code.POWER_AT_REST, Code.SWITCH_UNKNOWN, Code.TOP_OFF_HIGH, Code.NUTRIENTS_LOW),
)
WORDS: Mapping[Code, Missing] = {
    **dict.fromkeys(_NODE, Missing.NODE_AWAY),
    **dict.fromkeys(_SENSOR, Missing.SENSOR),
    Code.CLOCK_UNPROVEN: Missing.CLOCK,
    Code.CLOCK_JUMPED: Missing.CLOCK,
    Code.CLOCK_BEHIND: Missing.CLOCK,
    Code.MANUAL_HOLD: Missing.HOLD,
    Code.NOT_AS_APPROVED: Missing.HOLD,
    Code.VERSION_DIFFERS: Missing.HOLD,
    Code.PAUSE: Missing.HOLD,
    Code.FEEDING: Missing.HOLD,
    Code.HANDS_IN: Missing.HOLD,
    Code.TREATMENT: Missing.HOLD,
    Code.AWAY: Missing.HOLD,
    Code.GROUP: Missing.HOLD,
    Code.START_STORM: Missing.HOLD,
    Code.CAP_DOSE: Missing.CAP,
    Code.CAP_HOUR: Missing.CAP,
    Code.CAP_DAY: Missing.CAP,
    Code.CAP_ROLLING: Missing.CAP,
    Code.CAP_GROSS: Missing.CAP,
    Code.CAP_NET: Missing.CAP,
    Code.CAP_CALIBRATION: Missing.CAP,
    Code.CAP_BY_HAND: Missing.CAP,
    Code.CAP_PRIMING: Missing.CAP,
    Code.RESUMING: Missing.CAP,
    Code.HALVED: Missing.SMALL,
    Code.STRENGTH_UNTESTED: Missing.SMALL,
    Code.OLD_DOSER: Missing.OLD_DOSER,
    Code.GAP_SAME_PUMP: Missing.GAP,
    Code.GAP_APART: Missing.GAP,
    Code.TOO_SMALL: Missing.SMALL,
    Code.RESERVOIR_LOW: Missing.BOTTLE,
    Code.RESERVOIR_EMPTY: Missing.BOTTLE,
    Code.RESERVOIR_OLD: Missing.BOTTLE,
    Code.BOTTLE_LOST: Missing.BOTTLE,
    Code.OVER_DELIVERED: Missing.PUMP,
    Code.SHORT_DELIVERED: Missing.PUMP,
    Code.CALIBRATION_OLD: Missing.PUMP,
    Code.PUMP_FAR_OFF: Missing.PUMP,
    Code.CALIBRATION_CHANGED: Missing.PUMP,
    Code.PUMP_CHANGED: Missing.PUMP,
    Code.NO_PLAN: Missing.PLAN,
    Code.APPROVAL_EXPIRED: Missing.PLAN,
    Code.TABLE_CHANGED: Missing.PLAN,
    Code.PLAN_SWAP: Missing.PLAN,
    Code.GIVEN_BEFORE: Missing.CLOCK,
    Code.LEDGER_FULL: Missing.LEDGER,
    Code.LEDGER_FAULT: Missing.LEDGER,
    Code.LEDGER_DAMAGED: Missing.LEDGER,
    Code.LEDGER_FORGETS: Missing.LEDGER,
    Code.LEDGER_RESTORED: Missing.LEDGER,
    Code.START_HOLD_OFF: Missing.OFF,
    Code.NOT_RUNNING: Missing.OFF,
    Code.WINDOW_PASSED: Missing.WINDOW,
    Code.REQUEST_EXPIRED: Missing.WINDOW,
    Code.SKIPPED: Missing.SKIPPED,
    Code.EXCHANGE_UNFILLED: Missing.HOLD,
    Code.EXCHANGE_OFF: Missing.HOLD,
    Code.EXCHANGE_UNPROVEN: Missing.HOLD,
    Code.EXCHANGE_ALONE: Missing.HOLD,
    Code.EXCHANGE_WAITS: Missing.GAP,
    Code.EXCHANGE_NOTHING: Missing.SMALL,
    Code.EXCHANGE_LESS: Missing.SMALL,
    Code.NEW_WATER_LOW: Missing.BOTTLE,
    Code.NEW_WATER_UNTESTED: Missing.BOTTLE,
    Code.WASTE_FULL: Missing.BOTTLE,
}


def word_for(reasons: Iterable[Reason]) -> Missing | None:
    """The word for a dose that was written off; None when no reason is on the list.

    That its window passed says least: it counts where nothing else is said.
    """
    words = [WORDS[reason.code] for reason in reasons if reason.code in WORDS]
    telling = [word for word in words if word is not Missing.WINDOW]
    return (telling or words or [None])[0]
