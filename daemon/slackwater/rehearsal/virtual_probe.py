"""Probes that show quiet water, for the rehearsal.

Floor 6. One subject: readings nobody took. Laws here: they show the target and never
an excess or a shortage, so a rehearsal tells what the plan would do while the water is
well; they differ by one step of the probe, so that none looks frozen.
"""

from datetime import datetime

from slackwater.facts.messages import Reading
from slackwater.facts.sight import Sight, see
from slackwater.facts.tank import Machine, Probe

# One step up, none, one down: three values in turn are no run of equal ones.
STEPS = (0, 1, -1)


def show_probes(machine: Machine, sight: Sight, utc: datetime) -> None:
    """Let every probe whose period has passed give one reading of this moment."""
    for probe in machine.probes.values():
        series = sight.readings.get(probe.id)
        if series and (utc - series[-1].at).total_seconds() < probe.period_s:
            continue
        step = STEPS[int(utc.timestamp() / probe.period_s) % len(STEPS)]
        see(
            sight,
            Reading(
                tank=probe.tank,
                probe=probe.id,
                parameter=probe.parameter,
                value=_quiet(machine, probe) + step * probe.resolution,
                at=utc,
            ),
        )


def _quiet(machine: Machine, probe: Probe) -> float:
    """The target of the tank, or the middle between floor and ceiling."""
    target = machine.tanks[probe.tank].targets.get(probe.parameter)
    if target is not None:
        return target
    guard = machine.guards.get(probe.tank)
    if guard is not None and probe.parameter == "alkalinity":
        return (guard.floor + guard.ceiling) / 2
    return (probe.low + probe.high) / 2
