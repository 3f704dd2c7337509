"""The water of a tank while a plan runs: what lives takes, what doses bring.

Floor 6. One subject: one well mixed box under a virtual clock. Laws here: the result
does not depend on how finely time is cut; uptake falls with alkalinity and nothing is
taken up that is not there; the volume of a dose itself, evaporation and gas exchange
are left out.
Units: levels canonical (meq/L, mg/L, µg/L), rates of them per day.
Source: mass balance in one box, U = U0 (A - 3 dKH) / (A0 - 3 dKH), integrated exactly;
calcium, magnesium and strontium by `water.stoichiometry`. Calcification by day is
three times that by night (Gattuso, Allemand and Frankignoulle 1999, American Zoologist
39:160-183, median of many corals, from memory); twelve hours of light from 09:00 on are
common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from math import expm1
from zoneinfo import ZoneInfo

from slackwater.facts.tank import Machine, Tank
from slackwater.planning.days import ONE_DAY
from slackwater.planning.wall import EPOCH, reached_s, zone_named
from slackwater.water.parameters import parameter_named
from slackwater.water.stoichiometry import calcified

ALKALINITY = "alkalinity"
# Uptake stops near 3 dKH in the model, as in `gate.resuming`.
DEAD_MEQ_PER_L = 1.06995738
# Where nobody states a target, and the least that counts as one: 8 and 6 dKH (common
# practice, no source).
USUAL_MEQ_PER_L = 2.853219680
USUAL_LEAST_MEQ_PER_L = 2.139914760
LIGHT_MINUTES = (9 * 60, 21 * 60)
BY_DAY, BY_NIGHT = 1.5, 0.5
# Moles for each mole of calcium in the skeleton of a coral (from memory, see the
# ranges in `water.stoichiometry`).
STRONTIUM_PER_CALCIUM = Fraction(9, 1000)
MAGNESIUM_PER_CALCIUM = Fraction(45, 10_000)
UL_A_LITRE = 10**6
DAY_S = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Living:
    """What a tank takes up and gets besides, per day, canonical units.

    `usual` is the alkalinity at which the uptake was found. `uptake` holds what is
    stated, and what follows from the alkalinity by stoichiometry.
    """

    usual: float
    uptake: Mapping[str, float]
    outside: Mapping[str, float]


def living_of(machine: Machine, tank_id: str) -> Living:
    """What is known of the life of a tank; without a stated uptake it has none."""
    tank = machine.tanks[tank_id]
    usual = tank.targets.get(ALKALINITY, USUAL_MEQ_PER_L)
    stated = {
        name: canonical(tank, name, uptake.estimate)
        for name, uptake in tank.uptake.items()
    }
    outside: dict[str, float] = {}
    for source in machine.outside:
        if source.tank == tank_id:
            more = canonical(tank, source.parameter, source.per_day)
            outside[source.parameter] = outside.get(source.parameter, 0.0) + more
    return Living(
        usual=max(usual, USUAL_LEAST_MEQ_PER_L),
        uptake={**_with_alkalinity(stated.get(ALKALINITY, 0.0)), **stated},
        outside=outside,
    )


def canonical(tank: Tank, parameter: str, amount: float) -> float:
    """What an amount in pico-units changes in a tank, in the canonical unit."""
    per_unit = parameter_named(parameter, where="").pico_per_unit
    return amount * UL_A_LITRE / (tank.net_ul * per_unit)


def _with_alkalinity(meq_per_l: float) -> dict[str, float]:
    """What goes into skeletons together with so much alkalinity, mg/L."""
    if meq_per_l <= 0:
        return {}
    gone = calcified(
        Fraction(meq_per_l),
        strontium_per_calcium=STRONTIUM_PER_CALCIUM,
        magnesium_per_calcium=MAGNESIUM_PER_CALCIUM,
    )
    return {
        "calcium": float(gone.calcium),
        "magnesium": float(gone.magnesium),
        "strontium": float(gone.strontium),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How a tank lives: so many times the uptake that is believed.

    Without `lights` at its mean pace, day and night alike.
    """

    factor: float = 1.0
    lights: bool = True


