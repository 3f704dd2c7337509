"""Every verb of the program: where it lives, under which heading, what it is for.

Floor 8. One subject: the table of verbs. Laws here: help reads this table and loads no
verb; a verb is in one section.
"""

from dataclasses import dataclass
from typing import Literal

PROGRAM = "slackwater"
Section = Literal["First steps", "Every day", "More"]
SECTIONS: tuple[Section, ...] = ("First steps", "Every day", "More")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One verb; `module` below `slackwater.cli.commands`, `attribute` in it.

    `stays` says that its process is meant to live for months.
    """

    name: str
    module: str
    attribute: str
    section: Section
    purpose: str
    stays: bool = False


def _verb(name: str, place: str, section: Section, purpose: str) -> Verb:
    module, _, attribute = place.partition(":")
    return Verb(
        name=name,
        module=module,
        attribute=attribute,
        section=section,
        purpose=purpose,
        stays=name in _STAYING,
    )


_FIRST, _DAILY, _MORE = SECTIONS
_STAYING = frozenset({"run"})

VERBS: tuple[Verb, ...] = (
    _verb("setup", "setting_up:setup", _FIRST, "Answer questions, get files."),
    _verb("check", "checking:check", _FIRST, "Say all that is wrong with the files."),
    _verb(
        "calibrate",
        "calibrating:calibrate",
        _FIRST,
        "Measure what a pump really gives.",
    ),
    _verb("rehearse", "rehearsing:rehearse", _FIRST, "Run the plan ahead of time."),
    _verb("approve", "approving:approve", _FIRST, "Consent to exactly this plan."),
    _verb("run", "running:run", _FIRST, "Run the daemon, in shadow until enabled."),
    _verb("enable", "staging:enable", _FIRST, "Let the daemon command pumps."),
    _verb("status", "showing:status", _DAILY, "Say how things stand, on one screen."),
    _verb("since", "shifting:since", _DAILY, "Say what happened since the last shift."),
    _verb("overview", "surveying:overview", _DAILY, "Show many tanks on one page."),
    _verb("assess", "assessing:assess", _DAILY, "Say where the water stands."),
    _verb("record", "recording:record", _DAILY, "Write down what a test showed."),
    _verb(
        "confirm",
        "confirming:confirm",
        _DAILY,
        "Confirm or refuse tests entered from afar.",
    ),
    _verb("added", "pouring:added", _DAILY, "Tell what was poured in by hand."),
    _verb("dose", "dosing:dose", _DAILY, "Ask for one dose by hand."),
    _verb(
        "take-back",
        "taking_back:take_back",
        _DAILY,
        "Take back what was asked for by hand and still waits.",
    ),
    _verb("prime", "dosing:prime", _DAILY, "Fill the hose of a pump."),
    _verb("flush", "dosing:flush", _DAILY, "Rinse the hose of a pump."),
    _verb(
        "swap-tube",
        "upkeeping:swap_tube",
        _DAILY,
        "Let a pump stand still while its tube is swapped, then fill it.",
    ),
    _verb(
        "move-bottle",
        "upkeeping:move_bottle",
        _DAILY,
        "Let pumps stand still while their bottle is moved, then fill them.",
    ),
    _verb(
        "water-change",
        "watering:water_change",
        _DAILY,
        "Write down new water for old, or announce it.",
    ),
    _verb("sample", "noting:sample", _DAILY, "Give a bottle for a laboratory its id."),
    _verb("event", "noting:event", _DAILY, "Note what explains the water later on."),
    _verb(
        "history", "looking_back:history", _DAILY, "List the values of one parameter."
    ),
    _verb("visit", "visiting:visit", _DAILY, "Go through a visit, step by step."),
    _verb("report", "summing_up:report", _DAILY, "Print a month of each tank."),
    _verb("tasks", "minding:tasks", _DAILY, "List what a person has still to do."),
    _verb(
        "import",
        "importing:import_report",
        _DAILY,
        "Take in a laboratory's report, CSV or JSON.",
    ),
    _verb(
        "propose",
        "proposing:propose",
        _DAILY,
        "Propose a plan from what is known of the water.",
    ),
    _verb("alarms", "alarming:alarms", _DAILY, "List what is wrong, and what to do."),
    _verb("ack", "alarming:ack", _DAILY, "Say that you know of an alarm."),
    _verb(
        "why", "explaining:why", _DAILY, "Say why a pump or a dose runs, or does not."
    ),
    _verb("hold", "holding:hold", _DAILY, "Stop doses until a person releases them."),
    _verb("release", "releasing:release", _DAILY, "End holds, on the machine."),
    _verb(
        "bypass", "guarding:bypass", _DAILY, "Leave one interlock aside for a while."
    ),
    _verb(
        "out-of-service",
        "guarding:out_of_service",
        _DAILY,
        "Let hand tests stand in for a probe that cannot be used.",
    ),
    _verb("in-service", "guarding:in_service", _DAILY, "Let a probe count again."),
    _verb("refill", "filling:refill", _DAILY, "Tell what a reservoir holds now."),
    _verb(
        "level",
        "levelling:level",
        _DAILY,
        "Tell how much a reservoir holds, as you read it.",
    ),
    _verb(
        "lots",
        "tracing:lots",
        _DAILY,
        "List which bottles and tanks had which batch.",
    ),
    _verb(
        "away",
        "leaving:away",
        _DAILY,
        "Say that nobody will be there, and whether that is wise.",
    ),
    _verb(
        "back",
        "leaving:back",
        _DAILY,
        "Say that somebody is there again, and hear what happened.",
    ),
    _verb(
        "approvals",
        "consenting:approvals",
        _DAILY,
        "List what was approved, and until when it lasts.",
    ),
    _verb(
        "take-over",
        "handing:take_over",
        _DAILY,
        "Take lines over from an old doser, one by one.",
    ),
    _verb("disable", "staging:disable", _DAILY, "Go back to shadow: command no pump."),
    _verb("ledger", "telling:ledger", _DAILY, "List what happened; verify the record."),
    _verb(
        "audit",
        "auditing:audit",
        _DAILY,
        "Compare what was dosed with what was approved.",
    ),
    _verb("recipe", "mixing:recipe", _MORE, "Make a solution that a pump can dose."),
    _verb("volume", "gauging:volume", _MORE, "Find how much water there really is."),
    _verb(
        "first-aid",
        "aiding:first_aid",
        _MORE,
        "Say what to do first when something went wrong.",
    ),
    _verb(
        "access-list",
        "granting:show_rights",
        _MORE,
        "Print who may do what on the broker.",
    ),
    _verb("init", "beginning:init", _MORE, "Make the ledger alone."),
    _verb("withdraw", "staging:withdraw", _MORE, "End an approval for good."),
    _verb(
        "check-relay",
        "relaying:check_relay",
        _MORE,
        "Say that a timed relay was tried out.",
    ),
    _verb(
        "conform",
        "conforming:conform",
        _MORE,
        "Say whether a pump node keeps the rules.",
    ),
    _verb("clock", "clocking:clock", _MORE, "Vouch for the clock of this machine."),
    _verb("manual", "shelving:manual", _MORE, "Print the manual page of the program."),
    _verb(
        "completion",
        "shelving:completion",
        _MORE,
        "Print what makes a shell complete words.",
    ),
    _verb("backup", "keeping_safe:backup", _MORE, "Copy the ledger into one file."),
    _verb("restore", "keeping_safe:restore", _MORE, "Put a lost ledger back."),
)

BY_NAME = {verb.name: verb for verb in VERBS}
