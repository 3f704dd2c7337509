"""What switches, floats and buttons do to doses.

Floor 3. One subject: inputs that are on or off. Laws here: a wrong state stops at once
and ends only after it was well for a while; a leak and power at rest need a person;
silence counts as the last word for a grace, then doses are shortened, and where nobody
knows whether the water moves nothing is dosed into it.
Source: times are common practice, no source.
"""

from collections.abc import Callable, Iterator, Mapping

from slackwater.facts.events import HoldRaised
from slackwater.facts.limits import Role, Switch
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.sight import SwitchSight
from slackwater.gate.moment import LineRule, Moment, PumpRule
from slackwater.gate.watch import Doubt, Looks, Seen

# What a wrong state of each role reaches, and what is said of it.
ROLES: Mapping[Role, tuple[str, Code]] = {
    "return-pump": ("water", Code.RETURN_OFF),
    "level": ("water", Code.LEVEL_WRONG),
    "leak": ("water", Code.LEAK),
    "feeding": ("water", Code.FEEDING),
    "hands": ("water", Code.HANDS_IN),
    "skimmer": ("carbon", Code.SKIMMER_OFF),
    "air": ("carbon", Code.AIR_OFF),
    "power": ("pump", Code.POWER_AT_REST),
}
# After the last possible drop a motor runs down and its sensor speaks late.
SETTLES_S = 10.0


def looks_at(role: Role) -> Looks:
    """What raises a hold for the switches of one role."""

    def looks(moment: Moment, tank: str) -> Iterator[Seen]:
        for switch in switches_of(moment, tank, role):
            seen = moment.sight.switches.get(switch.id)
            if seen is not None and is_wrong(moment, switch, seen):
                yield _seen(switch)

    return looks


def clears_at(role: Role) -> Callable[[Moment, str, HoldRaised], bool]:
    """What ends a hold of the switches of one role."""

    def clears(moment: Moment, _tank: str, hold: HoldRaised) -> bool:
        _, _, name = hold.hold_id.partition("/")
        switch = moment.machine.switches.get(name)
        if switch is None or switch.role != role:
            return True
        seen = moment.sight.switches.get(name)
        if seen is None or not is_heard(moment, switch, seen):
            return False
        well_s = moment.now.boot_s - seen.since_boot_s
        return seen.is_on == switch.normal_on and well_s >= switch.hold_at_least_s

    return clears


def doubts_at(role: Role) -> Callable[[Moment, str], Iterator[Doubt]]:
    """What shortens doses when the switches of one role fall silent."""

    def doubts(moment: Moment, tank: str) -> Iterator[Doubt]:
        for switch in switches_of(moment, tank, role):
            silent_s = silence_s(moment, switch)
            if silent_s > switch.silent_s:
                reason = because(
                    Code.SWITCH_UNKNOWN, switch=switch.id, silent_s=int(silent_s)
                )
                yield Doubt(scope=scope_of(switch), reason=reason, for_s=silent_s)

    return doubts


def return_refuses(moment: Moment, pump: PumpRule, _line: LineRule) -> Iterator[Reason]:
    """Circulation that is watched must be proven: a dose into still water stays there.

    It ends with the first good word, and latches nothing.
    """
    for switch in switches_of(moment, pump.pump.tank, "return-pump"):
        silent_s = silence_s(moment, switch)
        if silent_s > switch.silent_s:
            yield because(Code.RETURN_UNKNOWN, switch=switch.id, silent_s=int(silent_s))


def switches_of(moment: Moment, tank: str, role: Role) -> list[Switch]:
    """The switches of one role in order of name."""
    return [
        switch
        for _, switch in sorted(moment.machine.switches.items())
        if switch.tank == tank and switch.role == role
    ]


def is_heard(moment: Moment, switch: Switch, seen: SwitchSight) -> bool:
    """Whether its last word is young enough to count."""
    return moment.now.boot_s - seen.heard_boot_s <= switch.silent_s


def silence_s(moment: Moment, switch: Switch) -> float:
    """Seconds since it was heard; since the daemon took charge if it never was."""
    seen = moment.sight.switches.get(switch.id)
    since_s = moment.sight.started_boot_s if seen is None else seen.heard_boot_s
    return moment.now.boot_s - since_s


def is_wrong(moment: Moment, switch: Switch, seen: SwitchSight) -> bool:
    """Whether its last word counts and says that something is wrong."""
    if seen.is_on == switch.normal_on or not is_heard(moment, switch, seen):
        return False
    return switch.role != "power" or _at_rest(moment, switch, seen)


def scope_of(switch: Switch) -> str:
    """What a wrong or unknown state of it reaches."""
    word, _ = ROLES[switch.role]
    return f"pump/{switch.pump}" if word == "pump" else f"{word}/{switch.tank}"


def _at_rest(moment: Moment, switch: Switch, seen: SwitchSight) -> bool:
    """Whether its pump had nothing to do when it was heard."""
    for known in moment.state.open.values():
        if known.intent.dose.pump == switch.pump:
            return False
    flow = moment.state.flows.get(switch.pump)
    if flow is None:
        return True
    rest_s = (moment.proven_ms - flow.end_ms) / 1000 - SETTLES_S
    return moment.now.boot_s - seen.heard_boot_s < rest_s


def _seen(switch: Switch) -> Seen:
    _, code = ROLES[switch.role]
    # Since when is the age of the hold; a figure of here would stand still.
    return Seen(
        hold_id=f"{switch.role}/{switch.id}",
        scope=scope_of(switch),
        reason=because(code, switch=switch.id),
    )
