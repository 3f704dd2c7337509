"""Probes of a rehearsal: readings nobody took, of the virtual water.

Floor 6. One subject: what probes would show. Laws here: where an uptake is stated a
probe shows the virtual tank, fed by the doses so far; else it shows the target, so that
what nobody knows neither stops nor shortens anything; neighbours differ by one step of
the probe, so that none looks frozen.
Units: levels canonical.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta

from slackwater.facts.messages import Reading
from slackwater.facts.tank import Machine, Probe
from slackwater.rehearsal.virtual_tank import ALKALINITY, Pace, VirtualTank, starts_of

# None, one step up, and so on: neighbours are never equal.
STEPS = (0, 1)
# What well-kept water shows where the tank has no target (common practice, no source).
QUIET = {"ph": 8.2, "temperature": 25.5, "salinity": 35.0}
# While nothing is due a quicker probe is read this seldom: the ledger keeps no more.
SELDOM = timedelta(minutes=30)


def watched(machine: Machine, begin: datetime) -> dict[str, VirtualTank]:
    """The water of every tank whose alkalinity is probed and whose uptake is stated.

    The cycle of the lights is left out: how large it is nobody stated, and a cycle that
    is too large would stop a plan that the true one never does.
    """
    probed = {
        probe.tank for probe in machine.probes.values() if probe.parameter == ALKALINITY
    }
    return {
        name: VirtualTank(machine, name, starts_of(tank, {}), begin, STEADY)
        for name, tank in sorted(machine.tanks.items())
        if name in probed and ALKALINITY in tank.uptake
    }


STEADY = Pace(lights=False)


class VirtualProbes:
    """All probes of a machine from a moment on."""

    def __init__(
        self, machine: Machine, waters: Mapping[str, VirtualTank], begin: datetime
    ) -> None:
        """Keep what they hang in; the first readings are those of the beginning."""
        self._machine = machine
        self._waters = waters
        self._next = dict.fromkeys(sorted(machine.probes), begin)
        self._count = dict.fromkeys(machine.probes, 0)

    def until(self, utc: datetime) -> list[Reading]:
        """All readings up to a moment that were not given yet, in order of time.

        The newest of each probe is never older than its period.
        """
        due = sorted(
            (at, name)
            for name in self._next
            for at in self._moments(self._machine.probes[name], utc)
        )
        return [self._reading(self._machine.probes[name], at) for at, name in due]

    def _moments(self, probe: Probe, utc: datetime) -> Iterator[datetime]:
        period = timedelta(seconds=probe.period_s)
        at = self._next[probe.id]
        while at <= utc:
            yield at
            newest = at + (utc - at) // period * period
            at = min(at + max(period, SELDOM), max(newest, at + period))
        self._next[probe.id] = at

    def _reading(self, probe: Probe, at: datetime) -> Reading:
        self._count[probe.id] += 1
        step = STEPS[self._count[probe.id] % len(STEPS)]
        return Reading(
            tank=probe.tank,
            probe=probe.id,
            parameter=probe.parameter,
            value=self._level(probe, at) + step * probe.resolution,
            at=at,
        )

    def _level(self, probe: Probe, at: datetime) -> float:
        water = self._waters.get(probe.tank)
        if water is not None and probe.parameter in water.levels:
            water.advance(at)
            return water.levels[probe.parameter]
        return quiet_level(self._machine, probe)


def quiet_level(machine: Machine, probe: Probe) -> float:
    """The target of the tank, or the middle between floor and ceiling."""
    target = machine.tanks[probe.tank].targets.get(probe.parameter)
    if target is not None:
        return target
    guard = machine.guards.get(probe.tank)
    if guard is not None and probe.parameter == ALKALINITY:
        return (guard.floor + guard.ceiling) / 2
    return QUIET.get(probe.parameter, (probe.low + probe.high) / 2)
