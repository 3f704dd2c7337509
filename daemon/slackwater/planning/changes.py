"""What a new plan and machine change against those approved before.

Floor 3. One subject: the comparison a person reads before approving. Laws here: what
counts is what may be poured and what that adds, however lines are named; the largest
change stands first; what nobody approved before has no ratio and is called new; growth
is measured from what was really in force, not from what was approved a moment ago.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from math import inf
from typing import TypeAlias

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine, Pump, Solution
from slackwater.planning.daily import day_totals
from slackwater.planning.timetable import timetable_of

# Beyond this a solution counts as another one (dry-run rules, what repeats a stage).
STRENGTH_PERCENT = 5

# Tank, `pump` or `parameter`, and its name.
Key: TypeAlias = tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The most of one pump or parameter on any day, before and after.

    Units: microlitres for a pump, pico-units of the whole tank for a parameter; one
    of the two names is empty.
    """

    tank: str
    pump: str = ""
    parameter: str = ""
    before: int
    after: int

    @property
    def ratio(self) -> Fraction | None:
        """After over before; None for what was not there before."""
        return Fraction(self.after, self.before) if self.before else None

    @property
    def size(self) -> Fraction | float:
        """How far apart the two are, whichever is larger; new and gone come first."""
        low, high = sorted((self.before, self.after))
        return Fraction(high, low) if low else inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A plan with its machine as they were approved; `until` when it last counted."""

    plan: Plan
    machine: Machine
    until: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Growth:
    """A pump or parameter that grows, and the plan it is compared with."""

    change: Change
    since: Laid


def changes(
    before: tuple[Plan, Machine], after: tuple[Plan, Machine]
) -> tuple[Change, ...]:
    """Every pump and parameter whose largest day differs, largest change first.

    Raises: InputError when a line is at fault in itself.
    """
    old, new = _largest(*before), _largest(*after)
    found = [
        Change(
            tank=tank,
            pump=name if kind == "pump" else "",
            parameter=name if kind == "parameter" else "",
            before=old[tank, kind, name],
            after=new[tank, kind, name],
        )
        for tank, kind, name in sorted({*old, *new})
        if old[tank, kind, name] != new[tank, kind, name]
    ]
    return tuple(sorted(found, key=lambda change: -change.size))


def growths(
    tiers: Sequence[Sequence[Laid]], after: tuple[Plan, Machine]
) -> tuple[Growth, ...]:
    """Every pump and parameter that grows, largest growth first.

    Each is compared with the smallest of the first tier that gives any of it: so that
    steps approved one after the other count as the one step they are together. What
    no tier gives is new and left out.
    Shape: `tiers` the plans that count most first; each may be empty.
    Raises: InputError when a line is at fault in itself.
    """
    days = [[(one, _largest(one.plan, one.machine)) for one in tier] for tier in tiers]
    found = [
        Growth(
            since=base,
            change=Change(
                tank=tank,
                pump=name if kind == "pump" else "",
                parameter=name if kind == "parameter" else "",
                before=before,
                after=amount,
            ),
        )
        for (tank, kind, name), amount in sorted(_largest(*after).items())
        for base, before in _base(days, (tank, kind, name))
        if amount > before
    ]
    return tuple(sorted(found, key=lambda growth: -growth.change.size))


def _base(
    tiers: Sequence[Sequence[tuple[Laid, Counter[Key]]]], key: Key
) -> list[tuple[Laid, int]]:
    """The smallest amount that counts for one pump or parameter, or none."""
    for tier in tiers:
        found = [(one, days[key]) for one, days in tier if days[key]]
        if found:
            return [min(found, key=lambda pair: pair[1])]
    return []


def largest_ratio(found: tuple[Change, ...]) -> Fraction:
    """The largest growth among the changes, never below 1.

    What is new has no ratio and is not counted.
    """
    ratios = [change.ratio for change in found if change.ratio is not None]
    return max((Fraction(1), *ratios))


def touched_pumps(
    before: Machine, after: Machine, plan: Plan
) -> Mapping[str, tuple[str, ...]]:
    """Pumps of a plan that are no longer those approved before, each with why."""
    used = sorted({line.pump for line in plan.lines})
    found = {name: tuple(_why_touched(before, after, name)) for name in used}
    return {name: why for name, why in found.items() if why}


def _largest(plan: Plan, machine: Machine) -> Counter[Key]:
    timetable = timetable_of(plan, machine)
    found = Counter[Key]()
    for tank in timetable.tanks:
        for local_day in timetable.checked_days(tank):
            totals = day_totals(timetable, tank, local_day)
            for kind, sums in (
                ("pump", totals.volumes_ul),
                ("parameter", totals.effects),
            ):
                for name, amount in sums.items():
                    key = tank, kind, name
                    found[key] = max(found[key], amount)
    return found


def _why_touched(before: Machine, after: Machine, name: str) -> Iterator[str]:
    new = after.pumps[name]
    old = before.pumps.get(name)
    if old is None:
        yield "the pump is new"
        return
    yield from _moved(old, new)
    tank = before.tanks.get(new.tank)
    if tank is not None and tank.zone != after.tanks[new.tank].zone:
        yield "the zone of its tank changed"
    known = before.solutions.get(new.solution)
    if known is None or old.solution != new.solution:
        yield "it gives another solution"
    elif _is_another(known, after.solutions[new.solution]):
        yield f"its solution changed by more than {STRENGTH_PERCENT} %"


def _moved(old: Pump, new: Pump) -> Iterator[str]:
    if old.tank != new.tank:
        yield "it doses into another tank"
    if (old.node, old.channel) != (new.node, new.channel):
        yield "it hangs on another node or channel"


def _is_another(old: Solution, new: Solution) -> bool:
    if set(old.effects) != set(new.effects):
        return True
    return any(
        abs(new.effects[name] - amount) * 100 > amount * STRENGTH_PERCENT
        for name, amount in old.effects.items()
    )
