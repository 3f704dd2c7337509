"""The table: a root cause → what it means, what to do, what it explains.

Floor 4. One subject: the rows of alarms. Laws here: each cause has one row; a row names
one action for a person; what a root explains is not told beside it.
Source: delays, shares and the order of rows are common practice, no source; the first
aid behind a row is `facts.first_aid`.
"""

from collections.abc import Mapping

from slackwater.alarms.assessed_rows import ASSESSED_ROWS
from slackwater.alarms.bottle_rows import BOTTLES
from slackwater.alarms.row import CLOCKED, FOLLOWS, UNHEARD, Row, coded
from slackwater.facts.alarms import Cause
from slackwater.facts.reasons import SENTENCES, Code

# A beat is missed for 15 s first; all in all an alarm stands within a minute.
SILENT_S = 25.0
# Values of probes come and go; what they say must be gone for so long.
PROBE_OFF_S = 300.0
_RELEASE = "then end the hold with `slackwater release`"

ROWS: Mapping[Cause, Row] = {
    Cause.LINK_DOWN: coded(
        Code.LINK_DOWN,
        "Look whether the broker runs and this machine reaches it; if both are well, "
        "start the daemon anew as the last means; where it is a service of the system "
        "that is `systemctl restart slackwater`.",
        hides=FOLLOWS | UNHEARD,
        on_s=15.0,
    ),
    Cause.SECOND_DAEMON: coded(
        Code.SECOND_DAEMON,
        f"Find the other daemon and stop it, {_RELEASE}.",
        hides=FOLLOWS | {Cause.NODE_IMPOSSIBLE, Cause.NODE_TWICE, Cause.LEDGER_FORGETS},
        rises=True,
        least="soon",
    ),
    Cause.TAKEN_OVER: coded(
        Code.TAKEN_OVER,
        f"Find the other client that uses the daemon's name at the broker, {_RELEASE}.",
        hides=FOLLOWS | UNHEARD | {Cause.LINK_DOWN},
        least="soon",
    ),
    Cause.CLOCK_UNPROVEN: coded(
        Code.CLOCK_UNPROVEN,
        "Let the time service set the clock, or look at a watch and run "
        "`slackwater clock confirm`.",
        least="soon",
        hides=FOLLOWS | CLOCKED,
        on_s=10.0,
    ),
    Cause.CLOCK_JUMPED: coded(
        Code.CLOCK_JUMPED,
        f"Compare the machine's clock with a watch, find out what set it, {_RELEASE}.",
        least="soon",
        hides=FOLLOWS | CLOCKED | {Cause.CLOCK_BEHIND, Cause.CLOCK_UNPROVEN},
    ),
    Cause.CLOCK_BEHIND: coded(
        Code.CLOCK_BEHIND,
        "Set the clock; if it is right, run `slackwater clock confirm`.",
        least="soon",
        hides=FOLLOWS | CLOCKED | {Cause.CLOCK_UNPROVEN},
        on_s=10.0,
    ),
    Cause.DISK_FULL: coded(
        Code.LEDGER_FULL,
        "Make room on the disk that holds the ledger; never delete the ledger.",
        hides=FOLLOWS,
    ),
    Cause.LEDGER_FAULT: coded(
        Code.LEDGER_FAULT,
        "Look at the disk, run `slackwater ledger verify`, and start again.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.LEDGER_DAMAGED: coded(
        Code.LEDGER_DAMAGED,
        "Run `slackwater ledger verify`; stop the daemon and restore a whole copy.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.LEDGER_FORGETS: coded(
        Code.LEDGER_FORGETS,
        "Find the newer ledger and put it back; if it is lost, write down with "
        f"`slackwater added` what was given since, {_RELEASE}.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.LEDGER_RESTORED: coded(
        Code.LEDGER_RESTORED,
        f"Look at plan and holds, test the water, start the daemon, {_RELEASE}.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.START_STORM: coded(
        Code.START_STORM,
        f"Look into the log why the daemon ended, {_RELEASE}.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.NO_PLAN: coded(
        Code.NO_PLAN,
        "Rehearse a plan and approve it: `slackwater approve`.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.APPROVAL_EXPIRED: coded(
        Code.APPROVAL_EXPIRED,
        "Look at the plan and approve it again: `slackwater approve`.",
        hides=FOLLOWS | {Cause.APPROVAL_ENDING},
    ),
    Cause.APPROVAL_GRACE: Row(
        sentence="The approval has expired; corrections have ended, and upkeep goes on "
        "as approved for a last while.",
        action="Look at the plan and approve it again: `slackwater approve`.",
        least="soon",
    ),
    Cause.APPROVAL_ENDING: Row(
        sentence="The approval ends soon; a last while later nothing is dosed.",
        action="Look at the plan and approve it again: `slackwater approve`.",
    ),
    Cause.FILES_DIFFER: Row(
        sentence="The files on disk are not the approved ones; the approved ones go "
        "on.",
        action="Approve the changed files, or put the approved ones back.",
    ),
    Cause.AUDIT_OVERDUE: Row(
        sentence="The daily audit was not made.",
        action="Look at its timer, or run `slackwater audit --keep`.",
    ),
    Cause.NOT_AS_APPROVED: Row(
        sentence="Doses are not as they were approved, or were about to be.",
        action=f"Run `slackwater audit`, report this with the ledger, {_RELEASE}.",
        hides=FOLLOWS,
        least="soon",
    ),
    Cause.EVERYTHING_HELD: coded(
        Code.MANUAL_HOLD,
        "End it when the work is done: `slackwater release`.",
        hides=FOLLOWS,
    ),
    Cause.NODE_ABSENT: coded(
        Code.NODE_ABSENT,
        "Look whether the pump node has power and network.",
        hides=FOLLOWS,
        on_s=SILENT_S,
    ),
    Cause.NODE_IDENTITY: coded(
        Code.NODE_IDENTITY,
        "Put the approved device back, or calibrate its pumps and approve again.",
        hides=FOLLOWS,
    ),
    Cause.NODE_TWICE: coded(
        Code.NODE_TWICE,
        f"Find the second device and switch it off, {_RELEASE}.",
        hides=FOLLOWS,
        covers=frozenset({Cause.NODE_IMPOSSIBLE, Cause.NODE_IDENTITY}),
        rises=True,
        least="soon",
    ),
    Cause.NODE_IMPOSSIBLE: coded(
        Code.NODE_IMPOSSIBLE,
        "Look at the node and find out what flowed; write it down with "
        f"`slackwater added`, {_RELEASE}.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.NODE_HELD: coded(
        Code.NODE_HELD,
        f"Take the hold off at the device, {_RELEASE}.",
        hides=FOLLOWS,
    ),
    Cause.NODE_FAULT: coded(
        Code.NODE_FAULT,
        "Look at the pump head and switch the node off and on.",
        hides=FOLLOWS,
    ),
    Cause.NODE_BUDGET: coded(
        Code.NODE_BUDGET,
        "Wait an hour for a node that has just started; else compare its own limit "
        "with the plan.",
        hides=FOLLOWS,
    ),
    Cause.RELAY_CHECK_ENDING: Row(
        sentence="A timed relay counts as tried out for a last while; then nothing "
        "behind it is dosed.",
        action="Try it out again: `slackwater check-relay`.",
    ),
    Cause.RETAINED_COMMAND: coded(
        Code.RETAINED_COMMAND,
        f"Remove the retained message and find out who sent it, {_RELEASE}.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.OVERREACH: Row(
        sentence="Somebody asked over the network for what only a person on the "
        "machine may do; nothing was done.",
        action="Find out who may write requests at the broker, and why it was sent.",
        least="soon",
    ),
    Cause.OVER_DELIVERED: coded(
        Code.OVER_DELIVERED,
        "Test alkalinity, look at hose and pump, and calibrate it before you release "
        "the hold.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.SHORT_DELIVERED: coded(
        Code.SHORT_DELIVERED,
        f"Look for air, a kink or an empty bottle, calibrate, {_RELEASE}.",
        hides=FOLLOWS,
    ),
    Cause.PUMP_CHANGED: coded(
        Code.PUMP_CHANGED,
        "Calibrate the pump, approve again and release the hold.",
        hides=FOLLOWS,
        covers=frozenset(
            {Cause.CALIBRATION_CHANGED, Cause.CALIBRATION_DUE, Cause.PUMP_DRIFTS}
        ),
    ),
    Cause.CALIBRATION_CHANGED: coded(
        Code.CALIBRATION_CHANGED,
        "Approve again, so that the plan counts with the new calibration.",
        hides=FOLLOWS,
    ),
    Cause.CALIBRATION_DUE: Row(
        sentence="The calibration is old; a pump drifts as its tube wears.",
        action="Measure the pump again: `slackwater calibrate`.",
    ),
    Cause.TUBE_WORN: Row(
        sentence="The tube of a pump has run nearly as long as it lasts, or longer.",
        action="Swap it: `slackwater swap-tube`, then measure the pump again.",
    ),
    **BOTTLES,
    Cause.PROBE_MISSING: coded(
        Code.ALKALINITY_MISSING,
        "Look whether the probe has power and network; test by hand meanwhile.",
        hides=FOLLOWS,
        off_s=PROBE_OFF_S,
    ),
    Cause.PROBE_STALE: coded(
        Code.ALKALINITY_STALE,
        "Look whether the probe has power and network; test by hand meanwhile.",
        hides=FOLLOWS,
        off_s=PROBE_OFF_S,
    ),
    Cause.PROBE_FROZEN: coded(
        Code.ALKALINITY_FROZEN,
        "Clean the probe and compare it with a hand test.",
        hides=FOLLOWS,
        covers=frozenset({Cause.ALKALINITY_PROBE_FAULT}),
        off_s=PROBE_OFF_S,
    ),
    Cause.INPUT_SPOILED: Row(
        sentence="A switch or counter sends what cannot be read.",
        action="Compare what it sends with its entry in the machine file.",
        hides=FOLLOWS,
        on_s=30.0,
        off_s=PROBE_OFF_S,
    ),
    Cause.PROBE_SPOILED: Row(
        sentence="The probe sends readings that cannot be believed.",
        action="Look at the probe's unit and scale, and compare it with a hand test.",
        hides=FOLLOWS,
        covers=frozenset(
            {Cause.PROBE_STALE, Cause.PROBE_MISSING, Cause.ALKALINITY_PROBE_FAULT}
        ),
        on_s=30.0,
        off_s=PROBE_OFF_S,
    ),
    Cause.PROBES_CONTRADICT: coded(
        Code.ALKALINITY_SPREAD,
        "Test by hand; that tells which probe is wrong.",
        hides=FOLLOWS,
        off_s=PROBE_OFF_S,
    ),
    Cause.ALKALINITY_CEILING: coded(
        Code.ALKALINITY_CEILING,
        "Test by hand at once and find out what flowed.",
        hides=FOLLOWS | {Cause.ALKALINITY_CLIMB, Cause.ALKALINITY_SWING_UP},
        rises=True,
        least="urgent",
    ),
    Cause.ALKALINITY_CLIMB: coded(
        Code.ALKALINITY_CLIMB,
        f"Test by hand, find out what lifts it, {_RELEASE}; sooner than a day after "
        "the climb it comes back.",
        hides=FOLLOWS | {Cause.ALKALINITY_SWING_UP},
        rises=True,
        least="soon",
    ),
    Cause.ALKALINITY_SWING_UP: coded(
        Code.ALKALINITY_SWING_UP,
        f"Test by hand, write down what was poured in or changed, {_RELEASE}.",
        hides=FOLLOWS,
        rises=True,
        least="soon",
    ),
    Cause.ALKALINITY_DOSE_FAULT: coded(
        Code.ALKALINITY_DOSE_FAULT,
        "Look at the pump named here, its hose and its outlet; a hold ends with "
        "`slackwater release`.",
        hides=FOLLOWS | {Cause.ALKALINITY_CLIMB, Cause.ALKALINITY_SWING_UP},
        rises=True,
        least="soon",
    ),
    Cause.ALKALINITY_PROBE_FAULT: coded(
        Code.ALKALINITY_PROBE_FAULT,
        "Compare it with a hand test, clean it, and note that with `slackwater event "
        "probe_serviced`.",
        hides=FOLLOWS,
        off_s=PROBE_OFF_S,
    ),
    Cause.ALKALINITY_LOW: Row(
        sentence=SENTENCES[Code.ALKALINITY_LOW],
        action="Test by hand; look at bottle, hose and pump, then at the plan.",
        hides=frozenset(
            {
                Cause.ALKALINITY_FALL,
                Cause.ALKALINITY_SWING_DOWN,
                Cause.RESUMING,
                Cause.MISSED_DOSES,
            }
        ),
        least="urgent",
        off_s=PROBE_OFF_S,
    ),
    Cause.ALKALINITY_FALL: Row(
        sentence=SENTENCES[Code.ALKALINITY_FALL],
        action="Test by hand; look at bottle, hose and pump, and for a white cloud.",
        topic="white-cloud",
        hides=frozenset(
            {Cause.ALKALINITY_SWING_DOWN, Cause.RESUMING, Cause.MISSED_DOSES}
        ),
        off_s=PROBE_OFF_S,
    ),
    Cause.ALKALINITY_SWING_DOWN: coded(
        Code.ALKALINITY_SWING_DOWN,
        "Test by hand; look at bottle, hose and pump, and for a white cloud.",
        hides=frozenset({Cause.RESUMING, Cause.MISSED_DOSES}),
        off_s=PROBE_OFF_S,
    ),
    **ASSESSED_ROWS,
    Cause.MANUAL_HOLD: coded(
        Code.MANUAL_HOLD,
        "End it when the work is done: `slackwater release`.",
        hides=FOLLOWS,
    ),
    Cause.PAUSED: coded(
        Code.PAUSE,
        "It ends by itself; look that it was meant to be so long.",
        hides=FOLLOWS,
    ),
    Cause.HELD: Row(
        sentence="Doses are held.",
        action=f"See `slackwater why`, {_RELEASE}.",
        hides=FOLLOWS,
    ),
    Cause.RESUMING: coded(
        Code.RESUMING,
        "Test alkalinity before each step up; the plan comes back by itself.",
    ),
    Cause.MISSED_DOSES: Row(
        sentence="Doses were missed and will not be made up.",
        action="See `slackwater why` for what keeps them from running.",
        least="soon",
    ),
    Cause.TASK_OVERDUE: Row(
        sentence="Something a person must do is overdue.",
        action="See `slackwater tasks`.",
    ),
}
