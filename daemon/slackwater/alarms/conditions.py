"""What is wrong at a moment, before anybody asks whether to tell it.

Floor 4. One subject: the shape of a finding. Laws here: a condition is a fact of this
moment; whether it is told, and how pressing it is, is decided elsewhere.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from slackwater.facts.alarms import Cause, Priority, alarm_id
from slackwater.facts.reasons import Figure
from slackwater.facts.tank import Pump
from slackwater.gate.moment import Moment

# What concerns the machine as a whole.
EVERYTHING = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One thing that is wrong now.

    `stops` are the pumps that do not dose because of it; `share` is the part of the
    plan that the tanks still get where doses are only shortened. `least` raises its
    priority above that of its row.
    """

    cause: Cause
    about: str
    tanks: tuple[str, ...] = ()
    stops: frozenset[str] = frozenset()
    share: float = 1.0
    least: Priority = "note"
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
    """Something that stops every pump of the plan."""
    return of_pumps(moment, (cause, EVERYTHING), used_pumps(moment), **figures)


def of_pumps(
    moment: Moment,
    what: tuple[Cause, str],
    pumps: Iterable[Pump],
    **figures: Figure,
) -> Condition:
    """Something that stops these pumps, and those that only dose together with them."""
    stopped = frozenset(pump.id for pump in pumps)
    cause, about = what
    tanks = {moment.machine.pumps[name].tank for name in stopped}
    return Condition(
        cause=cause,
        about=about,
        tanks=tuple(sorted(tanks)) or _named(moment, about),
        stops=stopped | _mates(moment, stopped),
        figures=figures,
    )


def _named(moment: Moment, about: str) -> tuple[str, ...]:
    """The tanks of something that stops no pump."""
    tanks = sorted(moment.machine.tanks)
    return tuple(name for name in tanks if about in (EVERYTHING, name))


def used_pumps(moment: Moment) -> list[Pump]:
    """The pumps that the plan in force doses with, in order of name."""
    names = {rule.line.pump for rule in moment.rules.lines.values()}
    machine = moment.machine
    return [machine.pumps[name] for name in sorted(names) if name in machine.pumps]


def _mates(moment: Moment, stopped: frozenset[str]) -> set[str]:
    lines = moment.rules.lines
    return {
        lines[mate].line.pump
        for rule in lines.values()
        if rule.line.pump in stopped
        for mate in rule.mates
    }
