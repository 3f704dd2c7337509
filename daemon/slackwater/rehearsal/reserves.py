"""How long bottles last, how close doses come to each other, how long runs take.

Floor 6. One subject: what is left between the plan and its limits besides the caps.
Laws here: every figure comes from the doses of the rehearsal; beyond its last day a
bottle goes on as the plan draws from it day by day, and that is said.
Units: microlitres, seconds, milliseconds.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.planning.draws import drawn_ul, lasts_days
from slackwater.rehearsal.record import RehearsedDose, empty_days

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """One reservoir: what is in it, what is drawn a day, and the day it ends.

    `lasts_days` None where nothing is drawn for good, between `low_days` and
    `high_days` where whoever knows the books says so; `within` says that it ends inside
    the rehearsal and not beyond it. `short_ul` is what lacks on the day of the next
    visit, the visit's own day included; 0 where it lasts or none is named.
    """

    id: str
    content_ul: int
    per_day_ul: int
    lasts_days: float | None
    empty_on: date | None
    within: bool
    short_ul: int = 0
    low_days: float | None = None
    high_days: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """The smallest pause between two pumps whose solutions must not meet."""

    pump: str
    other: str
    gap_s: float
    least_s: float
    dose: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LongestRun:
    """The longest run of a pump beside the time at which its node cuts it."""

    pump: str
    run_ms: int
    cut_ms: int
    dose: str


def bottles(
    machine: Machine,
    plan: Plan,
    doses: Sequence[RehearsedDose],
    days: tuple[date, date],
    visit: date | None = None,
) -> tuple[Bottle, ...]:
    """Every reservoir, the one that ends first in front."""
    rehearsed_ul = dict.fromkeys(machine.reservoirs, 0)
    until_visit_ul = dict.fromkeys(machine.reservoirs, 0)
    for each in doses:
        bottle = machine.pumps[each.dose.pump].reservoir
        rehearsed_ul[bottle] += each.volume_ul
        if visit is not None and each.dose.local_day <= visit:
            until_visit_ul[bottle] += each.volume_ul
    length = (days[1] - days[0]).days + 1
    known = empty_days(machine, doses)
    found = []
    for name, reservoir in sorted(machine.reservoirs.items()):
        pumps = {one.id for one in machine.pumps.values() if one.reservoir == name}
        lasts = lasts_days(plan, pumps, reservoir.content_ul, days[0])
        needed_ul = until_visit_ul[name]
        if visit is not None:
            needed_ul += drawn_ul(plan, pumps, (days[1] + ONE_DAY, visit))
        found.append(
            Bottle(
                id=name,
                content_ul=reservoir.content_ul,
                per_day_ul=round(Fraction(rehearsed_ul[name], length)),
                lasts_days=None if lasts is None else round(lasts, 2),
                empty_on=known[name] or _beyond(days[0], lasts),
                within=known[name] is not None,
                short_ul=max(needed_ul - reservoir.content_ul, 0),
            )
        )
    return tuple(sorted(found, key=_soonest))


def _beyond(first: date, lasts: float | None) -> date | None:
    """The day on which the plan ends a bottle; None for one that outlives us."""
    if lasts is None or lasts > LONGEST_DAYS:
        return None
    return first + int(lasts) * ONE_DAY


# Beyond this a bottle lasts; dates further away say nothing.
LONGEST_DAYS = 36_500


def _soonest(bottle: Bottle) -> tuple[bool, float, str]:
    lasts = bottle.lasts_days
    return lasts is None, lasts or 0.0, bottle.id


def closest_gaps(
    gaps_s: Mapping[tuple[str, str], float], doses: Iterable[RehearsedDose]
) -> tuple[Gap, ...]:
    """For each pair of pumps kept apart the smallest pause, smallest share first.

    Shape: `gaps_s` maps (pump, other) to the pause that is asked for.
    """
    ended: dict[str, float] = {}
    least: dict[tuple[str, str], Gap] = {}
    others: dict[str, list[str]] = {}
    for pump, other in gaps_s:
        others.setdefault(pump, []).append(other)
    for each in sorted(doses, key=_begun):
        if each.begun_at is None:
            continue
        pump, begun_s = each.dose.pump, each.begun_at.timestamp()
        for other in others.get(pump, ()):
            if other in ended:
                gap_s = begun_s - ended[other]
                known = least.get((pump, other))
                if known is None or gap_s < known.gap_s:
                    least[pump, other] = Gap(
                        pump=pump,
                        other=other,
                        gap_s=round(gap_s, 1),
                        least_s=gaps_s[pump, other],
                        dose=each.dose.id,
                    )
        ended[pump] = begun_s + each.run_ms / 1000
    return tuple(sorted(least.values(), key=lambda gap: gap.gap_s / gap.least_s))


def _begun(each: RehearsedDose) -> tuple[float, str]:
    begun = each.begun_at or each.dose.due_at
    return begun.timestamp(), each.dose.id


def longest_runs(
    machine: Machine, doses: Iterable[RehearsedDose]
) -> tuple[LongestRun, ...]:
    """The longest run of every pump that would dose, nearest its cut first."""
    longest: dict[str, RehearsedDose] = {}
    for each in doses:
        known = longest.get(each.dose.pump)
        if each.run_ms and (known is None or each.run_ms > known.run_ms):
            longest[each.dose.pump] = each
    return tuple(
        sorted(
            _runs(machine, longest),
            key=lambda run: (-run.run_ms / run.cut_ms, run.pump),
        )
    )


def _runs(
    machine: Machine, longest: Mapping[str, RehearsedDose]
) -> Iterator[LongestRun]:
    for pump, each in sorted(longest.items()):
        cut_ms = machine.nodes[machine.pumps[pump].node].cut_limit_ms
        yield LongestRun(
            pump=pump, run_ms=each.run_ms, cut_ms=cut_ms, dose=each.dose.id
        )