AS_BELIEVED = Pace()


class VirtualTank:
    """One tank from a moment on."""

    def __init__(
        self,
        machine: Machine,
        tank_id: str,
        starts: Mapping[str, float],
        begin: datetime,
        pace: Pace = AS_BELIEVED,
    ) -> None:
        """Fill it; `starts` are levels at the beginning, canonical."""
        self.levels = dict(starts)
        self._tank = machine.tanks[tank_id]
        self._zone = zone_named(self._tank.zone)
        self._living = living_of(machine, tank_id)
        self._pace = pace
        self._at = begin
        self._light, self._until = _light_at(self._zone, begin)

    def pour(self, effects: Mapping[str, int]) -> None:
        """Mix in what a dose brings, pico-units for the whole tank."""
        for parameter, amount in effects.items():
            if parameter in self.levels:
                self.levels[parameter] += canonical(self._tank, parameter, amount)

    def advance(self, utc: datetime) -> None:
        """Let everything live until then; a moment already past changes nothing."""
        while self._until <= utc:
            self._live(self._until)
            self._light, self._until = _light_at(self._zone, self._at)
        if self._at < utc:
            self._live(utc)

    def _live(self, utc: datetime) -> None:
        days = (utc - self._at) / ONE_DAY
        self._at = utc
        light = self._light if self._pace.lights else 1.0
        share = self._calcify(days, self._pace.factor * light)
        for name in self.levels:
            if name == ALKALINITY:
                continue
            change = self._living.outside.get(name, 0.0) * days
            change -= self._living.uptake.get(name, 0.0) * share
            self.levels[name] = max(self.levels[name] + change, 0.0)

    def _calcify(self, days: float, pace: float) -> float:
        """Let alkalinity go; gives the days of full uptake that this amounts to."""
        uptake = self._living.uptake.get(ALKALINITY, 0.0)
        level = self.levels.get(ALKALINITY)
        if level is None or uptake <= 0:
            return pace * days
        outside = self._living.outside.get(ALKALINITY, 0.0)
        above = max(level - DEAD_MEQ_PER_L, 0.0)
        room = self._living.usual - DEAD_MEQ_PER_L
        rate = pace * uptake / room
        # Above rest it draws near to what outside sources keep up by themselves.
        change = (above - outside / rate) * expm1(-rate * days)
        self.levels[ALKALINITY] = level + change
        return (outside * days - change) / uptake


def _light_at(zone: ZoneInfo, utc: datetime) -> tuple[float, datetime]:
    """How fast life is from a moment on, and until when."""
    on, off = LIGHT_MINUTES
    day = utc.astimezone(zone).date()
    for minute, pace in ((on, BY_NIGHT), (off, BY_DAY)):
        edge = _instant(zone, day, minute)
        if utc < edge:
            return pace, edge
    return BY_NIGHT, _instant(zone, day + ONE_DAY, on)


def _instant(zone: ZoneInfo, day: date, minute: int) -> datetime:
    return EPOCH + timedelta(seconds=reached_s(zone, day, minute))


def starts_of(tank: Tank, measured: Mapping[str, float]) -> dict[str, float]:
    """Levels to begin with: as measured, else the targets.

    Shape: alkalinity is always there where an uptake of it is stated.
    """
    found = {**tank.targets, **measured}
    if ALKALINITY in tank.uptake:
        found.setdefault(ALKALINITY, USUAL_MEQ_PER_L)
    dosed = {name: level for name, level in found.items() if _is_dosed(name)}
    return dict(sorted(dosed.items()))


def _is_dosed(parameter: str) -> bool:
    return parameter_named(parameter, where="").is_dosed


def midnight(day: date, zone: str) -> datetime:
    """The first instant of a local day, in UTC."""
    at_s = reached_s(zone_named(zone), day, 0)
    return datetime.fromtimestamp(at_s, UTC)
