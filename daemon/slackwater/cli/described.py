"""What describes the tanks of a ledger: the newest approval, else the files.

Floor 8. One subject: tanks to look back at. Laws here: a tank is named or all are
meant; where nothing describes them, those that were tested are there.
"""

from collections.abc import Sequence

from slackwater.cli.opening import newest_approval
from slackwater.cli.reading import read_files
from slackwater.cli.shell import Shell
from slackwater.cli.subject import UTC_ZONE
from slackwater.errors import Finding, InputError
from slackwater.facts.plan import Plan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.outside.settings import read_machine


def described(shell: Shell, state: State) -> Machine | None:
    """The machine; None where neither an approval nor the files say one."""
    approved = newest_approval(state)
    if approved is not None:
        return approved.machine
    try:
        return read_machine(shell.config)
    except InputError:
        return None


def planned_by_files(shell: Shell) -> tuple[Plan, Machine] | None:
    """What the files plan, within the caps or not; None where they cannot be read.

    What is wrong in them is told by who checks them.
    """
    try:
        files = read_files(shell.config, is_held=False)
    except InputError:
        return None
    return files.plan, files.machine


def tanks_of(
    state: State, machine: Machine | None, named: str | None
) -> tuple[str, ...]:
    """The tank that was named, or all there are, in order.

    Raises: InputError for one there is not.
    """
    tested = {key.partition("/")[0] for key in state.levels}
    known = tested if machine is None else {*machine.tanks, *tested}
    if named is None:
        return tuple(sorted(known))
    if named in known or not known:
        return (named,)
    raise InputError(
        Finding(
            what=f'no tank is "{named}"',
            where="--tank",
            expected=f"one of {', '.join(sorted(known))}",
            do="Name one of them.",
        )
    )


def zone_of(machine: Machine | None, tanks: Sequence[str]) -> str:
    """The wall clock of these tanks; UTC for several zones or none."""
    if machine is None:
        return UTC_ZONE
    zones = {machine.tanks[name].zone for name in tanks if name in machine.tanks}
    return zones.pop() if len(zones) == 1 else UTC_ZONE
