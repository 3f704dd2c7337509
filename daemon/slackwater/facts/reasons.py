"""Why a dose was shortened, refused or missed: a closed list with one sentence each.

Floor 2. One subject: reasons. Laws here: a refusal carries all its reasons; each
reason has a code from this list, one sentence for people and the figures behind it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

Figure = str | int | float | bool | None


class Code(StrEnum):
    """Every reason there is; `SENTENCES` holds the words."""

    NO_PLAN = "no-plan"
    APPROVAL_EXPIRED = "approval-expired"
    TABLE_CHANGED = "dose-table-changed"
    PUMP_CHANGED = "pump-changed"
    CALIBRATION_CHANGED = "calibration-changed"
    LINK_DOWN = "link-down"
    NODE_ABSENT = "node-absent"
    NODE_SETTLING = "node-settling"
    NODE_BUSY = "node-busy"
    NODE_HELD = "node-held"
    NODE_FAULT = "node-fault"
    NODE_BUDGET = "node-budget"
    NODE_IDENTITY = "node-identity"
    NODE_SILENT = "node-silent"
    NODE_TWICE = "node-twice"
    NODE_IMPOSSIBLE = "node-impossible"
    NODE_LIMIT = "node-limit"
    RELAY_UNCHECKED = "relay-unchecked"
    OPEN_INTENT = "open-intent"
    CLOCK_UNPROVEN = "clock-unproven"
    CLOCK_JUMPED = "clock-jumped"
    CLOCK_BEHIND = "clock-behind-ledger"
    LEDGER_FULL = "ledger-disk-full"
    LEDGER_FAULT = "ledger-fault"
    LEDGER_DAMAGED = "ledger-damaged"
    LEDGER_FORGETS = "ledger-forgets"
    LEDGER_RESTORED = "ledger-restored"
    START_HOLD_OFF = "start-hold-off"
    START_STORM = "start-storm"
    SECOND_DAEMON = "second-daemon"
    RETAINED_COMMAND = "retained-command"
    TAKEN_OVER = "connection-taken-over"
    NOT_AS_APPROVED = "not-as-approved"
    VERSION_DIFFERS = "version-differs"
    MANUAL_HOLD = "manual-hold"
    PAUSE = "pause"
    CAP_DOSE = "cap-per-dose"
    CAP_HOUR = "cap-per-hour"
    CAP_DAY = "cap-per-local-day"
    CAP_ROLLING = "cap-per-24-hours"
    CAP_GROSS = "cap-gross-addition"
    CAP_NET = "cap-net-rise"
    CAP_CALIBRATION = "cap-calibration"
    CAP_BY_HAND = "cap-by-hand"
    CAP_PRIMING = "cap-priming"
    GAP_SAME_PUMP = "gap-same-pump"
    GAP_APART = "gap-apart"
    TOO_SMALL = "too-small"
    GROUP = "group"
    ALKALINITY_CEILING = "alkalinity-ceiling"
    ALKALINITY_CLIMB = "alkalinity-climb"
    ALKALINITY_MISSING = "alkalinity-missing"
    ALKALINITY_STALE = "alkalinity-stale"
    ALKALINITY_FROZEN = "alkalinity-frozen"
    ALKALINITY_SPREAD = "alkalinity-contradictory"
    ALKALINITY_LOW = "alkalinity-low"
    ALKALINITY_FALL = "alkalinity-fall"
    ALKALINITY_SWING_UP = "alkalinity-swing-up"
    ALKALINITY_SWING_DOWN = "alkalinity-swing-down"
    ALKALINITY_PROBE_FAULT = "alkalinity-probe-fault"
    ALKALINITY_DOSE_FAULT = "alkalinity-dose-fault"
    ALKALINITY_TEST = "alkalinity-test"
    ALKALINITY_ENTERED = "alkalinity-unconfirmed"
    PH_HIGH = "ph-high"
    PH_RISE = "ph-rise"
    PH_UNKNOWN = "ph-unknown"
    TEMPERATURE_OFF = "temperature-off"
    TEMPERATURE_FAR = "temperature-far"
    SALINITY_OFF = "salinity-off"
    SALINITY_FAR = "salinity-far"
    PROBE_MISSING = "probe-missing"
    PROBE_STALE = "probe-stale"
    PROBE_FROZEN = "probe-frozen"
    PROBE_REFUSED = "probe-refused"
    PROBE_OUT = "probe-out-of-service"
    PROBE_STOOD_IN = "probe-stood-in"
    PROBES_APART = "probes-apart"
    PROBE_AGAINST_TEST = "probe-against-test"
    RETURN_OFF = "return-pump-off"
    LEVEL_WRONG = "level-wrong"
    LEAK = "leak"
    FEEDING = "feeding"
    HANDS_IN = "hands-in-tank"
    SKIMMER_OFF = "skimmer-off"
    AIR_OFF = "air-off"
    POWER_AT_REST = "power-at-rest"
    SWITCH_UNKNOWN = "switch-unknown"
    RETURN_UNKNOWN = "return-pump-unknown"
    TREATMENT = "treatment"
    TOP_OFF_HIGH = "top-off-high"
    CALIBRATION_OLD = "calibration-old"
    PUMP_FAR_OFF = "pump-far-off"
    BOTTLE_LOST = "bottle-lost"
    RESERVOIR_LOW = "reservoir-low"
    RESERVOIR_EMPTY = "reservoir-empty"
    RESERVOIR_OLD = "reservoir-old"
    NUTRIENTS_LOW = "nutrients-low"
    AWAY = "away"
    RESUMING = "resuming"
    HALVED = "halved"
    STRENGTH_UNTESTED = "strength-untested"
    OLD_DOSER = "old-doser"
    OVER_DELIVERED = "over-delivered"
    SHORT_DELIVERED = "short-delivered"
    NOT_TAKEN = "not-taken"
    WINDOW_PASSED = "window-passed"
    NOT_RUNNING = "not-running"
    SKIPPED = "skipped"
    PLAN_SWAP = "plan-swap"
    GIVEN_BEFORE = "given-before"
    REQUEST_EXPIRED = "request-expired"
    EXCHANGE_WAITS = "exchange-waits"
    EXCHANGE_UNFILLED = "exchange-unfilled"
    EXCHANGE_NOTHING = "exchange-nothing-drained"
    EXCHANGE_LESS = "exchange-drained-less"
    EXCHANGE_OFF = "exchange-off"
    EXCHANGE_UNPROVEN = "exchange-unproven"
    EXCHANGE_ALONE = "exchange-alone"
    NEW_WATER_LOW = "new-water-low"
    NEW_WATER_UNTESTED = "new-water-untested"
    WASTE_FULL = "waste-full"


SENTENCES: Mapping[Code, str] = {
    Code.NO_PLAN: "No approved plan is in force.",
    Code.APPROVAL_EXPIRED: "The approval has expired; a person must approve again.",
    Code.TABLE_CHANGED: "The approved plan now means other times or amounts: zone data "
    "or the program changed.",
    Code.PUMP_CHANGED: "The pump or its solution is not the one that was approved.",
    Code.CALIBRATION_CHANGED: "The calibration is newer than the approval.",
    Code.LINK_DOWN: "The connection to the broker is not proven.",
    Code.NODE_ABSENT: "No fresh beat from the pump node.",
    Code.NODE_SETTLING: "The pump node has just started or come back.",
    Code.NODE_BUSY: "The pump node is busy with another run.",
    Code.NODE_HELD: "The pump node is held at the device.",
    Code.NODE_FAULT: "The pump node reports a fault.",
    Code.NODE_BUDGET: "The pump node's own day budget does not cover the dose.",
    Code.NODE_IDENTITY: "The pump node is not the device that was approved.",
    Code.NODE_SILENT: "A command was sent and nothing was heard since.",
    Code.NODE_TWICE: "Two devices answer under one node identity.",
    Code.NODE_IMPOSSIBLE: "The pump node reported something impossible.",
    Code.NODE_LIMIT: "The dose is beyond the limits of the pump node.",
    Code.RELAY_UNCHECKED: "The relay was not tried out as it is now, or too long ago.",
    Code.OPEN_INTENT: "An earlier dose of this pump node is not settled.",
    Code.CLOCK_UNPROVEN: "The clock is neither synchronised nor confirmed.",
    Code.CLOCK_JUMPED: "The clock jumped against the machine's running time.",
    Code.CLOCK_BEHIND: "The clock is before the newest ledger entry.",
    Code.LEDGER_FULL: "The disk of the ledger is nearly full.",
    Code.LEDGER_FAULT: "The ledger could not be written.",
    Code.LEDGER_DAMAGED: "The ledger was read from end to end and is damaged.",
    Code.LEDGER_FORGETS: "A pump node counted runs that this ledger does not hold.",
    Code.LEDGER_RESTORED: "The ledger was restored; what came after it is unknown.",
    Code.START_HOLD_OFF: "The daemon has just started.",
    Code.START_STORM: "The daemon started too often in a short time.",
    Code.SECOND_DAEMON: "Another daemon commands the same pump node.",
    Code.RETAINED_COMMAND: "A retained command lies on the broker.",
    Code.TAKEN_OVER: "Another client took over the daemon's connection.",
    Code.VERSION_DIFFERS: "This version decides otherwise than the one before it.",
    Code.NOT_AS_APPROVED: "A dose was about to begin that nobody approved so.",
    Code.MANUAL_HOLD: "A person asked for a hold.",
    Code.PAUSE: "A pause was asked for.",
    Code.CAP_DOSE: "More than the pump's cap for one dose.",
    Code.CAP_HOUR: "More than the pump's cap for one hour.",
    Code.CAP_DAY: "More than the pump's cap for one local day.",
    Code.CAP_ROLLING: "More than the pump's cap for any 24 hours.",
    Code.CAP_GROSS: "More than may be added to the tank in a day.",
    Code.CAP_NET: "More than the water may rise in a day.",
    Code.CAP_CALIBRATION: "More than the pump's cap for calibrating.",
    Code.CAP_PRIMING: "More than the pump may prime or flush in an hour.",
    Code.CAP_BY_HAND: "More than the pump may give by hand in 24 hours.",
    Code.GAP_SAME_PUMP: "Too soon after the pump's last run.",
    Code.GAP_APART: "Too soon after a solution that must be kept apart.",
    Code.TOO_SMALL: "The shortened share falls below the smallest reliable dose.",
    Code.GROUP: "A line of the same group may not dose now.",
    Code.ALKALINITY_CEILING: "Alkalinity is above its ceiling.",
    Code.ALKALINITY_CLIMB: "Alkalinity climbs faster than allowed.",
    Code.ALKALINITY_MISSING: "No alkalinity reading has been heard.",
    Code.ALKALINITY_STALE: "The newest alkalinity reading is too old.",
    Code.ALKALINITY_FROZEN: "The alkalinity probe repeats itself: it may be frozen.",
    Code.ALKALINITY_SPREAD: "Two alkalinity probes contradict each other.",
    Code.ALKALINITY_LOW: "Alkalinity is below its floor; a low reading never adds.",
    Code.ALKALINITY_FALL: "Alkalinity fell faster than expected.",
    Code.ALKALINITY_SWING_UP: "Alkalinity rose beyond what doses and uptake explain.",
    Code.ALKALINITY_SWING_DOWN: "Alkalinity sank beyond what doses and uptake explain.",
    Code.ALKALINITY_PROBE_FAULT: "The alkalinity source does not behave as it used to.",
    Code.ALKALINITY_DOSE_FAULT: "Alkalinity moved as if a dose came twice, or never.",
    Code.ALKALINITY_TEST: "A hand test found alkalinity above its ceiling.",
    Code.ALKALINITY_ENTERED: "A test entered from afar, not confirmed yet, is above "
    "the ceiling.",
    Code.PH_HIGH: "pH is above its limit for what raises it.",
    Code.PH_RISE: "pH rises faster than allowed.",
    Code.PH_UNKNOWN: "pH is not known, so hydroxide waits.",
    Code.TEMPERATURE_OFF: "The temperature is outside what corrections allow.",
    Code.TEMPERATURE_FAR: "The temperature is outside what any dose allows.",
    Code.SALINITY_OFF: "Salinity is too far off for mineral corrections.",
    Code.SALINITY_FAR: "Salinity is too far off for any dose.",
    Code.PROBE_MISSING: "No reading of a probe has been heard.",
    Code.PROBE_STALE: "The newest reading of a probe is too old.",
    Code.PROBE_FROZEN: "A probe repeats itself: it may be frozen.",
    Code.PROBE_REFUSED: "The newest reading of a probe had to be refused.",
    Code.PROBE_OUT: "A probe is out of service and no hand test stands in for it.",
    Code.PROBE_STOOD_IN: "Hand tests stand in for the alkalinity probe: base only.",
    Code.PROBES_APART: "Two probes of one kind contradict each other.",
    Code.PROBE_AGAINST_TEST: "A probe contradicts the newest hand test.",
    Code.RETURN_OFF: "The return pump is off.",
    Code.LEVEL_WRONG: "The water level is wrong.",
    Code.LEAK: "Water was found where none should be.",
    Code.FEEDING: "The tank is being fed.",
    Code.HANDS_IN: "Hands are in the tank.",
    Code.SKIMMER_OFF: "The skimmer is off.",
    Code.AIR_OFF: "The air is off.",
    Code.POWER_AT_REST: "A pump draws power or gives flow while it should rest.",
    Code.SWITCH_UNKNOWN: "A switch has not been heard for too long.",
    Code.RETURN_UNKNOWN: "The return pump is not heard: nobody knows that it runs.",
    Code.TREATMENT: "The tank is being treated.",
    Code.TOP_OFF_HIGH: "Far more top-off water came than usual.",
    Code.CALIBRATION_OLD: "The pump's calibration is too old for corrections.",
    Code.PUMP_FAR_OFF: "A pump gives far more or less than is believed.",
    Code.BOTTLE_LOST: "A bottle lost far more than was drawn from it: look for a "
    "siphon or a leak.",
    Code.RESERVOIR_LOW: "The reservoir is nearly empty; what is left is for upkeep.",
    Code.RESERVOIR_EMPTY: "The reservoir does not hold the dose any more.",
    Code.RESERVOIR_OLD: "The solution is older than it keeps.",
    Code.NUTRIENTS_LOW: "Nitrate or phosphate is too low for carbon.",
    Code.AWAY: "A declared absence freezes corrections.",
    Code.RESUMING: "Dosing comes back slowly after a gap.",
    Code.STRENGTH_UNTESTED: "No test has confirmed the new strength of a solution.",
    Code.HALVED: "Half of each dose for a while, because something is new.",
    Code.OLD_DOSER: "The old doser still gives this line.",
    Code.OVER_DELIVERED: "The pump delivered more than was asked.",
    Code.SHORT_DELIVERED: "The pump delivered short three times.",
    Code.NOT_TAKEN: "The pump node never took the command; proven not executed.",
    Code.WINDOW_PASSED: "The latest start passed.",
    Code.NOT_RUNNING: "The daemon was not running or could not decide.",
    Code.SKIPPED: "A person asked to skip this dose.",
    Code.PLAN_SWAP: "Left out near the change of plans.",
    Code.GIVEN_BEFORE: "A clock that was ahead has given the dose of this name before.",
    Code.REQUEST_EXPIRED: "The request was not carried out in time.",
    Code.EXCHANGE_WAITS: "Water out and water in take turns; the other half comes "
    "first.",
    Code.EXCHANGE_UNFILLED: "Water was drained and not made up for, or nobody saw how "
    "much.",
    Code.EXCHANGE_NOTHING: "Its drain took no water, so none is filled in.",
    Code.EXCHANGE_LESS: "Its drain took less, and no more than that is filled in.",
    Code.EXCHANGE_OFF: "More or less water was drained than filled in, by too much.",
    Code.EXCHANGE_UNPROVEN: "Nobody knows well enough whether as much water came in as "
    "was drained.",
    Code.EXCHANGE_ALONE: "The pump moves water only as half of an exchange.",
    Code.NEW_WATER_LOW: "The new water is nearly used up.",
    Code.NEW_WATER_UNTESTED: "No test of the salinity of this new water is known.",
    Code.WASTE_FULL: "The waste container is nearly full.",
}


# A pump that is held for one of these goes back to its commissioning, that pump only:
# it is measured before anybody releases it, so its runs into a cylinder go on.
MEASURED_FIRST = frozenset({Code.PUMP_CHANGED, Code.OVER_DELIVERED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason with the figures that led to it, units in the figure names."""

    code: Code
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The sentence for people, without figures."""
        return SENTENCES[self.code]


def because(code: Code, **figures: Figure) -> Reason:
    """A reason with its figures."""
    return Reason(code=code, figures=figures)
