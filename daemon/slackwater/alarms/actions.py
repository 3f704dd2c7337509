"""What to do about what a guard on inputs holds or shortens.

Floor 4. One subject: one action for each reason that is told by its own name. Laws
here: an action is something a person can do now; none of them adds anything to the
water; what ends by itself is not said to need a release.
Source: common practice, no source.
"""

from collections.abc import Mapping

from slackwater.facts.alarms import Cause, alarm_id
from slackwater.facts.reasons import Code

_HEAR = "Look whether the probe has power and network; test by hand meanwhile."
_SWITCH = "Look whether the switch has power and network, and at what it watches."
_WARMTH = "Look at heater, cooler and room; bring the temperature back slowly."
_SALT = "Measure salinity by hand and look at the top-off; bring it back slowly."
_RELEASE = "then end the hold with `slackwater release`"

ACTIONS: Mapping[Code, str] = {
    Code.ALKALINITY_TEST: "Test alkalinity again and find out what flowed.",
    Code.ALKALINITY_ENTERED: "Test alkalinity again; then confirm or refuse what was "
    "entered: `slackwater confirm`.",
    Code.PH_HIGH: "Test pH by hand, let fresh air in, and look at what flowed.",
    Code.PH_RISE: "Test pH by hand; look whether the outlets lie in strong flow.",
    Code.PH_UNKNOWN: "Clean the pH probe and compare it with a hand test.",
    Code.TEMPERATURE_OFF: _WARMTH,
    Code.TEMPERATURE_FAR: _WARMTH,
    Code.SALINITY_OFF: _SALT,
    Code.SALINITY_FAR: _SALT,
    Code.PROBE_MISSING: _HEAR,
    Code.PROBE_STALE: _HEAR,
    Code.PROBE_FROZEN: "Clean the probe and compare it with a hand test.",
    Code.PROBE_REFUSED: "Look at the probe's unit and scale, and test by hand.",
    Code.PROBE_OUT: "Test by hand, or end it with `slackwater in-service`.",
    Code.PROBE_STOOD_IN: "End it with `slackwater in-service` once the probe is well.",
    Code.PROBES_APART: "Test by hand; that tells which probe is wrong.",
    Code.PROBE_AGAINST_TEST: "Test again by hand, then clean the probe.",
    Code.RETURN_OFF: "Start the return pump; doses go on by themselves.",
    Code.RETURN_UNKNOWN: "Look that the return pump runs, then at its switch.",
    Code.LEVEL_WRONG: "Look at level, overflow and top-off; doses go on by themselves.",
    Code.FEEDING: "Switch feeding off if nobody feeds any more.",
    Code.HANDS_IN: "Switch it off if nobody has his hands in the tank any more.",
    Code.LEAK: f"Find the water and stop it, {_RELEASE}.",
    Code.SKIMMER_OFF: "Start the skimmer; carbon goes on by itself.",
    Code.AIR_OFF: "Start the air; carbon goes on by itself.",
    Code.POWER_AT_REST: "Unplug the pump and lift its hose out; look at its switch, "
    f"{_RELEASE}.",
    Code.SWITCH_UNKNOWN: _SWITCH,
    Code.TOP_OFF_HIGH: "Look for a top-off that is stuck open; test alkalinity.",
    Code.RESERVOIR_OLD: "Make new solution and say so: `slackwater refill`.",
    Code.NUTRIENTS_LOW: "Test nitrate and phosphate again; carbon waits for them.",
    Code.AWAY: "Say that somebody is back: `slackwater back`.",
    Code.STRENGTH_UNTESTED: "Test what the solution adds: `slackwater record`.",
}
# A guard of two steps is told by the one that stops more, or says more.
STRONGER: Mapping[str, str] = {
    alarm_id(Cause.HELD, weak): alarm_id(Cause.HELD, strong)
    for weak, strong in (
        (Code.TEMPERATURE_OFF, Code.TEMPERATURE_FAR),
        (Code.SALINITY_OFF, Code.SALINITY_FAR),
        (Code.PH_RISE, Code.PH_HIGH),
    )
}
