"""What doses add up to, over a local day and over any stretch of hours.

Floor 3. One subject: sums of doses. Laws here: whole numbers; a stretch of hours ends
at a dose that begins on time and holds every earlier dose that may have begun inside
it, as late as it may; a dose counts until it is exactly as old as the stretch is
long.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from operator import attrgetter
from typing import NamedTuple

from slackwater.facts.plan import DueDose
from slackwater.planning.days import CONTEXT_DAYS, ONE_DAY
from slackwater.planning.timetable import Timetable

HOUR = timedelta(hours=1)
DAY_HOURS = timedelta(hours=24)
# A node counts whole hours, the running one and the 24 before it.
NODE_HOURS = timedelta(hours=25)

ByPump = Mapping[str, Sequence[DueDose]]
# What one microlitre of each pump counts.
Weights = Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """The doses of one local day and, in `before`, of the two days before it."""

    local_day: date
    today: ByPump
    before: ByPump


class Sum(NamedTuple):
    """What a dose brings a sum to, that dose included; a check makes many thousands."""

    dose: DueDose
    total: int


def stretches(timetable: Timetable, tank: str) -> Iterator[Stretch]:
    """The checked days of a tank, each with what comes before it."""
    for local_day in timetable.checked_days(tank):
        earlier = (
            dose
            for back in range(CONTEXT_DAYS, 0, -1)
            for dose in timetable.day(tank, local_day - back * ONE_DAY).doses
        )
        yield Stretch(
            local_day=local_day,
            today=_by_pump(timetable.day(tank, local_day).doses),
            before=_by_pump(earlier),
        )


def single_sums(stretch: Stretch, weights: Weights) -> Iterator[Sum]:
    """Each dose of the day by itself, in order of time."""
    for dose in _of(stretch.today, weights):
        yield Sum(dose, dose.volume_ul * weights[dose.pump])


def day_sums(stretch: Stretch, weights: Weights) -> Iterator[Sum]:
    """The sum of the local day at each of its doses."""
    total = 0
    for dose in _of(stretch.today, weights):
        total += dose.volume_ul * weights[dose.pump]
        yield Sum(dose, total)


def rolling_sums(
    stretch: Stretch, weights: Weights, window: timedelta
) -> Iterator[Sum]:
    """The sum of the hours before each dose of the day, the dose included."""
    doses = [*_of(stretch.before, weights), *_of(stretch.today, weights)]
    leaving = sorted(doses, key=attrgetter("latest_at"))
    gone = total = 0
    for dose in doses:
        total += dose.volume_ul * weights[dose.pump]
        begins = dose.due_at - window
        while leaving[gone].latest_at <= begins:
            total -= leaving[gone].volume_ul * weights[leaving[gone].pump]
            gone += 1
        if dose.local_day == stretch.local_day:
            yield Sum(dose, total)


def _by_pump(doses: Iterable[DueDose]) -> dict[str, list[DueDose]]:
    found = defaultdict(list)
    for dose in doses:
        found[dose.pump].append(dose)
    return dict(found)


def _of(doses: ByPump, weights: Weights) -> Sequence[DueDose]:
    """The doses of some pumps in order of time."""
    parts = [doses[pump] for pump in sorted(weights) if pump in doses]
    if len(parts) == 1:
        return parts[0]
    found = [dose for part in parts for dose in part]
    return sorted(found, key=attrgetter("due_at"))
