"""A month of one tank: values, doses, changes, and by whom.

Floor 8. One subject: the figures of a month and their page. Laws here: a month is that
of the tank's wall clock; what was struck or corrected stands in the list and in no
figure; it ends with a line to sign, because people read it on paper.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from slackwater.cli.acts import is_usual, who
from slackwater.cli.amounts import effect_words
from slackwater.cli.chronicle import Chronicle
from slackwater.cli.leaf import Leaf, Part
from slackwater.cli.moments import OLDEST
from slackwater.cli.past_parts import (
    acts_part,
    doses_part,
    tests_part,
)
from slackwater.cli.render import local
from slackwater.errors import Finding, InputError
from slackwater.facts.alarms import AlarmRaised
from slackwater.facts.events import AnyEvent, HoldRaised
from slackwater.facts.history import ProbeDay
from slackwater.facts.tank import Machine, Tank
from slackwater.facts.waters import MeasurementKept
from slackwater.planning.wall import EPOCH, reached_s, zone_named
from slackwater.water.show import order_of, show_level
from slackwater.water.statistics import median

_MONTHS_A_YEAR = 12
_FORM = re.compile(r"[0-9]{4}-[0-9]{2}")
# Nobody of these holds a pen.
_NO_PERSON = frozenset({"", "daemon", "request"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """A month on a wall clock, from its first instant to the next one's."""

    text: str
    begins: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What a page is made of; `machine` None where nothing describes the tank."""

    tank: str
    zone: str
    month: Month
    now: datetime
    found: Chronicle
    probe_days: Sequence[ProbeDay]
    machine: Machine | None = None

    @property
    def described(self) -> Tank | None:
        """The tank itself."""
        return None if self.machine is None else self.machine.tanks.get(self.tank)


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """What was measured of one parameter; canonical levels, in the order of time.

    `below` names those of the figures that are limits: nothing was seen above them.
    """

    parameter: str
    source: str
    count: int
    first: float
    last: float
    middle: float
    lowest: float
    highest: float
    below: tuple[str, ...] = ()


def month_of(text: str | None, zone: str, now: datetime) -> Month:
    """The month that is named "2026-05", or the one that it is now.

    Range: from the year 2000 on, before which nobody kept a ledger.
    Raises: InputError for anything else, or for one that has not begun.
    """
    if text is None:
        today = now.astimezone(zone_named(zone)).date()
        first = today.replace(day=1)
    else:
        first = _first_day(text)
    if first < OLDEST.date():
        raise InputError(_no_month(str(text), f"is before the year {OLDEST.year}"))
    begins = _begins(first, zone)
    if begins > now:
        raise InputError(_no_month(str(text), "has not begun"))
    # Only then: behind the last month there is no day.
    ends = _begins(_next(first), zone)
    return Month(text=f"{first:%Y-%m}", begins=begins, ends=ends)


def _first_day(text: str) -> date:
    try:
        return date.fromisoformat(f"{text}-01" if _FORM.fullmatch(text) else "")
    except ValueError as error:
        raise InputError(_no_month(text, "is no month")) from error


def _next(first: date) -> date:
    if first.month == _MONTHS_A_YEAR:
        return first.replace(year=first.year + 1, month=1)
    return first.replace(month=first.month + 1)


def _begins(day: date, zone: str) -> datetime:
    return (EPOCH + timedelta(seconds=reached_s(zone_named(zone), day, 0))).astimezone(
        UTC
    )


def values_of(past: Past) -> list[Values]:
    """Own tests, laboratories and each probe apart, in the order of the table."""
    tested: dict[tuple[str, str], list[MeasurementKept]] = {}
    for one in past.found.tests:
        if not one.mark:
            key = one.kept.parameter, one.kept.provenance
            tested.setdefault(key, []).append(one.kept)
    probed: dict[tuple[str, str], list[ProbeDay]] = {}
    for day in past.probe_days:
        probed.setdefault((day.parameter, day.probe), []).append(day)
    found = [_of_tests(key, kept_ones) for key, kept_ones in tested.items()]
    found += [_of_days(key, days) for key, days in probed.items()]
    return sorted(found, key=lambda one: (order_of(one.parameter), one.source))


def _of_tests(key: tuple[str, str], tests: Sequence[MeasurementKept]) -> Values:
    # Of one figure, the limit lies below what was seen.
    by_level = sorted(tests, key=lambda one: (one.value, not one.censored))
    figures = {
        "first": tests[0],
        "last": tests[-1],
        "lowest": by_level[0],
        "highest": by_level[-1],
    }
    return Values(
        parameter=key[0],
        source=key[1],
        count=len(tests),
        middle=median([one.value for one in tests]),
        below=tuple(name for name, one in figures.items() if one.censored),
        **{name: one.value for name, one in figures.items()},
    )


def _of_days(key: tuple[str, str], days: Sequence[ProbeDay]) -> Values:
    return Values(
        parameter=key[0],
        source=key[1],
        count=sum(day.count for day in days),
        first=days[0].median,
        last=days[-1].median,
        middle=median([day.median for day in days]),
        lowest=min(day.lowest for day in days),
        highest=max(day.highest for day in days),
    )


def month_leaf(past: Past) -> Leaf:
    """The page of the month."""
    tank = past.described
    name = past.tank if tank is None else f"{tank.name} ({past.tank})"
    mine, machines = apart(past.found.acts)
    return Leaf(
        title=f"{name}, {past.month.text}",
        lead=(_extent(past),),
        parts=(
            _values_part(past),
            doses_part(past.found),
            _added_part(past),
            acts_part("Changes, and by whom", mine, past.found, past.zone),
            _guards_part(machines),
            tests_part(past.found, past.zone),
            Part(
                heading="Read and agreed",
                lines=("Name ____________________  Date ____________________",),
            ),
        ),
    )


def _extent(past: Past) -> str:
    begins, ends, made = (
        local(at, past.zone)
        for at in (past.month.begins, min(past.now, past.month.ends), past.now)
    )
    return f"From {begins} to {ends}, made {made}."


def _values_part(past: Past) -> Part:
    tank = past.described
    targets: Mapping[str, float] = {} if tank is None else tank.targets
    return Part(
        heading="Values",
        heads=(
            *("parameter", "unit", "from", ">n"),
            *(">first", ">last", ">low", ">high", ">target"),
        ),
        rows=tuple(
            (
                one.parameter,
                show_level(one.parameter, one.last).partition(" ")[2],
                one.source,
                str(one.count),
                _figure(one, "first", one.first),
                _figure(one, "last", one.last),
                _figure(one, "lowest", one.lowest),
                _figure(one, "highest", one.highest),
                _number(one.parameter, targets[one.parameter])
                if one.parameter in targets
                else "-",
            )
            for one in values_of(past)
        ),
        nothing="Nothing was measured.",
    )


def _figure(values: Values, name: str, level: float) -> str:
    """A figure; one that is a limit has its sign."""
    sign = "<" if name in values.below else ""
    return sign + _number(values.parameter, level)


def _number(parameter: str, level: float) -> str:
    return show_level(parameter, level).partition(" ")[0]


def added(past: Past) -> dict[str, int]:
    """What pumps are believed to have added to the water, pico-units by parameter.

    By today's strength of each solution; imagined doses add nothing.
    """
    machine = past.machine
    sums: Counter[str] = Counter()
    if machine is None:
        return {}
    for one in past.found.pumped:
        pump = machine.pumps.get(one.pump)
        if pump is None or one.imagined:
            continue
        for name, per_ul in machine.solutions[pump.solution].effects.items():
            sums[name] += per_ul * one.believed_ul
    return dict(sorted(sums.items()))


def _added_part(past: Past) -> Part:
    tank, sums = past.described, added(past)
    if tank is None or not sums:
        return Part(heading="Added by the pumps")
    return Part(
        heading="Added by the pumps",
        heads=("parameter", ">in all"),
        rows=tuple(
            (name, effect_words(name, amount, tank)) for name, amount in sums.items()
        ),
        lines=("By the strength that each solution is stated to have now.",),
    )


def apart(acts: Iterable[AnyEvent]) -> tuple[list[AnyEvent], list[AnyEvent]]:
    """What people did, and what guards and the daemon did; not the daily round."""
    told = [one for one in acts if not is_usual(one)]
    people = [one for one in told if who(one) not in _NO_PERSON]
    return people, [one for one in told if who(one) in _NO_PERSON]


def _guards_part(acts: Sequence[AnyEvent]) -> Part:
    holds = Counter(one.reason.text for one in acts if isinstance(one, HoldRaised))
    alarms = Counter(one.alarm for one in acts if isinstance(one, AlarmRaised))
    rows = [("hold", str(n), text) for text, n in sorted(holds.items())]
    rows += [("alarm", str(n), name) for name, n in sorted(alarms.items())]
    return Part(
        heading="Holds and alarms of the daemon",
        heads=("kind", ">times", "what"),
        rows=tuple(rows),
        nothing="None.",
    )


def _no_month(text: str, why: str) -> Finding:
    return Finding(
        what=f'"{text[:20]}" {why}',
        where="report",
        expected="a month like 2026-05 that has begun",
        do="Give the year and the month with a dash between.",
    )
