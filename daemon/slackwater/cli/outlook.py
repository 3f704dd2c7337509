"""How a tank stands: alkalinity, how long it has, what was given, what comes.

Floor 8. One subject: the figures of a status. Laws here: a level nobody measured is
the target and is called so; where no uptake is stated the plan stands for it; what
cannot be said is None, never a guess.
Units: levels meq/L, amounts pico-equivalents of the whole tank.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.alarms.pace import Pace
from slackwater.cli.lasting import Bottle, held, lasting
from slackwater.facts.charging import hour_of
from slackwater.facts.dues import planned_since
from slackwater.facts.lives import as_named, will_be_left_out
from slackwater.facts.plan import DueDose
from slackwater.facts.rolling import DAY_MS, Rolling
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import ONE_WATER, AddedByHand
from slackwater.gate.handover import is_old_dosers
from slackwater.gate.moment import rules_for
from slackwater.planning.daily import ALKALINITY
from slackwater.planning.timetable import Timetable
from slackwater.planning.wall import zone_named


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A level that was measured; `probe` None for a test by hand."""

    value: float
    taken_at: datetime
    probe: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One tank at one moment; `reading` None when nobody measured.

    `level` is as it was read, or the target; `level_now` is carried from there to now,
    None where that is too long ago. `higher` is a test of the same half hour that found
    more: a stop and the way to the ceiling go by it.
    `used` says what stands for the uptake: "stated", or "plan" for as much as it gives.
    """

    tank: Tank
    reading: Measured | None
    higher: Measured | None
    level: float | None
    level_now: float | None
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

    `utc` is when the plan is in force, now or later; the next dose is looked for among
    those due after `due_after`. `struck` was told of a hand and never happened.
    """

    state: State
    lived: State
    timetable: Timetable
    now: datetime
    utc: datetime
    due_after: datetime
    proven_ms: int
    struck: tuple[AddedByHand, ...] = ()

    @property
    def machine(self) -> Machine:
        """The approved machine."""
        return self.timetable.machine


def outlook(present: Present, tank_id: str) -> Outlook:
    """The outlook of one tank."""
    tank = present.machine.tanks[tank_id]
    reading = _newest_reading(present, tank_id)
    level = reading.value if reading else tank.targets.get(ALKALINITY)
    pace = _pace(present, tank)
    level_now = level
    if reading is not None:
        level_now = pace.level_at(reading.value, reading.taken_at, present.now)
    higher = _higher(present, tank_id, reading)
    key = f"{tank_id}/{ALKALINITY}"
    return Outlook(
        tank=tank,
        reading=reading,
        higher=higher,
        level=level,
        level_now=level_now,
        hours_to_floor=pace.to_floor(level_now),
        used="stated" if ALKALINITY in tank.uptake else "plan",
        hours_to_ceiling=pace.to_ceiling(_top(pace, level_now, higher, present.now)),
        given=_given(present, tank_id),
        planned=planned_since(present.lived, key, present.proven_ms - DAY_MS),
        smallest=_smallest(present, tank_id),
        following=_following(present, tank_id),
    )


def _top(
    pace: Pace, level_now: float | None, higher: Measured | None, now: datetime
) -> float | None:
    """From where the way up is reckoned: of two tests of one water, the higher."""
    if level_now is None or higher is None:
        return level_now
    return pace.level_at(higher.value, higher.taken_at, now) or level_now


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


def _higher(present: Present, tank: str, newest: Measured | None) -> Measured | None:
    """The highest test of the newest visit, where it is not the newest itself."""
    if newest is None or newest.probe is not None:
        return None
    highest = max(
        (
            one
            for one in present.state.tests.get(tank, ())
            if timedelta() <= newest.taken_at - one.taken_at <= ONE_WATER
        ),
        key=lambda one: one.value,
        default=None,
    )
    if highest is None or highest.value <= newest.value:
        return None
    return Measured(value=highest.value, taken_at=highest.taken_at, probe=None)


def _pace(present: Present, tank: Tank) -> Pace:
    """What a tank takes up and gets; those of a shadow run stand for real doses."""
    hours: list[Mapping[int, int]] = [present.state.hours.get(tank.id, {})]
    if present.lived is not present.state:
        hours.append(present.lived.hours.get(tank.id, {}))
    hours += (
        {hour_of(one.given_at): -one.effects.get(ALKALINITY, 0)}
        for one in present.struck
        if one.tank == tank.id
    )
    return Pace(
        tank=tank,
        guard=present.machine.guards.get(tank.id),
        rules=rules_for(present.machine, present.timetable.plan),
        begins=present.utc,
        hours=tuple(hours),
    )


def _given(present: Present, tank: str) -> int:
    """What pumps and hands gave in 24 hours; what was struck is no part of it."""
    given = _in_a_day(present, present.lived.believed.get(f"{tank}/{ALKALINITY}"))
    if present.lived is not present.state:
        return given
    return given - sum(
        one.effects.get(ALKALINITY, 0)
        for one in present.struck
        if one.tank == tank and _given_ms(one) > present.proven_ms - DAY_MS
    )


def _given_ms(added: AddedByHand) -> int:
    """When it was given, by the proven time in which it counts."""
    age_s = max((added.at - added.given_at).total_seconds(), 0.0)
    return added.proven_ms - int(age_s * 1000)


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
        for planned in present.timetable.between(after, due_at):
            dose = as_named(present.state, planned)
            name = f"{dose.tank}/{dose.line}"
            if dose.id in present.state.skipped or name not in ours:
                continue
            now = present.now, present.proven_ms
            if will_be_left_out(present.state, dose, now):
                continue
            if not is_old_dosers(present.state, name, due_at):
                return dose
        after = due_at
        if (after - present.due_after).days > DAYS_SEARCHED:
            return None
    return None


# Two months: every line doses at least once in sixty days.
DAYS_SEARCHED = 62
