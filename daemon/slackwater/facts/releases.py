"""What ends a reason: by itself, or by a person, and how.

Floor 2. One subject: the way out of each reason. Laws here: every reason has one; what
is latched names the person; nothing here is done by the program on its own account.
"""

from collections.abc import Mapping

from slackwater.facts.reasons import Code

_PERSON = "`slackwater release`"
_RELEASE = f"A person releases the hold on the machine: {_PERSON}."
_ITSELF = "It passes by itself."
_READING = "A good reading of the probe ends it; test by hand meanwhile."
_AGAIN = "A person looks at the plan and approves again: `slackwater approve`."
_CAUSE = "It ends when its cause is gone."
_DOSE = "It is decided for this dose; the next one is asked for anew."
_CAP = "Time alone: the cap comes free as doses grow older."
_BACK = "It ends by itself when the value has been well for long enough."
_SWITCH = "It ends by itself when the switch has been well for long enough."

RELEASES: Mapping[Code, str] = {
    Code.NO_PLAN: "A person approves a plan: `slackwater approve`.",
    Code.APPROVAL_EXPIRED: _AGAIN,
    Code.TABLE_CHANGED: f"{_AGAIN} {_RELEASE}",
    Code.PUMP_CHANGED: "A person calibrates the pump, approves again and releases it.",
    Code.CALIBRATION_CHANGED: _AGAIN,
    Code.LINK_DOWN: "It ends when the broker answers again.",
    Code.NODE_ABSENT: "It ends when the node is heard again.",
    Code.NODE_SETTLING: "It passes when the node was heard a few times.",
    Code.NODE_BUSY: "It passes when the other run has ended.",
    Code.NODE_HELD: f"Somebody takes the hold off at the node. {_RELEASE}",
    Code.NODE_FAULT: "It ends when the node reports no fault any more.",
    Code.NODE_BUDGET: "It passes within a day, as what the node gave grows older.",
    Code.NODE_IDENTITY: "The approved device comes back, or a person approves again.",
    Code.NODE_SILENT: "The node's word settles the dose, or its time is up.",
    Code.NODE_TWICE: _RELEASE,
    Code.NODE_IMPOSSIBLE: _RELEASE,
    Code.NODE_LIMIT: "The plan asks for smaller doses, or the node allows larger ones.",
    Code.RELAY_UNCHECKED: "A person tries the relay out: `slackwater check-relay`.",
    Code.OPEN_INTENT: "It passes when the earlier dose is settled.",
    Code.CLOCK_UNPROVEN: "The clock is synchronised, or `slackwater clock confirm`.",
    Code.CLOCK_JUMPED: _RELEASE,
    Code.CLOCK_BEHIND: "The clock is set, or a person runs `slackwater clock confirm`.",
    Code.LEDGER_FULL: "It ends when there is room on the disk.",
    Code.LEDGER_FAULT: _RELEASE,
    Code.LEDGER_DAMAGED: f"A person puts a whole copy in its place. {_RELEASE}",
    Code.LEDGER_FORGETS: f"A person finds the newer ledger. {_RELEASE}",
    Code.LEDGER_RESTORED: f"A person looks at plan and holds anew. {_RELEASE}",
    Code.START_HOLD_OFF: "It passes within a minute of the start.",
    Code.START_STORM: _RELEASE,
    Code.SECOND_DAEMON: _RELEASE,
    Code.RETAINED_COMMAND: _RELEASE,
    Code.TAKEN_OVER: _RELEASE,
    Code.NOT_AS_APPROVED: _RELEASE,
    Code.VERSION_DIFFERS: f"A person looks at `slackwater audit --replay`. {_RELEASE}",
    Code.MANUAL_HOLD: _RELEASE,
    Code.PAUSE: "It ends by itself when its time is over.",
    Code.STRENGTH_UNTESTED: "A test of what it adds, a day after its first dose.",
    Code.HALVED: "It passes by itself, in the time it was begun for.",
    Code.OLD_DOSER: "A person takes the line over: `slackwater take-over`.",
    Code.CAP_DOSE: "The plan asks for smaller doses.",
    Code.CAP_HOUR: _CAP,
    Code.CAP_DAY: "Time alone: the next local day.",
    Code.CAP_ROLLING: _CAP,
    Code.CAP_GROSS: _CAP,
    Code.CAP_NET: _CAP,
    Code.CAP_CALIBRATION: _CAP,
    Code.CAP_BY_HAND: _CAP,
    Code.CAP_PRIMING: _CAP,
    Code.GAP_SAME_PUMP: _ITSELF,
    Code.GAP_APART: _ITSELF,
    Code.TOO_SMALL: _DOSE,
    Code.GROUP: "It ends with what keeps the other line of its group.",
    Code.ALKALINITY_CEILING: "It ends by itself after enough good readings.",
    Code.ALKALINITY_CLIMB: f"{_RELEASE} Sooner than a day after the climb it comes "
    "back.",
    Code.ALKALINITY_MISSING: _READING,
    Code.ALKALINITY_STALE: _READING,
    Code.ALKALINITY_FROZEN: _READING,
    Code.ALKALINITY_SPREAD: "It ends when both probes agree again.",
    Code.ALKALINITY_LOW: "It ends when a reading is above the floor.",
    Code.ALKALINITY_FALL: "It ends a day after the fall, or when the level is back.",
    Code.ALKALINITY_SWING_UP: _RELEASE,
    Code.ALKALINITY_SWING_DOWN: "It ends a day after the fall, or after good readings.",
    Code.ALKALINITY_PROBE_FAULT: "It ends after several good readings, or with "
    "`slackwater event probe_serviced`.",
    Code.ALKALINITY_DOSE_FAULT: "Good readings or a day end it; where doses are held, "
    "a person releases them.",
    Code.ALKALINITY_TEST: "A test below the ceiling ends it, more than half an hour "
    "after the high one. One that was wrong: `slackwater record --strike`.",
    Code.ALKALINITY_ENTERED: "On the machine: `slackwater confirm ID --refuse`, or a "
    "test below the ceiling.",
    Code.PH_HIGH: _BACK,
    Code.PH_RISE: _BACK,
    Code.PH_UNKNOWN: _READING,
    Code.TEMPERATURE_OFF: _BACK,
    Code.TEMPERATURE_FAR: _BACK,
    Code.SALINITY_OFF: _BACK,
    Code.SALINITY_FAR: _BACK,
    Code.PROBE_MISSING: _READING,
    Code.PROBE_STALE: _READING,
    Code.PROBE_FROZEN: _READING,
    Code.PROBE_REFUSED: _READING,
    Code.PROBE_OUT: "A hand test, or `slackwater in-service` for the probe.",
    Code.PROBE_STOOD_IN: "`slackwater in-service` for the probe; or approve a machine "
    "without it, which doses on hand tests.",
    Code.PROBES_APART: "It ends when both probes agree again.",
    Code.PROBE_AGAINST_TEST: "It ends when probe and hand test agree again.",
    Code.RETURN_OFF: _SWITCH,
    Code.LEVEL_WRONG: _SWITCH,
    Code.LEAK: _RELEASE,
    Code.FEEDING: _SWITCH,
    Code.HANDS_IN: _SWITCH,
    Code.SKIMMER_OFF: _SWITCH,
    Code.AIR_OFF: _SWITCH,
    Code.POWER_AT_REST: _RELEASE,
    Code.SWITCH_UNKNOWN: "It ends when the switch is heard again.",
    Code.RETURN_UNKNOWN: "It ends when the switch is heard again.",
    Code.TREATMENT: "It ends with the treatment.",
    Code.TOP_OFF_HIGH: _BACK,
    Code.CALIBRATION_OLD: "A person calibrates the pump and approves again.",
    Code.PUMP_FAR_OFF: "A person calibrates the pump and approves again.",
    Code.BOTTLE_LOST: "A person finds where it went and tests the water, or finds the "
    "level mistyped, and tells what the bottle holds: `slackwater refill`.",
    Code.RESERVOIR_LOW: "A person fills the bottle: `slackwater refill`.",
    Code.RESERVOIR_EMPTY: "A person fills the bottle: `slackwater refill`.",
    Code.RESERVOIR_OLD: "A person makes new solution: `slackwater refill`.",
    Code.NUTRIENTS_LOW: "A test that shows enough of both ends it.",
    Code.AWAY: "Somebody is back and says so: `slackwater back`.",
    Code.RESUMING: "It ends by itself when the whole plan fits again.",
    Code.OVER_DELIVERED: f"A person calibrates the pump. {_RELEASE}",
    Code.SHORT_DELIVERED: f"A person calibrates the pump. {_RELEASE}",
    Code.NOT_TAKEN: _DOSE,
    Code.WINDOW_PASSED: "Nothing: a missed dose is never made up.",
    Code.NOT_RUNNING: "Nothing: a missed dose is never made up.",
    Code.SKIPPED: _DOSE,
    Code.PLAN_SWAP: _DOSE,
    Code.GIVEN_BEFORE: _DOSE,
    Code.REQUEST_EXPIRED: "A person asks again.",
    Code.EXCHANGE_WAITS: _ITSELF,
    Code.EXCHANGE_UNFILLED: "A person sets the level right with salt water, tests "
    "salinity and releases it: `slackwater release`.",
    Code.EXCHANGE_NOTHING: _DOSE,
    Code.EXCHANGE_LESS: _DOSE,
    Code.EXCHANGE_OFF: "A person calibrates both pumps, sets salinity right and "
    "releases it: `slackwater release`.",
    Code.EXCHANGE_UNPROVEN: "A person measures both containers: `slackwater level`; or "
    "tests salinity and releases it.",
    Code.EXCHANGE_ALONE: "Nothing: it is left to its pair.",
    Code.NEW_WATER_LOW: "A person makes new water: `slackwater refill`.",
    Code.NEW_WATER_UNTESTED: "A person tests it and says so: `slackwater refill` with "
    "`--new`.",
    Code.WASTE_FULL: "A person empties the container: `slackwater refill`.",
}


def way_out(code: Code, *, is_latched: bool = False) -> str:
    """What would end it; a latched hold needs a person whatever its reason."""
    said = RELEASES.get(code, _CAUSE)
    return _RELEASE if is_latched and _PERSON not in said else said
