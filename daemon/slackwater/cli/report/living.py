"""The tank that a forecast looks at: it takes up what the report says it does.

Floor 8. One subject: uptakes of a report. Laws here: what tests show well enough goes
before what is stated, in the words and in the forecast alike; nothing that decides
about a dose reads this.
Units: intervals canonical per day.
"""

from collections.abc import Mapping
from dataclasses import replace

from slackwater.cli.report.past import Interval, Past
from slackwater.facts.tank import Machine, Tank, Uptake
from slackwater.rehearsal.virtual_tank import ALKALINITY, canonical


def uptakes_of(machine: Machine, past: Past) -> dict[str, dict[str, Interval]]:
    """By tests where they show it well enough, else as the operator stated it."""
    found: dict[str, dict[str, Interval]] = {}
    for name, tank in sorted(machine.tanks.items()):
        stated = {
            parameter: Interval(
                low=canonical(tank, parameter, uptake.low),
                estimate=canonical(tank, parameter, uptake.estimate),
                high=None,
                source="stated",
            )
            for parameter, uptake in tank.uptake.items()
        }
        found[name] = {**stated, **past.uptakes.get(name, {})}
    return found


def as_lived(machine: Machine, past: Past) -> Machine:
    """The machine whose tanks take up what tests show, where they show it.

    An uptake of alkalinity by tests is that at the level of now, so that this stands
    where the level of a stated one, the target, stood.
    """
    tanks = {
        name: _lived(tank, past.uptakes.get(name, {}), past.levels.get(name, {}))
        for name, tank in machine.tanks.items()
    }
    return replace(machine, tanks=tanks)


def _lived(
    tank: Tank, shown: Mapping[str, Interval], levels: Mapping[str, float]
) -> Tank:
    uptake = {name: _uptake(tank, name, one) for name, one in shown.items()}
    targets = dict(tank.targets)
    if ALKALINITY in shown and ALKALINITY in levels:
        targets[ALKALINITY] = levels[ALKALINITY]
    return replace(tank, uptake={**tank.uptake, **uptake}, targets=targets)


def _uptake(tank: Tank, parameter: str, one: Interval) -> Uptake:
    one_pico = canonical(tank, parameter, 1)
    return Uptake(
        estimate=max(round(one.estimate / one_pico), 0),
        low=max(round(one.low / one_pico), 0),
    )
