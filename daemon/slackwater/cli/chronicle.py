"""What happened in a stretch of time: doses, tests, and what people and guards did.

Floor 8. One subject: gathering entries for pages that look back. Laws here: nothing is
written; doses of a shadow run are told apart from real ones and never added to them; an
entry that names no tank concerns all.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from slackwater.cli.acts import TOLD
from slackwater.cli.shots_told import undone
from slackwater.facts.events import AnyEvent, SpanMissed
from slackwater.facts.tank import Machine
from slackwater.ledger.lives import Life, live_through
from slackwater.ledger.measured import Marked, all_measured
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, doses, entries
from slackwater.service.memory import SHADOW_NAME
from slackwater.water.show import order_of

GIVEN = frozenset({"intended", "handed", "refused", "taken", "sealed", "ended"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """From when until when, and of which tanks."""

    since: datetime
    until: datetime
    tanks: tuple[str, ...]


@dataclass(slots=True, kw_only=True)
class Pumped:
    """What one pump gave; `unknown` doses are counted as dosed, `reasons` of missed."""

    tank: str
    pump: str
    imagined: bool
    doses: int = 0
    believed_ul: int = 0
    charge_ul: int = 0
    unknown: int = 0
    missed: int = 0
    aside_ul: int = 0
    reasons: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chronicle:
    """Everything a page that looks back tells; each in the order of its time.

    `gone` says of acts by their id what became of them since, also after the stretch.
    """

    stretch: Stretch
    pumped: tuple[Pumped, ...]
    spans: tuple[SpanMissed, ...]
    tests: tuple[Marked, ...]
    acts: tuple[AnyEvent, ...]
    gone: Mapping[str, str]


def chronicle(
    ledger: LedgerFile, state_dir: Path, stretch: Stretch, machine: Machine | None
) -> Chronicle:
    """Gather it from the live ledger, and the shadow run's beside it.

    Raises: the ledger errors.
    """
    wanted = Wanted(kinds=TOLD, since=stretch.since, until=stretch.until)
    owners = _owners(machine)
    acts = [
        entry.event
        for entry in entries(ledger, wanted)
        if _concerns(entry.event, stretch.tanks, owners)
    ]
    tests = [
        one
        for tank in stretch.tanks
        for one in all_measured(ledger, tank, stretch.since, stretch.until)
    ]
    return Chronicle(
        stretch=stretch,
        pumped=tuple(_pumped(ledger, state_dir, stretch)),
        spans=tuple(_spans(ledger, stretch)),
        tests=tuple(sorted(tests, key=_taken)),
        acts=tuple(acts),
        gone=undone(ledger, stretch.since),
    )


def _taken(one: Marked) -> tuple[datetime, int, str]:
    # The values of a report have one time, and their ids are chance.
    return one.kept.taken_at, order_of(one.kept.parameter), one.kept.id


def _pumped(ledger: LedgerFile, state_dir: Path, stretch: Stretch) -> Iterator[Pumped]:
    yield from _by_pump(_lives(ledger, stretch), stretch, imagined=False)
    path = state_dir / SHADOW_NAME
    if path.exists():
        with closing(LedgerFile.open(path, "shadow", writable=False)) as aside:
            yield from _by_pump(_lives(aside, stretch), stretch, imagined=True)


def _lives(ledger: LedgerFile, stretch: Stretch) -> Iterator[Life]:
    """What was given in the stretch, and missed of what fell due in it.

    After a gap what was missed in days of it is written down in one moment.
    """
    wanted = Wanted(since=stretch.since, until=stretch.until)
    for life in doses(ledger, wanted):
        if life.word != "missed" or _is_in(life.due_at, stretch):
            yield life
    afterwards = Wanted(kinds=("dose_missed",), since=stretch.until)
    for life in live_through(entries(ledger, afterwards)):
        if _is_in(life.due_at, stretch):
            yield life


def _is_in(due_at: datetime | None, stretch: Stretch) -> bool:
    return due_at is not None and stretch.since <= due_at < stretch.until


def _spans(ledger: LedgerFile, stretch: Stretch) -> Iterator[SpanMissed]:
    """Long absences that lie in the stretch, wholly or in part."""
    for entry in entries(ledger, Wanted(kinds=("span_missed",), since=stretch.since)):
        one = entry.event
        if not isinstance(one, SpanMissed) or one.tank not in stretch.tanks:
            continue
        if one.first_due < stretch.until and one.last_due >= stretch.since:
            yield one


def _by_pump(
    lives: Iterable[Life], stretch: Stretch, *, imagined: bool
) -> Iterator[Pumped]:
    found: dict[tuple[str, str], Pumped] = {}
    for life in lives:
        if life.tank in stretch.tanks and life.word != "held":
            made = Pumped(tank=life.tank, pump=life.pump, imagined=imagined)
            _count(found.setdefault((life.tank, life.pump), made), life)
    yield from (one for _, one in sorted(found.items()))


def _count(one: Pumped, life: Life) -> None:
    if life.word not in GIVEN:
        one.missed += 1
        one.reasons.update(life.reasons[-1:] or ("unknown",))
    elif not life.in_water:
        one.aside_ul += life.charge_ul
    else:
        one.doses += 1
        one.believed_ul += life.believed_ul
        one.charge_ul += life.charge_ul
        one.unknown += life.word != "ended"


def _owners(machine: Machine | None) -> Mapping[str, str]:
    """The tank of each pump, probe and line; what several share is of none."""
    if machine is None:
        return {}
    return {
        **{f"pump/{name}": pump.tank for name, pump in machine.pumps.items()},
        **{f"probe/{name}": probe.tank for name, probe in machine.probes.items()},
    }


def _concerns(event: AnyEvent, tanks: Iterable[str], owners: Mapping[str, str]) -> bool:
    tank = _tank_of(event, owners)
    return not tank or tank in tanks


def _tank_of(event: AnyEvent, owners: Mapping[str, str]) -> str:
    named = str(getattr(event, "tank", ""))
    if named:
        return named
    for word in ("pump", "probe"):
        owner = owners.get(f"{word}/{getattr(event, word, '')}", "")
        if owner:
            return owner
    told: tuple[str, ...] = getattr(event, "tanks", ())
    scope, _, name = str(getattr(event, "scope", "")).partition("/")
    if scope in ("tank", "alkalinity"):
        return name
    if scope == "pump":
        return owners.get(f"pump/{name}", "")
    return told[0] if len(told) == 1 else ""
