"""Switches of a rehearsal: all is well, but for those that a fault has tripped.

Floor 6. One subject: words nobody spoke. Laws here: a switch that nobody tripped holds
or shortens nothing, so a rehearsal tells what the plan would do while all is well.
"""

from collections.abc import Set as AbstractSet

from slackwater.facts.sight import Sight, SwitchSight
from slackwater.facts.tank import Machine

NONE: frozenset[str] = frozenset()


def show_switches(
    machine: Machine, sight: Sight, boot_s: float, tripped: AbstractSet[str] = NONE
) -> None:
    """Let every switch speak at this moment: that all is well, or that it is not."""
    for switch in machine.switches.values():
        is_wrong = switch.id in tripped
        before = sight.switches.get(switch.id)
        is_on = switch.normal_on is not is_wrong
        since_s = boot_s if is_wrong else 0.0
        if before is not None and before.is_on == is_on:
            since_s = before.since_boot_s
        sight.switches[switch.id] = SwitchSight(
            is_on=is_on, since_boot_s=since_s, heard_boot_s=boot_s
        )
