"""Groups of holds: where a person has to look first.

Floor 2. One subject: from reasons to groups. Laws here: every reason has one group;
a group is for display only and decides nothing.
"""

from collections.abc import Mapping

from slackwater.facts.reasons import Code

# Each with what a person reads.
GROUPS: Mapping[str, str] = {
    "people": "Held by people",
    "water": "Held because of the water",
    "probes": "Held because of a probe",
    "equipment": "Held because of the tank's equipment",
    "pumps": "Held because of a pump",
    "daemon": "Held because of the daemon",
}

_PEOPLE = frozenset(
    {
        Code.MANUAL_HOLD,
        Code.PAUSE,
        Code.FEEDING,
        Code.HANDS_IN,
        Code.TREATMENT,
        Code.AWAY,
        Code.SKIPPED,
        Code.HALVED,
        Code.OLD_DOSER,
        Code.REQUEST_EXPIRED,
    }
)
_PROBES = frozenset(
    {
        Code.ALKALINITY_MISSING,
        Code.ALKALINITY_STALE,
        Code.ALKALINITY_FROZEN,
        Code.ALKALINITY_SPREAD,
        Code.ALKALINITY_PROBE_FAULT,
        Code.PH_UNKNOWN,
        Code.PROBE_MISSING,
        Code.PROBE_STALE,
        Code.PROBE_FROZEN,
        Code.PROBE_REFUSED,
        Code.PROBE_OUT,
        Code.PROBE_STOOD_IN,
        Code.PROBES_APART,
        Code.PROBE_AGAINST_TEST,
    }
)
_EQUIPMENT = frozenset(
    {
        Code.RETURN_OFF,
        Code.RETURN_UNKNOWN,
        Code.LEVEL_WRONG,
        Code.LEAK,
        Code.SKIMMER_OFF,
        Code.AIR_OFF,
        Code.SWITCH_UNKNOWN,
        Code.TOP_OFF_HIGH,
    }
)
_WATER = frozenset(
    {
        Code.ALKALINITY_CEILING,
        Code.ALKALINITY_CLIMB,
        Code.ALKALINITY_LOW,
        Code.ALKALINITY_FALL,
        Code.ALKALINITY_SWING_UP,
        Code.ALKALINITY_SWING_DOWN,
        Code.ALKALINITY_TEST,
        Code.ALKALINITY_ENTERED,
        Code.PH_HIGH,
        Code.PH_RISE,
        Code.TEMPERATURE_OFF,
        Code.TEMPERATURE_FAR,
        Code.SALINITY_OFF,
        Code.SALINITY_FAR,
        Code.NUTRIENTS_LOW,
        Code.RESUMING,
        Code.EXCHANGE_UNFILLED,
        Code.EXCHANGE_OFF,
        Code.EXCHANGE_UNPROVEN,
        Code.NEW_WATER_UNTESTED,
    }
)
_DAEMON = frozenset(
    {
        Code.NO_PLAN,
        Code.APPROVAL_EXPIRED,
        Code.TABLE_CHANGED,
        Code.LINK_DOWN,
        Code.CLOCK_UNPROVEN,
        Code.CLOCK_JUMPED,
        Code.CLOCK_BEHIND,
        Code.LEDGER_FULL,
        Code.LEDGER_FAULT,
        Code.LEDGER_DAMAGED,
        Code.LEDGER_FORGETS,
        Code.LEDGER_RESTORED,
        Code.START_HOLD_OFF,
        Code.START_STORM,
        Code.SECOND_DAEMON,
        Code.TAKEN_OVER,
        Code.NOT_AS_APPROVED,
        Code.VERSION_DIFFERS,
        Code.PLAN_SWAP,
        Code.GIVEN_BEFORE,
        Code.NOT_RUNNING,
        Code.WINDOW_PASSED,
    }
)


def group_of(code: Code) -> str:
    """The group of a reason; what no other has is about a pump and its solution."""
    for group, codes in (
        ("people", _PEOPLE),
        ("water", _WATER),
        ("probes", _PROBES),
        ("equipment", _EQUIPMENT),
        ("daemon", _DAEMON),
    ):
        if code in codes:
            return group
    return "pumps"
