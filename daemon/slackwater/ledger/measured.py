"""Tests of the water as the ledger holds them, with what became of each.

Floor 6. One subject: measurements and their later fate. Laws here: what was superseded
or struck stays readable and says so; nothing else about a test is judged here.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from slackwater.facts.waters import MeasurementKept, MeasurementStruck
from slackwater.ledger.by_time import told
from slackwater.ledger.store import LedgerFile

Mark = Literal["", "superseded", "struck"]
# A clock that was set back lets an entry seem to be older than what it tells of.
SLACK = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marked:
    """A measurement; `by` names the entry that took its place or the person, `why`."""

    kept: MeasurementKept
    mark: Mark = ""
    by: str = ""
    why: str = ""


def all_measured(
    ledger: LedgerFile, tank: str, since: datetime, until: datetime
) -> list[Marked]:
    """Every measurement taken within a stretch of time, by its own time.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    begin = since - SLACK
    found = list(told(ledger, MeasurementKept, begin, tank=tank))
    better = {kept.supersedes: kept.id for kept in found if kept.supersedes}
    gone = struck_since(ledger, begin)
    within = (kept for kept in found if since <= kept.taken_at <= until)
    marked = (_marked(kept, better, gone) for kept in within)
    return sorted(marked, key=lambda one: (one.kept.taken_at, one.kept.id))


def struck_since(ledger: LedgerFile, since: datetime) -> dict[str, MeasurementStruck]:
    """What was struck, by the id of the entry that should not be there.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    return {
        event.measurement: event for event in told(ledger, MeasurementStruck, since)
    }


def standing(found: list[Marked]) -> Iterator[MeasurementKept]:
    """Those that nobody superseded or struck."""
    return (one.kept for one in found if not one.mark)


def _marked(
    kept: MeasurementKept, better: dict[str, str], gone: dict[str, MeasurementStruck]
) -> Marked:
    if kept.id in gone:
        strike = gone[kept.id]
        return Marked(kept=kept, mark="struck", by=strike.by, why=strike.why)
    if kept.id in better:
        return Marked(kept=kept, mark="superseded", by=better[kept.id])
    return Marked(kept=kept)
