"""What a plan pours in on a day.

Floor 3. One subject: totals of a local day. Laws here: whole numbers; a day's total is
what is due on it, whatever happens later.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from slackwater.facts.plan import DueDose, Plan
from slackwater.facts.tank import Machine
from slackwater.planning.timetable import Timetable, timetable_of

ALKALINITY = "alkalinity"
# One milliequivalent per litre is this much alkalinity in a microlitre.
PEQ_PER_UL_PER_MEQ_PER_L = 1000
HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTotals:
    """What is due on one local day of one tank.

    Units: `volumes_ul` microlitres by pump; `effects` pico-units for the whole tank
    by parameter, sources outside the daemon included.
    """

    tank: str
    local_day: date
    volumes_ul: Mapping[str, int] = field(default_factory=dict)
    effects: Mapping[str, int] = field(default_factory=dict)

    @property
    def volume_ul(self) -> int:
        """The sum over all pumps."""
        return sum(self.volumes_ul.values())


def per_day(plan: Plan, machine: Machine, tank: str, local_day: date) -> DayTotals:
    """The totals of one local day of a tank.

    Raises: InputError when a line is at fault in itself.
    """
    return day_totals(timetable_of(plan, machine), tank, local_day)


def day_totals(timetable: Timetable, tank: str, local_day: date) -> DayTotals:
    """The totals of one local day of a tank that a timetable has."""
    machine = timetable.machine
    doses = timetable.day(tank, local_day).doses
    volumes_ul = _volumes_ul(doses)
    effects = Counter[str]()
    for source in machine.outside:
        if source.tank == tank and source.replaced_by not in timetable.plan.names:
            effects[source.parameter] += source.per_day
    for pump, volume_ul in volumes_ul.items():
        solution = machine.solutions[machine.pumps[pump].solution]
        for parameter, per_ul in solution.effects.items():
            effects[parameter] += volume_ul * per_ul
    return DayTotals(
        tank=tank,
        local_day=local_day,
        volumes_ul=volumes_ul,
        effects=dict(sorted(effects.items())),
    )


def most_added(timetable: Timetable) -> dict[tuple[str, str], int]:
    """The most that comes in of each parameter on any day, outside sources included.

    Shape: by tank and parameter, over the days that stand for all days of the plan.
    Units: pico-units for the whole tank.
    """
    found = Counter[tuple[str, str]]()
    for tank in timetable.tanks:
        for totals in _checked_totals(timetable, tank):
            for name, amount in totals.effects.items():
                found[tank, name] = max(found[tank, name], amount)
    return dict(found)


def added_by_pumps(timetable: Timetable) -> dict[tuple[str, str], int]:
    """The largest day of each parameter, without outside sources.

    Shape: by tank and parameter; days as in `most_added`. Units: pico-units.
    """
    machine = timetable.machine
    found: dict[tuple[str, str], int] = {}
    for tank in timetable.tanks:
        for day in timetable.checked_days(tank):
            added = Counter[str]()
            for pump, ul in day_totals(timetable, tank, day).volumes_ul.items():
                solution = machine.solutions[machine.pumps[pump].solution]
                for name, per_ul in solution.effects.items():
                    added[name] += ul * per_ul
            for name, amount in added.items():
                found[tank, name] = max(found.get((tank, name), 0), amount)
    return found


def highest_daily_ul(plan: Plan, machine: Machine) -> int:
    """The largest sum over all pumps of one tank in one local day.

    Shape: over the days that stand for all days of the plan, 0 for a plan without
    doses.
    """
    timetable = timetable_of(plan, machine)
    return max(
        (
            totals.volume_ul
            for tank in timetable.tanks
            for totals in _checked_totals(timetable, tank)
        ),
        default=0,
    )


def fullest_day_ul(plan: Plan, machine: Machine) -> dict[str, int]:
    """What each pump gives on the day that gives most by it.

    Shape: over the days that stand for all days of the plan; every pump of the machine,
    0 where the plan has no line for it.
    Raises: InputError when a line is at fault in itself.
    """
    timetable = timetable_of(plan, machine)
    fullest = dict.fromkeys(sorted(machine.pumps), 0)
    for tank in timetable.tanks:
        for totals in _checked_totals(timetable, tank):
            for pump, volume_ul in totals.volumes_ul.items():
                fullest[pump] = max(fullest[pump], volume_ul)
    return fullest


def hours_to_ceiling(plan: Plan, machine: Machine, tank: str) -> float | None:
    """Hours from target to alkalinity ceiling if the tank stopped using any.

    Shape: at the pace of the day that adds most; None where target, ceiling or any
    addition is missing; 0 for a target above its ceiling.
    """
    guard = machine.guards.get(tank)
    target = machine.tanks[tank].targets.get(ALKALINITY)
    timetable = timetable_of(plan, machine)
    added_peq = max(
        (
            totals.effects.get(ALKALINITY, 0)
            for totals in _checked_totals(timetable, tank)
        ),
        default=0,
    )
    if guard is None or target is None or added_peq == 0:
        return None
    room_peq = (guard.ceiling - target) * PEQ_PER_UL_PER_MEQ_PER_L
    room_peq *= machine.tanks[tank].net_ul
    return max(0.0, room_peq / added_peq * HOURS_A_DAY)


def _volumes_ul(doses: tuple[DueDose, ...]) -> dict[str, int]:
    volumes_ul = Counter[str]()
    for dose in doses:
        volumes_ul[dose.pump] += dose.volume_ul
    return dict(sorted(volumes_ul.items()))


def _checked_totals(timetable: Timetable, tank: str) -> list[DayTotals]:
    if tank not in timetable.tanks:
        return []
    return [
        day_totals(timetable, tank, local_day)
        for local_day in timetable.checked_days(tank)
    ]
