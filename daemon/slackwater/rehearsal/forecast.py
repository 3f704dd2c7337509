"""Where the levels of a tank go while the plan runs, and how long things last.

Floor 6. One subject: looking ahead. Laws here: what is forecast are the doses of the
rehearsal and nothing else; uptake is tried as believed and 30 % either side; where no
uptake is stated there is no forecast, never a guess.
Units: levels canonical; hours; the band is common practice, no source.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from math import log

from slackwater.facts.tank import Machine, Solution, Tank
from slackwater.rehearsal.record import RehearsedDose
from slackwater.rehearsal.virtual_tank import (
    ALKALINITY,
    DEAD_MEQ_PER_L,
    UL_A_LITRE,
    Pace,
    VirtualTank,
    living_of,
    midnight,
    starts_of,
)
from slackwater.water.masses import molar_mass
from slackwater.water.stoichiometry import salt_left_behind_mg

# Uptake as believed, and what it may be instead.
FACTORS = {"less": 0.7, "same": 1.0, "more": 1.3}
HOUR = timedelta(hours=1)
SAMPLED_EVERY = 6
HOURS_A_DAY = 24
PEQ_PER_MEQ = 10**9
PG_PER_MG = 10**9
# Sea water weighs so much, salinity 35 at 25 degC (TEOS-10).
KG_PER_LITRE = 1.02334


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One parameter at each time for less, the same and more uptake."""

    parameter: str
    less: tuple[float, ...]
    same: tuple[float, ...]
    more: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """The first time a level is beyond the floor or the ceiling of its tank."""

    bound: str
    uptake: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What becomes of one tank; `bands` is empty where no uptake is stated."""

    tank: str
    times: tuple[datetime, ...] = ()
    bands: tuple[Band, ...] = ()
    crossings: tuple[Crossing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """How long until the floor if nothing were dosed, from the level at the start.

    `steady` counts on an uptake that stays, `falling` on one that falls with the
    level; None where floor, level or uptake is not stated.
    """

    steady: float | None
    falling: float | None


def forecast(
    machine: Machine,
    tank_id: str,
    doses: Iterable[RehearsedDose],
    days: tuple[date, date],
    measured: Mapping[str, float],
) -> Forecast:
    """The levels of a tank over local days, first and last included."""
    tank = machine.tanks[tank_id]
    living = living_of(machine, tank_id)
    starts = starts_of(tank, measured)
    named = [name for name in starts if living.uptake.get(name)]
    if not named:
        return Forecast(tank=tank_id)
    begin = midnight(days[0], tank.zone)
    end = midnight(days[1] + timedelta(days=1), tank.zone)
    poured = _poured(tank_id, doses, begin)
    times = tuple(_times(begin, end))
    runs = {
        uptake: list(
            _levels(
                VirtualTank(machine, tank_id, starts, begin, Pace(factor=factor)),
                poured,
                times,
            )
        )
        for uptake, factor in FACTORS.items()
    }
    sampled = range(0, len(times), SAMPLED_EVERY)
    return Forecast(
        tank=tank_id,
        times=tuple(times[place] for place in sampled),
        bands=tuple(
            Band(
                parameter=name,
                **{
                    uptake: tuple(levels[place][name] for place in sampled)
                    for uptake, levels in runs.items()
                },
            )
            for name in named
        ),
        crossings=tuple(_crossings(machine, tank_id, times, runs)),
    )


def _poured(
    tank_id: str, doses: Iterable[RehearsedDose], begin: datetime
) -> dict[int, Counter[str]]:
    """What each hour since the beginning brings."""
    hours: dict[int, Counter[str]] = {}
    for each in doses:
        if each.dose.tank != tank_id or not each.volume_ul:
            continue
        hour = (each.dose.due_at - begin) // HOUR
        hours.setdefault(hour, Counter()).update(each.effects)
    return hours


def _times(begin: datetime, end: datetime) -> Iterator[datetime]:
    utc = begin
    while utc <= end:
        yield utc
        utc += HOUR


def _levels(
    water: VirtualTank,
    poured: Mapping[int, Mapping[str, int]],
    times: Sequence[datetime],
) -> Iterator[dict[str, float]]:
    for hour, utc in enumerate(times):
        water.advance(utc)
        yield dict(water.levels)
        if hour in poured:
            water.pour(poured[hour])


def _crossings(
    machine: Machine,
    tank_id: str,
    times: Sequence[datetime],
    runs: Mapping[str, Sequence[Mapping[str, float]]],
) -> Iterator[Crossing]:
    guard = machine.guards.get(tank_id)
    if guard is None:
        return
    for uptake, levels in runs.items():
        series = [level.get(ALKALINITY) for level in levels]
        for bound, beyond in (
            ("floor", [one is not None and one < guard.floor for one in series]),
            ("ceiling", [one is not None and one > guard.ceiling for one in series]),
        ):
            if any(beyond):
                at = times[beyond.index(True)]
                yield Crossing(bound=bound, uptake=uptake, at=at)


def hours_to_floor(
    machine: Machine, tank_id: str, measured: Mapping[str, float]
) -> Hours:
    """How long until the alkalinity floor if dosing stopped."""
    tank, guard = machine.tanks[tank_id], machine.guards.get(tank_id)
    living = living_of(machine, tank_id)
    uptake = living.uptake.get(ALKALINITY, 0.0)
    level = starts_of(tank, measured).get(ALKALINITY)
    outside = living.outside.get(ALKALINITY, 0.0)
    if guard is None or level is None or uptake <= outside:
        return Hours(steady=None, falling=None)
    room = level - guard.floor
    pace = uptake / (living.usual - DEAD_MEQ_PER_L)
    rest = DEAD_MEQ_PER_L + outside / pace
    return Hours(
        steady=max(room / (uptake - outside) * HOURS_A_DAY, 0.0),
        falling=_falling(level, guard.floor, rest, pace),
    )


def _falling(level: float, floor: float, rest: float, pace: float) -> float | None:
    """Hours from level to floor by the model, None where it never comes there."""
    if level <= floor:
        return 0.0
    if floor <= rest:
        return None
    return log((level - rest) / (floor - rest)) / pace * HOURS_A_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """Salt that the doses leave behind in a tank over the whole time.

    Units: mg/L, and practical salinity if no water is changed. `known` False: it is
    what follows from alkalinity and calcium alone, for a label does not say the rest.
    """

    tank: str
    mg_per_l: float
    salinity: float
    known: bool


def salt_left(machine: Machine, tank: Tank, doses: Iterable[RehearsedDose]) -> Salt:
    """What is left when carbonate and calcium have gone into skeletons.

    Source: counter-ions of the recipes; for solutions known by a label one mole of
    sodium chloride for each equivalent that finds its calcium
    (`water.stoichiometry.salt_left_behind_mg`).
    """
    volumes = Counter[str]()
    for each in doses:
        if each.dose.tank == tank.id:
            volumes[each.solution] += each.volume_ul
    picograms = sum(
        volume_ul * sum(machine.solutions[name].counter_ions.values())
        for name, volume_ul in sorted(volumes.items())
    )
    known = all(_tells_its_salt(machine.solutions[name]) for name in volumes)
    milligrams = picograms / PG_PER_MG
    if not known:
        milligrams = max(milligrams, _matched_mg(machine, volumes))
    per_l = milligrams / (tank.net_ul / UL_A_LITRE)
    return Salt(
        tank=tank.id,
        mg_per_l=per_l,
        salinity=per_l / 1000 / KG_PER_LITRE,
        known=known,
    )


def _tells_its_salt(solution: Solution) -> bool:
    """Whether a recipe says what is left, of limewater or ethanol that it is none."""
    return bool(solution.counter_ions or solution.ions)


def _matched_mg(machine: Machine, volumes: Mapping[str, int]) -> float:
    """Salt of the equivalents that find their calcium, whatever came with them."""
    added = Counter[str]()
    for name, volume_ul in volumes.items():
        solution = machine.solutions[name]
        if solution.ions and not solution.counter_ions:
            continue
        for parameter, per_ul in solution.effects.items():
            added[parameter] += per_ul * volume_ul
    calcium_mmol = added["calcium"] / PG_PER_MG / float(molar_mass("Ca"))
    meq = min(added[ALKALINITY] / PEQ_PER_MEQ, 2 * calcium_mmol)
    return float(salt_left_behind_mg(Fraction(meq)))
