"""What a probe may show instead of the water: silence, one value, a step, a course.

Floor 6. One subject: strikes on the probes of one parameter. Laws here: the water
stays as it is and only what is told of it changes; every probe of the tank is struck,
so that no other one gives the fault away.
Units: levels canonical, changes of them per hour.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from slackwater.facts.messages import Reading
from slackwater.facts.tank import Machine, Probe
from slackwater.rehearsal.faults.case import Strike, Target
from slackwater.rehearsal.faults.house import Distort, House
from slackwater.rehearsal.virtual_probe import quiet_level

HOUR_S, DAY_S = 3600.0, 86_400.0
# What a distortion is made from when the fault strikes.
Make = Callable[[House, Target, Probe], Distort]
# A level that is to be shown, from the thresholds of the tank.
Level = Callable[[Machine, str], float]


def probes_of(machine: Machine, tank: str, parameter: str) -> list[Probe]:
    """The probes of a tank for one parameter, by name."""
    return [
        probe
        for _, probe in sorted(machine.probes.items())
        if (probe.tank, probe.parameter) == (tank, parameter)
    ]


def too_slow(machine: Machine, tank: str, parameter: str, periods: float = 1.0) -> str:
    """Why a day is not enough for a parameter: its probe speaks too seldom.

    `periods` is how many of the slowest probe's must go by before anything is noticed.
    """
    probes = probes_of(machine, tank, parameter)
    slowest = max(probes, key=lambda probe: probe.period_s, default=None)
    if slowest is None or periods * slowest.period_s <= DAY_S:
        return ""
    hours = slowest.period_s / HOUR_S
    return f"probe {slowest.id} speaks every {hours:g} h: a day is not enough to notice"


def distorted(parameter: str, make: Make) -> Strike:
    """A strike that lets every probe of a parameter show something else."""
    return partial(_at_due, parameter, make)


def _at_due(parameter: str, make: Make, house: House, target: Target) -> None:
    at_ms = target.before_ms
    house.at(at_ms, lambda: distort(house, target, parameter, make))


def distort(house: House, target: Target, parameter: str, make: Make) -> None:
    """Let every probe of a parameter show something else from now on."""
    for probe in probes_of(house.machine, target.tank, parameter):
        house.distort[probe.id] = make(house, target, probe)


def silent(_house: House, _target: Target, _probe: Probe) -> Distort:
    """Nothing at all."""
    return lambda _reading: None


def frozen(house: House, _target: Target, probe: Probe) -> Distort:
    """The value it showed last, again and again."""
    kept = house.sight.readings.get(probe.id)
    stands = kept[-1].value if kept else None
    return lambda reading: replace(
        reading, value=reading.value if stands is None else stands
    )


def stands_at(level: Level) -> Make:
    """About one level from now on, with the small steps of the truth on it."""
    return partial(_stands_at, level)


def _stands_at(level: Level, house: House, target: Target, probe: Probe) -> Distort:
    away = level(house.machine, target.tank) - quiet_level(house.machine, probe)
    return lambda reading: replace(reading, value=reading.value + away)


def moves(per_hour: float, most: float) -> Make:
    """The truth and a course on top of it, until it is so far away."""
    return partial(_moves, per_hour, most)


def _moves(
    per_hour: float, most: float, house: House, _target: Target, _probe: Probe
) -> Distort:
    began = house.times.true_utc()
    sign = 1.0 if per_hour > 0 else -1.0

    def show(reading: Reading) -> Reading:
        hours = max((reading.at - began).total_seconds() / 3600, 0.0)
        away = min(hours * abs(per_hour), most)
        return replace(reading, value=reading.value + sign * away)

    return show
