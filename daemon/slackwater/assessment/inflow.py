"""What came into the water between two moments.

Floor 3. One subject: deliveries, outside sources and water changes of one parameter.
Laws here: what was delivered is believed, not planned; what pumps gave in an hour is
spread over it, as far as it is behind; what a hand gave counts whole from its moment;
new water that nobody tested changes nothing and widens the error.
Units: canonical levels of the tank; days since `ORIGIN`.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import accumulate
from math import inf

from slackwater.facts.history import Delivery, History
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import WaterChanged
from slackwater.water.parameters import parameter_named

# Any moment before the first reef; only differences are ever used.
ORIGIN = datetime(2000, 1, 1, tzinfo=UTC)
_DAY_S = 86_400
_HOUR_DAYS = 1 / 24
_UL_IN_LITRE = 10**6
# New water that nobody tested may differ from the tank by so much: common practice.
UNTESTED_SHARE = 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """A water change: the share of the water, and what the new water holds if known.

    `step` is the change of the level that was foretold when it was written down.
    """

    day: float
    share: float
    level: float | None = None
    step: float | None = None

    def moved(self, level: float) -> tuple[float, float]:
        """The change of a level by the exchange, and its standard deviation."""
        if self.level is not None:
            return self.share * (self.level - level), 0.0
        if self.step is not None:
            return self.step, abs(self.step) * UNTESTED_SHARE
        return 0.0, self.share * UNTESTED_SHARE * abs(level)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inflow:
    """Everything that came in of one parameter.

    Shape: `hours` ascending, the days on which an hour of deliveries began; `sums`
    what had come before each of them, with the total behind it; `moments` and
    `at_once` the same of what came at one moment; `paused` are stretches
    in which a source brought nothing: from and to which day, and how much a day less.
    `until` is the day up to which this was told: all of it had come by then. Before
    `known_from` more may have come in than anybody wrote down.
    """

    parameter: str
    hours: tuple[float, ...] = ()
    sums: tuple[float, ...] = (0.0,)
    moments: tuple[float, ...] = ()
    at_once: tuple[float, ...] = (0.0,)
    until: float = inf
    known_from: float = -inf
    outside_per_day: float = 0.0
    paused: tuple[tuple[float, float, float], ...] = ()
    exchanges: tuple[Exchange, ...] = ()

    @property
    def days(self) -> tuple[float, ...]:
        """When anything was delivered, ascending: begins of hours, and moments."""
        return tuple(sorted((*self.hours, *self.moments)))

    def delivered(self, begin: float, end: float) -> float:
        """What doses and hands brought from one day to another."""
        return self._before(end) - self._before(begin)

    def added(self, begin: float, end: float) -> float:
        """The same with what outside sources brought."""
        came = self.delivered(begin, end) + self.outside_per_day * (end - begin)
        for first, last, per_day in self.paused:
            came -= per_day * max(min(end, last) - max(begin, first), 0.0)
        return came

    def within(self, begin: float, end: float) -> tuple[Exchange, ...]:
        """Water changes after one day and up to another."""
        return tuple(one for one in self.exchanges if begin < one.day <= end)

    def largest_day(self, begin: float, end: float) -> float:
        """The most that came in in a day, over whole days back from `end`."""
        days = max(int(end - begin), 1)
        return max(
            self.added(end - back - 1, end - back) for back in range(min(days, 90))
        )

    def _before(self, day: float) -> float:
        if day >= self.until:
            return self.sums[-1] + self.at_once[-1]
        # Poured in at the moment of a test, it came after the test.
        poured = self.at_once[bisect_left(self.moments, day)]
        place = bisect_right(self.hours, day)
        if not place:
            return poured
        began = self.hours[place - 1]
        last = self.sums[place] - self.sums[place - 1]
        part = min((day - began) / min(_HOUR_DAYS, self.until - began), 1.0)
        return poured + self.sums[place - 1] + last * part


@dataclass(frozen=True, slots=True, kw_only=True)
class _Came:
    """Deliveries of one parameter, ascending: days, and pico-units of each."""

    days: tuple[float, ...]
    amounts: tuple[int, ...]

    def sums(self, pico_per_level: float) -> tuple[float, ...]:
        """What came in until each of them and before all, canonical."""
        came = accumulate(self.amounts, initial=0)
        return tuple(total / pico_per_level for total in came)


def day_of(moment: datetime) -> float:
    """Days since `ORIGIN`."""
    return (moment - ORIGIN).total_seconds() / _DAY_S


def inflows(
    history: History,
    machine: Machine,
    parameters: Collection[str],
    *,
    since: datetime,
    now: datetime,
) -> Mapping[str, Inflow]:
    """What came in of each parameter from one moment to another."""
    first = bisect_left(history.deliveries, since, key=lambda one: one.at)
    last = bisect_right(history.deliveries, now, key=lambda one: one.at)
    came = history.deliveries[first:last]
    wanted = frozenset(parameters)
    spread = _by_parameter((one for one in came if not one.at_once), wanted)
    poured = _by_parameter((one for one in came if one.at_once), wanted)
    litres = machine.tanks[history.tank].net_ul / _UL_IN_LITRE
    changes = _changes(history, since, now)
    return {
        parameter: Inflow(
            parameter=parameter,
            hours=spread[parameter].days,
            sums=spread[parameter].sums(_pico_per_level(parameter, litres)),
            moments=poured[parameter].days,
            at_once=poured[parameter].sums(_pico_per_level(parameter, litres)),
            until=day_of(now),
            outside_per_day=outside_per_day(machine, history.tank, parameter) or 0.0,
            paused=tuple(_paused(machine, history, parameter, litres)),
            exchanges=tuple(_exchange(one, parameter, litres) for one in changes),
        )
        for parameter in sorted(wanted)
    }


def _by_parameter(
    deliveries: Iterable[Delivery], wanted: frozenset[str]
) -> Mapping[str, _Came]:
    found: dict[str, tuple[list[float], list[int]]] = {
        parameter: ([], []) for parameter in wanted
    }
    for delivery in deliveries:
        day = day_of(delivery.at)
        for parameter in wanted.intersection(delivery.amounts):
            days, amounts = found[parameter]
            days.append(day)
            amounts.append(delivery.amounts[parameter])
    return {
        parameter: _Came(days=tuple(days), amounts=tuple(amounts))
        for parameter, (days, amounts) in found.items()
    }


def outside_per_day(machine: Machine, tank: str, parameter: str) -> float | None:
    """What declared sources bring a day, canonical; None where none is declared."""
    declared = [
        one.per_day
        for one in machine.outside
        if one.tank == tank and one.parameter == parameter
    ]
    if not declared:
        return None
    litres = machine.tanks[tank].net_ul / _UL_IN_LITRE
    return sum(declared) / _pico_per_level(parameter, litres)


def _paused(
    machine: Machine, history: History, parameter: str, litres: float
) -> Iterator[tuple[float, float, float]]:
    """Stretches in which a line was ours: its old doser brought nothing meanwhile."""
    for one in machine.outside:
        if (one.tank, one.parameter) != (history.tank, parameter):
            continue
        per_day = one.per_day / _pico_per_level(parameter, litres)
        for begins, ends in history.taken_over.get(one.replaced_by, ()):
            yield day_of(begins), inf if ends is None else day_of(ends), per_day


def stated_uptake(tank: Tank, parameter: str) -> tuple[float, float] | None:
    """The stated uptake and its lower bound a day, canonical; None where none is."""
    stated = tank.uptake.get(parameter)
    if stated is None:
        return None
    pico = _pico_per_level(parameter, tank.net_ul / _UL_IN_LITRE)
    return stated.estimate / pico, stated.low / pico


def _pico_per_level(parameter: str, litres: float) -> float:
    """Pico-units that move the tank by one canonical unit; 1 of what nobody doses."""
    return parameter_named(parameter, where="").pico_per_unit * litres or 1.0


def _changes(history: History, since: datetime, now: datetime) -> list[WaterChanged]:
    """Changes that were made, the last word on each; volume 0 was called off."""
    gone = {one.supersedes for one in history.changes if one.supersedes}
    return [
        one
        for one in history.changes
        if one.id not in gone and one.volume_ul > 0 and since <= one.changed_at <= now
    ]


def _exchange(change: WaterChanged, parameter: str, litres: float) -> Exchange:
    return Exchange(
        day=day_of(change.changed_at),
        share=min(change.volume_ul / (litres * _UL_IN_LITRE), 1.0),
        level=change.levels.get(parameter),
        step=change.steps.get(parameter),
    )
