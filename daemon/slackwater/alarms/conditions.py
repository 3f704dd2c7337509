"""What is wrong at a moment, before anybody asks whether to tell it.

Floor 4. One subject: the shape of a finding. Laws here: a condition is a fact of this
moment; whether it is told, and how pressing it is, is decided elsewhere.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from slackwater.facts.alarms import Cause, Priority, alarm_id
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Figure
from slackwater.facts.tank import Pump
from slackwater.gate.moment import Ask, LineRule, Moment

# What concerns the machine as a whole.
EVERYTHING = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One thing that is wrong now.

    `stops` are the lines, `TANK/LINE`, that do not dose because of it; `share` is the
    part of the plan that the tanks still get where doses are only shortened. `least`
    raises its priority above that of its row. It is told again whenever `step`, in
    percent of what there is of it, has grown.
    """

    cause: Cause
    about: str
    tanks: tuple[str, ...] = ()
    stops: frozenset[str] = frozenset()
    share: float = 1.0
    least: Priority = "note"
    step: int = 0
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """The name of its alarm."""
        return alarm_id(self.cause, self.about)

    @property
    def lets_fall(self) -> bool:
        """Whether a tank gets less than planned because of it."""
        return bool(self.stops) or self.share < 1.0


def of_all(moment: Moment, cause: Cause, **figures: Figure) -> Condition:
    """Something that stops every line of the plan."""
    return of_lines(moment, (cause, EVERYTHING), moment.rules.lines, **figures)


def of_pumps(
    moment: Moment,
    what: tuple[Cause, str],
    pumps: Iterable[Pump],
    **figures: Figure,
) -> Condition:
    """Something that stops these pumps."""
    stopped = list(pumps)
    names = {pump.id for pump in stopped}
    lines = [
        name for name, rule in moment.rules.lines.items() if rule.line.pump in names
    ]
    found = of_lines(moment, what, lines, **figures)
    tanks = {*found.tanks, *(pump.tank for pump in stopped)}
    return replace(found, tanks=tuple(sorted(tanks)))


def of_lines(
    moment: Moment,
    what: tuple[Cause, str],
    lines: Iterable[str],
    **figures: Figure,
) -> Condition:
    """Something that stops these lines, and those that only dose together with them."""
    cause, about = what
    rules = moment.rules.lines
    stopped = {mate for name in lines for mate in (name, *rules[name].mates)}
    tanks = {rules[name].line.tank for name in stopped if name in rules}
    return Condition(
        cause=cause,
        about=about,
        tanks=tuple(sorted(tanks)) or _named(moment, about),
        stops=frozenset(stopped),
        figures=figures,
    )


def _named(moment: Moment, about: str) -> tuple[str, ...]:
    """The tanks of something that stops no line."""
    tanks = sorted(moment.machine.tanks)
    return tuple(name for name in tanks if about in (EVERYTHING, name))


def used_pumps(moment: Moment) -> list[Pump]:
    """The pumps that the plan in force doses with, in order of name."""
    names = {rule.line.pump for rule in moment.rules.lines.values()}
    machine = moment.machine
    return [machine.pumps[name] for name in sorted(names) if name in machine.pumps]


def ask_of(moment: Moment, rule: LineRule) -> Ask | None:
    """A dose of a line as if it were due at this moment; None without its pump."""
    line, pump = rule.line, moment.rules.pumps.get(rule.line.pump)
    tank = moment.machine.tanks.get(line.tank)
    if pump is None or tank is None:
        return None
    utc = moment.now.utc
    dose = DueDose(
        id=f"{line.tank}/{line.id}",
        line=line.id,
        tank=line.tank,
        pump=line.pump,
        local_day=utc.astimezone(ZoneInfo(tank.zone)).date(),
        ordinal=1,
        due_at=utc,
        latest_at=utc,
        volume_ul=dose_ul(rule),
    )
    return Ask(dose=dose, kind="plan", pump=pump, line=rule)


def dose_ul(rule: LineRule) -> int:
    """The volume of one dose of a line."""
    line = rule.line
    return line.per_day_ul // max(line.count, len(line.times_minute), 1)
