"""Switches of a rehearsal: all is well, all the time.

Floor 6. One subject: words nobody spoke. Laws here: no switch holds or shortens
anything, so a rehearsal tells what the plan would do while all is well.
"""

from slackwater.facts.sight import Sight, SwitchSight
from slackwater.facts.tank import Machine


def show_switches(machine: Machine, sight: Sight, boot_s: float) -> None:
    """Let every switch say at this moment what it says when all is well."""
    for switch in machine.switches.values():
        sight.switches[switch.id] = SwitchSight(
            is_on=switch.normal_on, since_boot_s=0.0, heard_boot_s=boot_s
        )
