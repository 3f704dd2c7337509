"""What a water change will do, in lines for people.

Floor 8. One subject: an entry of a change and the levels before it, as text. Laws here:
only what is known in both waters is foretold, and what is not is named; an old test is
called so; a level that will stop doses is told before the water is poured.
Units: levels canonical.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.cli.render import local, span, table
from slackwater.cli.standards import difference_words
from slackwater.cli.subject import Known, Subject
from slackwater.facts.waters import WaterChanged
from slackwater.gate.moment import ALKALINITY
from slackwater.water.show import show_level, show_volume

# An older level is still shown with its age; it may be anything by now.
OLD = timedelta(days=14)
# Of a report's forty values nobody reads more; what moves animals comes first.
NAMED_AT_MOST = 6
_FIRST = ("alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "salinity")


@dataclass(slots=True, kw_only=True)
class Foretold:
    """What a decision found out beside its entry; `known` by parameter."""

    subject: Subject
    known: Mapping[str, Known]
    now: datetime


def change_lines(change: WaterChanged, told: Foretold) -> Iterator[str]:
    """What was written down, how far each level moves, and what nobody foretells."""
    machine, tank = told.subject.described
    word = "Announced" if change.changed_at > told.now else "Written down"
    share = change.volume_ul / tank.net_ul
    yield (
        f"{word} for {tank.id}, {local(change.changed_at, tank.zone)}: "
        f"{show_volume(change.volume_ul)} of {show_volume(tank.net_ul)} "
        f"({share:.0%}), {change.id}."
    )
    if change.steps:
        heads = ("parameter", ">tank", "tested", ">new water", ">after", ">step")
        yield table(heads, _rows(change, told))
    yield from _unknown(change, told)
    rise = change.steps.get(ALKALINITY, 0.0)
    if rise > 0:
        yield "A climb of alkalinity by so much within 24 hours of it holds no doses."
    guard = machine.guards.get(tank.id)
    now = told.known.get(ALKALINITY)
    if guard and now and now.level + rise > guard.ceiling:
        yield (
            f"Afterwards alkalinity is above the ceiling of "
            f"{show_level(ALKALINITY, guard.ceiling)}: doses will be held."
        )


def _rows(change: WaterChanged, told: Foretold) -> Iterator[tuple[str, ...]]:
    for name, step in change.steps.items():
        one = told.known[name]
        sign = "-" if step < 0 else "+"
        yield (
            name,
            show_level(name, one.level),
            f"{span(told.now - one.at)} ago",
            show_level(name, change.levels[name]),
            show_level(name, one.level + step),
            f"{sign}{difference_words(name, abs(step))}",
        )


def _unknown(change: WaterChanged, told: Foretold) -> Iterator[str]:
    untested = [name for name in told.known if name not in change.levels]
    if untested:
        yield f"Not foretold, the new water was not tested: {_few(untested)}."
    unmet = [name for name in change.levels if name not in told.known]
    if unmet:
        yield f"Not foretold, no test of the tank before it: {', '.join(unmet)}."
    old = [name for name in change.steps if told.now - told.known[name].at > OLD]
    if old:
        yield f"Foretold from old tests, so look again: {', '.join(old)}."


def _few(names: Sequence[str]) -> str:
    """Names, those first that a change is made for, and how many more there are."""
    ordered = sorted(names, key=lambda name: (name not in _FIRST, name))
    more = len(ordered) - NAMED_AT_MOST
    shown = ", ".join(ordered[:NAMED_AT_MOST])
    return f"{shown} and {more} more" if more > 0 else shown
