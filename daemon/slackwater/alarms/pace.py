"""How long alkalinity has to its floor and its ceiling, from the water as it is now.

Floor 4. One subject: time left, for alarms, documents and screens alike. Laws here: a
reading grows old, so it is carried to now by what the tank takes up and what it is
believed to have got; one of long ago is no start for a reckoning; a line counts on its
own days, and a correction is no upkeep; where floor or ceiling is passed no time is
left.
Units: levels meq/L, amounts pico-equivalents of the whole tank.
Source: mass balance in one box with a steady uptake, which is the quicker way down
(an uptake that sinks with the level gives more time).
"""

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from slackwater.facts.charging import hour_of
from slackwater.facts.plan import PlanLine
from slackwater.facts.tank import AlkalinityGuard, Tank
from slackwater.gate.moment import ALKALINITY, Rules, daily_of
from slackwater.planning.stretches import day_in, gives, stretches

ONE_DAY = timedelta(days=1)
HOURS_A_DAY = 24
UL_PER_L = 10**6
PEQ_PER_MEQ = 10**9
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
    rules: Rules
    begins: datetime
    hours: Sequence[Mapping[int, int]] = ()

    @property
    def uptake(self) -> int:
        """What it takes up in a day: as stated, else as much as lasting lines give.

        These are the lines of this day that do not correct, before the plan's first day
        those of that one.
        """
        stated = self.tank.uptake.get(ALKALINITY)
        if stated is not None:
            return stated.estimate
        day = max(day_in(self.tank.zone, self.begins), self._starts)
        lasting = (one for one in self.lines if one.purpose == "maintenance")
        return self._outside + self._added(
            one for one in lasting if gives(one, day, self._starts)
        )

    @property
    def lines(self) -> list[PlanLine]:
        """The lines of the plan for this tank."""
        rules = self.rules.lines.values()
        return [rule.line for rule in rules if rule.line.tank == self.tank.id]

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
        change = given + (self._outside - self.uptake) * passed
        return max(value + change / self._peq_per_level, 0.0)

    def to_floor(
        self, level: float | None, stopped: Container[str] = (), share: float = 0.0
    ) -> float | None:
        """Hours until the floor; None where nobody can say, or it never comes.

        Of every line that is not stopped this share goes on; nothing unless one is
        given.
        """
        if self.guard is None or level is None:
            return None
        going_on = [one for one in self.lines if f"{one.tank}/{one.id}" not in stopped]
        falls = (
            (span, self.uptake - self._outside - comes * share)
            for span, comes in self._stretches(going_on)
        )
        return self._hours(level - self.guard.floor, falls)

    def to_ceiling(self, level: float | None) -> float | None:
        """Hours to the ceiling if nothing was taken up; None where it never comes."""
        if self.guard is None or level is None:
            return None
        rises = (
            (span, self._outside + comes) for span, comes in self._stretches(self.lines)
        )
        return self._hours(self.guard.ceiling - level, rises)

    def _hours(
        self, room: float, paces: Iterable[tuple[float | None, float]]
    ) -> float | None:
        """When the room is used up, at so much a day for so many days; None if never.

        Shape: the last stretch has no end. Where it goes the other way the room grows.
        """
        peq, passed = room * self._peq_per_level, 0.0
        if peq <= 0:
            return 0.0
        for span, per_day in paces:
            if per_day > 0 and (span is None or per_day * span >= peq):
                return (passed + peq / per_day) * HOURS_A_DAY
            peq -= per_day * (span or 0.0)
            passed += span or 0.0
        return None

    def _stretches(
        self, lines: Sequence[PlanLine]
    ) -> Iterator[tuple[float | None, int]]:
        """For how many days these lines add how much, from now; the last for good."""
        found = stretches(lines, self._starts, self.tank.zone, self.begins)
        for span, giving in found:
            yield span, self._added(giving)

    def _added(self, lines: Iterable[PlanLine]) -> int:
        """What lines give in a day, the mean of theirs."""
        return sum(daily_of(one, self.rules.pumps) for one in lines)

    @property
    def _starts(self) -> date:
        return self.rules.starts or day_in(self.tank.zone, self.begins)

    @property
    def _outside(self) -> int:
        return self.rules.outside.get(self.tank.id, 0)

    @property
    def _peq_per_level(self) -> float:
        return self.tank.net_ul / UL_PER_L * PEQ_PER_MEQ
