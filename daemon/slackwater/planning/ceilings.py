"""The plan against the caps of the machine.

Floor 3. One subject: the smallest caps that fit a plan, and what is wrong with it.
Laws here: a cap that is absent is zero; a cap is compared on every day that stands
for the plan (`planning.days`) with earlier doses as late as they may begin; the first
dose that breaks a cap is named; all findings come out at once.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from functools import lru_cache

from slackwater.errors import Finding
from slackwater.facts.plan import Plan
from slackwater.facts.tank import EffectCap, Machine, Pump, Tank
from slackwater.planning.amounts import amounts_words
from slackwater.planning.charges import (
    DAY_HOURS,
    HOUR,
    NODE_HOURS,
    Stretch,
    Sum,
    Weights,
    day_sums,
    rolling_sums,
    single_sums,
    stretches,
)
from slackwater.planning.faults import group_faults, line_faults, sound_part
from slackwater.planning.strain import late_starts, too_many_pulses
from slackwater.planning.timetable import TIMETABLES_KEPT, Timetable, timetable_of

NO_CAP = EffectCap(gross=0)
_DOING = {"gross": "adds", "net_rise": "may raise the water by"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceiling:
    """One cap of the machine and what a plan asks of it.

    `table` and `key` are where it stands in the machine's configuration; either
    `pump` or `parameter` is empty. `fits` is the smallest cap that fits, `cap` what is
    allowed, None when nobody stated it and nothing is held to it. `first` is the first
    dose that breaks it, empty when none does, `found` what that dose brings it to,
    `span` over which time. `aside` is what counts beside doses: outside sources, less
    what is surely taken up.
    Units: microlitres, or for a parameter pico-units for the whole tank.
    """

    table: str
    key: str
    tank: str
    fits: int
    cap: int | None
    pump: str
    parameter: str
    first: str
    found: int
    span: str
    aside: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceilings:
    """Every cap that a plan touches, by tank, then table, then key."""

    all: tuple[Ceiling, ...]

    @property
    def broken(self) -> tuple[Ceiling, ...]:
        """The caps that the plan breaks."""
        return tuple(ceiling for ceiling in self.all if ceiling.first)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Account:
    """A sum that is held to a cap; `plus` is in it before any dose."""

    table: str
    key: str
    tank: str
    cap: int | None
    weights: Weights
    hours: timedelta | None
    pump: str = ""
    parameter: str = ""
    plus: int = 0


@dataclass(slots=True, kw_only=True)
class _Highest:
    fits: int = 0
    first: Sum | None = field(default=None)
    span: str = ""


def ceilings(plan: Plan, machine: Machine) -> Ceilings:
    """The smallest caps that fit a plan.

    Raises: InputError when a line is at fault in itself.
    """
    return _ceilings(timetable_of(plan, machine))


def check(plan: Plan, machine: Machine, doubted: Collection[str] = ()) -> list[Finding]:
    """Everything for which a plan is refused on this machine; empty for a sound plan.

    Lines at fault in themselves are named, and the rest of the plan is checked as if
    they were not there; so are caps that are `doubted`, as `[table] key`.
    """
    faults = line_faults(plan, machine)
    timetable = timetable_of(sound_part(plan, faults), machine)
    return [
        *(fault.finding for fault in faults),
        *group_faults(plan),
        *_conflicts(timetable),
        *(
            _refusal(ceiling, machine)
            for ceiling in _ceilings(timetable).broken
            if f"[{ceiling.table}] {ceiling.key}" not in doubted
        ),
        *late_starts(timetable),
        *too_many_pulses(plan, machine),
    ]


def _conflicts(timetable: Timetable) -> Iterator[Finding]:
    """The first dose of each line that gaps have no room for."""
    seen = set()
    for tank in timetable.tanks:
        for local_day in timetable.checked_days(tank):
            for finding in timetable.conflicts(tank, local_day):
                if finding.where not in seen:
                    seen.add(finding.where)
                    yield finding


@lru_cache(TIMETABLES_KEPT)
def _ceilings(timetable: Timetable) -> Ceilings:
    found = []
    for tank in timetable.tanks:
        accounts = list(_accounts(timetable, tank))
        highest = [_Highest() for _account in accounts]
        for stretch in stretches(timetable, tank):
            for account, so_far in zip(accounts, highest, strict=True):
                _raise(so_far, account, stretch)
        found += [
            _ceiling(account, so_far)
            for account, so_far in zip(accounts, highest, strict=True)
        ]
    return Ceilings(all=tuple(found))


def _accounts(timetable: Timetable, tank: str) -> Iterator[_Account]:
    machine = timetable.machine
    used = {line.pump for line in timetable.plan.lines if line.tank == tank}
    pumps = {name: machine.pumps[name] for name in sorted(used)}
    for pump in pumps.values():
        yield from _pump_accounts(pump)
    for pump in pumps.values():
        yield _Account(
            table=f"node.{pump.node}",
            key="day_limit",
            tank=tank,
            cap=machine.nodes[pump.node].day_limit_ul,
            weights={pump.id: 1},
            pump=pump.id,
            hours=NODE_HOURS,
        )
    names = timetable.plan.names
    yield from _effect_accounts(machine, machine.tanks[tank], (pumps, names))


def _pump_accounts(pump: Pump) -> Iterator[_Account]:
    caps: tuple[tuple[str, int | None, timedelta | None], ...] = (
        ("most_per_dose", pump.per_dose_ul, None),
        ("most_per_hour", pump.per_hour_ul, HOUR),
        ("most_per_day", pump.per_day_ul, DAY_HOURS),
    )
    for key, cap, hours in caps:
        yield _Account(
            table=f"pump.{pump.id}",
            key=key,
            tank=pump.tank,
            cap=cap,
            weights={pump.id: 1},
            pump=pump.id,
            hours=hours,
        )


def _effect_accounts(
    machine: Machine, tank: Tank, used: tuple[Mapping[str, Pump], frozenset[str]]
) -> Iterator[_Account]:
    pumps, names = used
    effects = {
        name: machine.solutions[pump.solution].effects for name, pump in pumps.items()
    }
    for parameter in sorted({key for adds in effects.values() for key in adds}):
        weights = {
            name: adds[parameter] for name, adds in effects.items() if parameter in adds
        }
        outside = machine.outside_per_day(tank.id, parameter, names)
        cap = tank.caps.get(parameter, NO_CAP)
        uptake = tank.uptake.get(parameter)
        # An uptake nobody has stated takes nothing away: all of it may be a rise.
        low = uptake.low if uptake else 0
        for key, most, plus in (
            ("gross", cap.gross, outside),
            ("net_rise", cap.net_rise, outside - low),
        ):
            yield _Account(
                table=f"tank.{tank.id}.caps.{parameter}",
                key=key,
                tank=tank.id,
                cap=most,
                weights=weights,
                hours=DAY_HOURS,
                parameter=parameter,
                plus=plus,
            )


def _sums(account: _Account, stretch: Stretch) -> Iterator[tuple[str, Iterable[Sum]]]:
    if account.hours is None:
        yield "one dose", single_sums(stretch, account.weights)
        return
    if account.hours == DAY_HOURS:
        yield "its local day", day_sums(stretch, account.weights)
    hours = account.hours // HOUR
    named = f"the {hours} h before it, earlier doses begun as late as they may"
    yield named, rolling_sums(stretch, account.weights, account.hours)


def _raise(so_far: _Highest, account: _Account, stretch: Stretch) -> None:
    broken: list[tuple[Sum, str]] = []
    for span, sums in _sums(account, stretch):
        over = None
        for one in sums:
            found = one.total + account.plus
            so_far.fits = max(so_far.fits, found)
            if over is None and account.cap is not None and found > account.cap:
                over = one
        if over is not None:
            broken.append((over, span))
    if broken and so_far.first is None:
        so_far.first, so_far.span = min(broken, key=lambda pair: pair[0].dose.due_at)


def _ceiling(account: _Account, highest: _Highest) -> Ceiling:
    first = highest.first
    return Ceiling(
        table=account.table,
        key=account.key,
        tank=account.tank,
        pump=account.pump,
        parameter=account.parameter,
        fits=highest.fits,
        cap=account.cap,
        first=first.dose.id if first else "",
        found=first.total + account.plus if first else 0,
        span=highest.span,
        aside=account.plus,
    )


def _refusal(ceiling: Ceiling, machine: Machine) -> Finding:
    tank = machine.tanks[ceiling.tank]
    amounts = (ceiling.found, ceiling.cap or 0, ceiling.fits)
    found, cap, fits = amounts_words(amounts, ceiling.parameter, tank)
    place = f"[{ceiling.table}] {ceiling.key}"
    return Finding(
        what=f"{ceiling.first} {_DOING.get(ceiling.key, 'asks for')} {found} in "
        f"{ceiling.span}",
        where=f"line {ceiling.first.partition('@')[0]}",
        expected=f"at most {cap}, what {place} allows",
        do=f"Lower the line; as it stands the plan needs {fits} in {place}.",
    )
