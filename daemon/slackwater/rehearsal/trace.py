"""Why each dose of the most loaded day would be allowed, figure by figure.

Floor 6. One subject: the trace of decisions. Laws here: the figures are those of the
state on which the turn decided, before the dose itself was charged; the day is
rehearsed once more with a day before it, so that every 24 h are full.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from operator import attrgetter

from slackwater.facts.events import AnyEvent, DoseIntended, DoseMissed
from slackwater.facts.plan import Plan
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.rehearsal.record import RehearsedDose
from slackwater.rehearsal.rehearsal import rehearse

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """One decision: what was asked, what counted against the caps before it.

    `beat_age_s` is that of the node's last beat, `reading_age_s` that of the newest
    reading of the tank, None without a probe; 0 µL asked of the node means missed.
    """

    at: datetime
    dose: str
    pump: str
    volume_ul: int
    charged_24_h_ul: int
    charged_day_ul: int
    cap_day_ul: int
    beat_age_s: float
    budget_ul: int
    reading_age_s: float | None
    reasons: tuple[Code, ...] = ()


def most_loaded(doses: Sequence[RehearsedDose]) -> date | None:
    """The first of the days on which most is given; None without a dose."""
    sums = Counter[date]()
    for each in doses:
        sums[each.dose.local_day] += each.volume_ul
    if not sums:
        return None
    most_ul = max(sums.values())
    return min(day for day, volume_ul in sums.items() if volume_ul == most_ul)


def trace(machine: Machine, plan: Plan, day: date) -> tuple[Traced, ...]:
    """Every decision on the doses of one local day, in order of time."""
    found: list[Traced] = []

    def watch(event: AnyEvent, state: State, sight: Sight) -> None:
        if not isinstance(event, (DoseIntended, DoseMissed)):
            return
        if event.dose.local_day == day:
            found.append(_traced(machine, event, state, sight))

    rehearse(machine, plan, day - ONE_DAY, 2, watch)
    # Parts of a machine come one after the other; what is at once stays so.
    return tuple(sorted(found, key=attrgetter("at")))


def _traced(
    machine: Machine, event: DoseIntended | DoseMissed, state: State, sight: Sight
) -> Traced:
    pump = machine.pumps[event.dose.pump]
    key = f"pump/{pump.id}"
    charged, days = state.charges.get(key), state.days.get(key, {})
    beat = sight.nodes[pump.node].beat
    newest = max(
        (
            series[-1].at
            for series in sight.readings.values()
            if series and series[-1].tank == pump.tank
        ),
        default=None,
    )
    day, volume_ul = event.dose.local_day, 0
    if isinstance(event, DoseIntended):
        day, volume_ul = event.local_day, event.command.ul
    return Traced(
        at=event.at,
        dose=event.dose.id,
        pump=pump.id,
        volume_ul=volume_ul,
        charged_24_h_ul=charged.since(event.proven_ms - DAY_MS) if charged else 0,
        charged_day_ul=days.get(day, 0),
        cap_day_ul=pump.per_day_ul,
        beat_age_s=round(event.boot_s - beat.heard_boot_s, 1),
        budget_ul=beat.channels[pump.channel].budget_ul,
        reading_age_s=None
        if newest is None
        else round((event.at - newest).total_seconds(), 1),
        reasons=tuple(reason.code for reason in event.reasons),
    )
