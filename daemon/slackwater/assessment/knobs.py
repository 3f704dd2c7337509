"""Which pump moves which parameter, and by how much.

Floor 3. One subject: solutions as knobs. Laws here: a solution is turned for one
parameter, its chief effect; whatever else it brings is a side effect that counts; with
several solutions for one parameter their present shares stay.
Units: canonical levels of the tank; volumes microlitres.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction

from slackwater.assessment.chief import chief_effect
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Machine, Pump, Solution, Tank
from slackwater.water.limits import Limits, limits_of
from slackwater.water.parameters import PARAMETERS

UL_PER_LITRE = 1_000_000
_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class Knob:
    """One pump of the tank with its chief parameter.

    `per_ul` is what a microlitre does to every parameter it brings, canonical; `now_ul`
    the maintenance a day of the present plan, averaged over its cycle; `runs` whether
    that plan is in force, or nothing flows by it yet; `target` of its parameter, None
    where none is stated.
    """

    pump: Pump
    solution: Solution
    parameter: str
    per_ul: Mapping[str, float]
    now_ul: float
    lines: tuple[PlanLine, ...] = ()
    runs: bool = True
    target: float | None = None

    @property
    def limits(self) -> Limits:
        """The limits of its parameter at the target; at nature's level without one."""
        item = PARAMETERS[self.parameter]
        return limits_of(item.id, self.target or item.natural or item.high)

    @property
    def given_ul(self) -> float:
        """What flows a day: nothing by a plan that is not in force."""
        return self.now_ul if self.runs else 0.0


BY_TESTS = "the least uptake that tests show"


@dataclass(frozen=True, slots=True, kw_only=True)
class SureUptake:
    """What is surely used up a day, canonical, and in words which figure it is.

    `is_shown`: tests show it, and less than the file states.
    """

    per_day: float
    by: str
    is_shown: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Knobs:
    """All pumps of one tank; `shares` says how several divide a parameter.

    `most_ul` is what a pump may give a day where the caps have turned out narrower
    than a sum of doses shows; `shown_low` the lower bound of each uptake that tests
    tell well enough, canonical a day.
    """

    tank: Tank
    machine: Machine
    by_pump: Mapping[str, Knob] = field(default_factory=dict)
    most_ul: Mapping[str, int] = field(default_factory=dict)
    shown_low: Mapping[str, float] = field(default_factory=dict)

    def sure_uptake(self, parameter: str) -> SureUptake:
        """What is surely used up of a parameter a day, by the more careful of the two.

        What nobody stated counts as nothing, as it does in a check and at the gate.
        """
        stated = self.tank.uptake.get(parameter)
        if stated is None:
            return SureUptake(per_day=0.0, by="no uptake, for none is stated")
        low = stated.low * level_per_pico(self.tank, parameter)
        shown = self.shown_low.get(parameter)
        if shown is not None and shown < low:
            return SureUptake(per_day=shown, by=BY_TESTS, is_shown=True)
        return SureUptake(per_day=low, by="the lower bound that the file states")

    def of(self, parameter: str) -> tuple[Knob, ...]:
        """The knobs of a parameter in order of pump; empty when nothing moves it."""
        return tuple(k for k in self.by_pump.values() if k.parameter == parameter)

    def shares(self, parameter: str) -> Mapping[str, float]:
        """The part of a parameter each of its pumps brings, summing to 1."""
        knobs = self.of(parameter)
        brings = {k.pump.id: k.now_ul * k.per_ul[parameter] for k in knobs}
        total = sum(brings.values())
        if total > 0:
            return {pump: amount / total for pump, amount in brings.items()}
        return {k.pump.id: float(k is knobs[0]) for k in knobs}

    def still_brings(
        self, parameter: str, decided: Collection[str], today: date
    ) -> float:
        """What pumps of other parameters bring of it a day, canonical, as they are.

        Those that are `decided` count elsewhere, by what was decided.
        """
        return sum(
            lasting_ul(knob, today) * knob.per_ul.get(parameter, 0.0)
            for pump, knob in self.by_pump.items()
            if knob.parameter != parameter and pump not in decided
        )

    def idle(self) -> "Knobs":
        """The same before their plan is in force."""
        by_pump = {name: replace(one, runs=False) for name, one in self.by_pump.items()}
        return replace(self, by_pump=by_pump)

    def outside(self, parameter: str) -> float:
        """What sources outside the daemon bring a day, canonical."""
        pico = sum(
            source.per_day
            for source in self.machine.outside
            if (source.tank, source.parameter) == (self.tank.id, parameter)
        )
        return pico * level_per_pico(self.tank, parameter)


def level_per_pico(tank: Tank, parameter: str) -> float:
    """What one pico-unit does to the level of a tank, canonical."""
    litres = Fraction(tank.net_ul, UL_PER_LITRE)
    return float(1 / (litres * PARAMETERS[parameter].pico_per_unit))


def knobs_of(
    machine: Machine,
    tank: str,
    plan: Plan | None,
    today: date,
    most_ul: Mapping[str, int],
) -> Knobs:
    """Every pump of a tank that has effects, in order of its id."""
    found = {}
    for name, pump in sorted(machine.pumps.items()):
        solution = machine.solutions[pump.solution]
        if pump.tank == tank and solution.effects:
            found[name] = _knob(machine.tanks[tank], pump, solution, plan, today)
    return Knobs(
        tank=machine.tanks[tank], machine=machine, by_pump=found, most_ul=most_ul
    )


def per_day_ul(line: PlanLine) -> float:
    """What a line gives a day, averaged over its cycle."""
    if line.weekdays:
        return line.per_day_ul * len(line.weekdays) / len(_WEEK)
    return line.per_day_ul / line.every_days


def goes_on(line: PlanLine, today: date) -> bool:
    """Whether a line still has a day to run."""
    return line.last_day is None or line.last_day >= today


def runs_on(line: PlanLine, day: date) -> bool:
    """Whether a day lies between the first and the last of a line."""
    begun = line.first_day is None or line.first_day <= day
    return begun and goes_on(line, day)


def _knob(
    tank: Tank, pump: Pump, solution: Solution, plan: Plan | None, today: date
) -> Knob:
    lines = tuple(
        line
        for line in (plan.lines if plan else ())
        if line.pump == pump.id and goes_on(line, today)
    )
    maintained = [line for line in lines if line.purpose == "maintenance"]
    parameter = chief_effect(solution)
    return Knob(
        pump=pump,
        solution=solution,
        parameter=parameter,
        per_ul={
            name: amount * level_per_pico(tank, name)
            for name, amount in sorted(solution.effects.items())
        },
        now_ul=sum(map(per_day_ul, _standing(maintained, today))),
        lines=lines,
        target=tank.targets.get(parameter),
    )


def _standing(lines: list[PlanLine], today: date) -> list[PlanLine]:
    """The lines of today; with none of today, those of the last day before a gap.

    Steps of an earlier proposal lie behind one another: the ones that run now count.
    """
    now = [line for line in lines if runs_on(line, today)]
    if now or not lines:
        return now
    first = min(line.first_day or today for line in lines)
    return [line for line in lines if runs_on(line, first)]


def lasting_ul(knob: Knob, today: date) -> float:
    """The maintenance a day when every step of the present plan has come."""
    far = today + timedelta(days=3650)
    kept = [line for line in knob.lines if line.purpose == "maintenance"]
    return sum(per_day_ul(line) for line in kept if runs_on(line, far))
