"""How long alkalinity has to its floor and its ceiling, from the water as it is now.

Floor 8. One subject: time left. Laws here: a reading grows old, so it is carried to now
by what the tank takes up and what it is believed to have got; one of long ago is no
start for a reckoning; a line counts on its own days, and a correction is no upkeep.
Units: levels meq/L, amounts pico-equivalents of the whole tank.
Source: mass balance in one box with a steady uptake, the quicker way down.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.facts.charging import hour_of
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import AlkalinityGuard, Tank
from slackwater.gate.moment import Rules, daily_of
from slackwater.planning.daily import ALKALINITY, PEQ_PER_UL_PER_MEQ_PER_L
from slackwater.planning.stretches import day_in, gives, stretches

ONE_DAY = timedelta(days=1)
HOURS_A_DAY = 24
# A tenth off the uptake is more than a whole day of it by then: common practice, no
# source.
SPEAKS = timedelta(days=14)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """What a tank takes up and what it gets, in force from a moment on.

    `hours` is the alkalinity that it got, by hour of wall time since 1970.
    """

    tank: Tank
    guard: AlkalinityGuard | None
    plan: Plan
    rules: Rules
    begins: datetime
    hours: Sequence[Mapping[int, int]] = ()

    @property
    def uptake(self) -> int:
        """What it takes up in a day: as stated, else as much as lasting lines give."""
        stated = self.tank.uptake.get(ALKALINITY)
        if stated is not None:
            return stated.estimate
        starts = self.plan.starts
        day = max(day_in(self.tank.zone, self.begins), starts)
        lasting = (one for one in self._own if one.purpose == "maintenance")
        return self._added(one for one in lasting if gives(one, day, starts))

    def level_at(self, value: float, taken_at: datetime, now: datetime) -> float | None:
        """A level carried to now, to the hour; None where it is too old for that."""
        passed = max((now - taken_at) / ONE_DAY, 0.0)
        if passed > SPEAKS / ONE_DAY:
            return None
        given = sum(
            amount
            for hours in self.hours
            for hour, amount in hours.items()
            if hour_of(taken_at) < hour <= hour_of(now)
        )
        change = given + (self.rules.outside[self.tank.id] - self.uptake) * passed
        return max(value + change / self._peq_per_level, 0.0)

    def to_floor(self, level: float | None) -> float | None:
        """Hours until the floor if nothing came in; None where nobody can say."""
        uptake = self.uptake
        if self.guard is None or level is None or uptake <= 0:
            return None
        peq = (level - self.guard.floor) * self._peq_per_level
        return max(peq / uptake * HOURS_A_DAY, 0.0)

    def to_ceiling(self, level: float | None) -> float | None:
        """Hours to the ceiling if nothing was taken up; None where it never comes."""
        if self.guard is None or level is None:
            return None
        peq, passed = (self.guard.ceiling - level) * self._peq_per_level, 0.0
        for span, per_day in self._stretches():
            if peq <= 0 or (per_day and (span is None or per_day * span >= peq)):
                return (passed + max(peq, 0.0) / (per_day or 1)) * HOURS_A_DAY
            peq -= per_day * (span or 0.0)
            passed += span or 0.0
        return None

    def _stretches(self) -> Iterator[tuple[float | None, int]]:
        """How many days what is added stays the same, and that; the last for good."""
        plan = self.plan
        for span, lines in stretches(
            self._own, plan.starts, self.tank.zone, self.begins
        ):
            yield span, self._added(lines)

    @property
    def _own(self) -> tuple[PlanLine, ...]:
        return tuple(one for one in self.plan.lines if one.tank == self.tank.id)

    def _added(self, lines: Iterable[PlanLine]) -> int:
        """What lines give in a day, the mean of theirs, and outside sources."""
        return self.rules.outside[self.tank.id] + sum(
            daily_of(one, self.rules.pumps) for one in lines
        )

    @property
    def _peq_per_level(self) -> int:
        return PEQ_PER_UL_PER_MEQ_PER_L * self.tank.net_ul
