"""How a tank stands: alkalinity, how long it has, what was given, what comes.

Floor 8. One subject: the figures of a status. Laws here: a level nobody measured is
the target and is called so; where no uptake is stated the plan stands for it; what
cannot be said is None, never a guess.
Units: levels meq/L, amounts pico-equivalents of the whole tank.
"""

from dataclasses import dataclass
from datetime import datetime

from slackwater.cli.lasting import Bottle, held, lasting
from slackwater.facts.plan import DueDose
from slackwater.facts.rolling import DAY_MS, Rolling
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Tank
from slackwater.gate.handover import is_old_dosers
from slackwater.gate.moment import rules_for
from slackwater.planning.daily import ALKALINITY, PEQ_PER_UL_PER_MEQ_PER_L
from slackwater.planning.timetable import Timetable
from slackwater.planning.wall import zone_named

HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A level that was measured; `probe` None for a test by hand."""

    value: float
    taken_at: datetime
    probe: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One tank at one moment; `reading` None when nobody measured.

    `used` says what stands for the uptake: "stated", or "plan" for as much as it gives.
    """

    tank: Tank
    reading: Measured | None
    level: float | None
    hours_to_floor: float | None
    used: str
    hours_to_ceiling: float | None
    given: int
    planned: int
    smallest: Bottle | None
    following: DueDose | None

    @property
    def short(self) -> int:
        """What was planned and not given in 24 hours, never below 0."""
        return max(self.planned - self.given, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Present:
    """What an outlook is made from; `lived` holds the doses, real or imagined.

    The next dose is looked for among those due after `due_after`.
    """

    state: State
    lived: State
    timetable: Timetable
    utc: datetime
    due_after: datetime
    proven_ms: int

    @property
    def machine(self) -> Machine:
        """The approved machine."""
        return self.timetable.machine


def outlook(present: Present, tank_id: str) -> Outlook:
    """The outlook of one tank."""
    tank = present.machine.tanks[tank_id]
    reading = _newest_reading(present, tank_id)
    target = tank.targets.get(ALKALINITY)
    level = reading.value if reading else target
    key = f"{tank_id}/{ALKALINITY}"
    return Outlook(
        tank=tank,
        reading=reading,
        level=level,
        hours_to_floor=_hours_to_floor(present, tank, level),
        used="stated" if ALKALINITY in tank.uptake else "plan",
        hours_to_ceiling=_hours_to_ceiling(present, tank, level),
        given=_in_a_day(present, present.lived.believed.get(key)),
        planned=_in_a_day(present, present.lived.planned.get(key)),
        smallest=_smallest(present, tank_id),
        following=_following(present, tank_id),
    )


def _newest_reading(present: Present, tank: str) -> Measured | None:
    """By a probe or by hand, whichever is newer; a posted sample decides nothing."""
    series = [kept[-1] for kept in present.state.readings.values() if kept]
    found = [
        Measured(value=one.value, taken_at=one.taken_at, probe=one.probe)
        for one in series
        if (one.tank, one.parameter) == (tank, ALKALINITY)
    ]
    test = present.state.levels.get(f"{tank}/{ALKALINITY}")
    if test is not None and test.provenance == "hand" and not test.censored:
        found.append(Measured(value=test.value, taken_at=test.taken_at, probe=None))
    return max(found, key=lambda one: one.taken_at, default=None)


def _hours_to_floor(present: Present, tank: Tank, level: float | None) -> float | None:
    guard = present.machine.guards.get(tank.id)
    uptake = tank.uptake.get(ALKALINITY)
    used = uptake.estimate if uptake else _added(present, tank.id)
    if guard is None or level is None or used <= 0:
        return None
    return _hours(level - guard.floor, tank, used)


def _hours_to_ceiling(
    present: Present, tank: Tank, level: float | None
) -> float | None:
    guard = present.machine.guards.get(tank.id)
    added = _added(present, tank.id)
    if guard is None or level is None or added <= 0:
        return None
    return _hours(guard.ceiling - level, tank, added)


def _hours(room: float, tank: Tank, per_day: int) -> float:
    peq = room * PEQ_PER_UL_PER_MEQ_PER_L * tank.net_ul
    return max(peq / per_day * HOURS_A_DAY, 0.0)


def _added(present: Present, tank: str) -> int:
    """Alkalinity a day by plan and outside sources, the mean of its days."""
    rules = rules_for(present.machine, present.timetable.plan)
    return rules.alkalinity[tank][1] + rules.outside[tank]


def _in_a_day(present: Present, sums: Rolling | None) -> int:
    return 0 if sums is None else sums.since(present.proven_ms - DAY_MS)


def _smallest(present: Present, tank: str) -> Bottle | None:
    """The reservoir of this tank's pumps that runs out first."""
    machine = present.machine
    names = {pump.reservoir for pump in machine.pumps.values() if pump.tank == tank}
    known, plan = held(machine, present.state), present.timetable.plan
    today = present.utc.astimezone(zone_named(machine.tanks[tank].zone)).date()
    bottles = [
        lasting(machine, plan, name, known[name], today) for name in sorted(names)
    ]
    return min(
        (one for one in bottles if one.days is not None),
        key=lambda one: one.days or 0.0,
        default=None,
    )


def _following(present: Present, tank: str) -> DueDose | None:
    """The next dose of the tank by us, looked for over the days of its lines."""
    lines = {f"{line.tank}/{line.id}" for line in present.timetable.plan.lines}
    ours = {name for name in lines if name.startswith(f"{tank}/")}
    if ours <= set(present.state.left_to_old):
        return None
    after = present.due_after
    while (due_at := present.timetable.next_after(after)) is not None:
        for dose in present.timetable.between(after, due_at):
            name = f"{dose.tank}/{dose.line}"
            if dose.id in present.state.skipped or name not in ours:
                continue
            if not is_old_dosers(present.state, name, due_at):
                return dose
        after = due_at
        if (after - present.due_after).days > DAYS_SEARCHED:
            return None
    return None


# Two months: every line doses at least once in sixty days.
DAYS_SEARCHED = 62
