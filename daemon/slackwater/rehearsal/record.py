"""What a rehearsal found: every dose, the days, the ceilings, the bottles.

Floor 6. One subject: the record and its sums. Laws here: every figure comes from the
events of the run; would dose, would miss, never "success".
Units: microlitres and pico-units for the tank.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Reason
from slackwater.facts.tank import Machine


@dataclass(frozen=True, slots=True, kw_only=True)
class RehearsedDose:
    """One dose and what would become of it; `volume_ul` 0 when it would be missed.

    `begun_at` is when it would begin, None for one that never would.
    """

    dose: DueDose
    solution: str
    verdict: str
    volume_ul: int
    reasons: tuple[Reason, ...] = ()
    effects: Mapping[str, int] = field(default_factory=dict)
    run_ms: int = 0
    begun_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The closest approach to one cap: how much, when, and by which dose."""

    cap: str
    subject: str
    reached: int
    ceiling: int
    dose: str

    @property
    def share(self) -> float:
        """Reached over ceiling; above 1 cannot be."""
        return self.reached / self.ceiling if self.ceiling > 0 else float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpDay:
    """What one pump would give on one local day."""

    day: date
    tank: str
    pump: str
    volume_ul: int
    cap_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectDay:
    """What all pumps of a tank would add of one parameter on one local day.

    `net_rise` is the addition less the lower bound of uptake, None where nobody
    stated an uptake.
    """

    day: date
    tank: str
    parameter: str
    added: int
    net_rise: int | None
    cap: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsal:
    """The whole run; `left_out` are calendar oddities, `empty_on` bottles by day."""

    first: date
    until: date
    doses: tuple[RehearsedDose, ...]
    nearest: tuple[Nearest, ...]
    left_out: tuple[str, ...]
    empty_on: Mapping[str, date | None]
    ended_at: datetime


def pump_days(machine: Machine, doses: Iterable[RehearsedDose]) -> list[PumpDay]:
    """Daily totals of each pump, days in order, then pumps by name."""
    sums: dict[tuple[date, str], int] = {}
    for each in doses:
        key = (each.dose.local_day, each.dose.pump)
        sums[key] = sums.get(key, 0) + each.volume_ul
    return [
        PumpDay(
            day=day,
            tank=machine.pumps[pump].tank,
            pump=pump,
            volume_ul=volume_ul,
            cap_ul=machine.pumps[pump].per_day_ul,
        )
        for (day, pump), volume_ul in sorted(sums.items())
    ]


def effect_days(machine: Machine, doses: Iterable[RehearsedDose]) -> list[EffectDay]:
    """Daily sums of each parameter and tank, days in order."""
    sums: dict[tuple[date, str, str], int] = {}
    for each in doses:
        for parameter, amount in each.effects.items():
            key = (each.dose.local_day, each.dose.tank, parameter)
            sums[key] = sums.get(key, 0) + amount
    return [_effect_day(machine, key, added) for key, added in sorted(sums.items())]


def _effect_day(machine: Machine, key: tuple[date, str, str], added: int) -> EffectDay:
    day, tank_id, parameter = key
    tank = machine.tanks[tank_id]
    uptake = tank.uptake.get(parameter)
    cap = tank.caps.get(parameter)
    outside = sum(
        source.per_day
        for source in machine.outside
        if (source.tank, source.parameter) == (tank_id, parameter)
    )
    return EffectDay(
        day=day,
        tank=tank_id,
        parameter=parameter,
        added=added,
        net_rise=None if uptake is None else added + outside - uptake.low,
        cap=0 if cap is None else cap.gross,
    )


def empty_days(
    machine: Machine, doses: Iterable[RehearsedDose]
) -> dict[str, date | None]:
    """The local day on which each reservoir would run out, None if it lasts."""
    left = {name: bottle.content_ul for name, bottle in machine.reservoirs.items()}
    empty: dict[str, date | None] = dict.fromkeys(left)
    bottles = {pump.id: pump.reservoir for pump in machine.pumps.values()}
    for each in doses:
        bottle = bottles[each.dose.pump]
        rest_ul = left[bottle] = left[bottle] - each.volume_ul
        if rest_ul < 0 and empty[bottle] is None:
            empty[bottle] = each.dose.local_day
    return empty
