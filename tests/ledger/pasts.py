"""Ledgers of an invented tank, and what their histories say."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseSealed,
    DoseVoided,
)
from slackwater.facts.history import History
from slackwater.facts.waters import (
    DaySummed,
)
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.summing import next_sums
from tests.ledger.samples import made
from tests.ledger.years import (
    DAY,
    DOSE_UL,
    FIRST_DAY,
    MINUTE,
    Household,
    attempt_of,
    begin_of,
    day_of,
    end_of,
    given,
    intent,
    read,
    stamped,
)

HOUR = timedelta(hours=1)
BEGIN = begin_of(FIRST_DAY)
END = BEGIN + 5 * DAY


@contextmanager
def ledger_of(folder: Path, *events: AnyEvent) -> Iterator[LedgerFile]:
    """A ledger made at the very beginning, with these entries in order of time."""
    first = replace(made(), **stamped(BEGIN), dosed_ul={}, effects={})
    with LedgerFile.create(folder / "live.ledger", first) as ledger:
        ledger.append(sorted(events, key=lambda event: event.at))
        yield ledger


def add_up(ledger: LedgerFile, now: datetime) -> list[DaySummed]:
    """Let the daily job run until there is nothing left to add up."""
    written: list[DaySummed] = []
    while sums := next_sums(ledger, ["reef"], stamped(now)):
        ledger.append(sums)
        written.extend(sums)
    return written


def past(ledger: LedgerFile, since: datetime = BEGIN, until: datetime = END) -> History:
    """The history of the invented tank."""
    return read_history(ledger, "reef", since, until)


def eventful() -> list[AnyEvent]:
    """Three days in which everything happens that can happen to a dose."""
    noon = BEGIN + 12 * HOUR
    late = BEGIN + 23 * HOUR + 59 * MINUTE
    events = [
        event
        for number in range(3)
        for event in day_of(Household(), FIRST_DAY + number * DAY)
    ]
    short, void, sealed, lost = (noon + n * MINUTE for n in (3, 9, 15, 21))
    events += [intent("carbonate", at) for at in (short, void, sealed, lost, late)]
    events += [
        end_of("carbonate", short, 333),
        DoseVoided(
            **stamped(void + MINUTE), attempt=attempt_of("carbonate", void), reasons=()
        ),
        DoseSealed(
            **stamped(sealed + MINUTE),
            attempt=attempt_of("carbonate", sealed),
            reasons=(),
        ),
        DoseEnded(
            **stamped(lost + MINUTE),
            attempt=attempt_of("carbonate", lost),
            how="lost",
            believed_ul=DOSE_UL,
            charge_ul=DOSE_UL,
            source="asked",
        ),
        # Begun before midnight, told of after it.
        replace(end_of("carbonate", late, 900), **stamped(late + 2 * MINUTE)),
        intent("carbonate", noon + 30 * MINUTE, in_water=False),
        end_of("carbonate", noon + 30 * MINUTE),
        *given("calcium", noon + 40 * MINUTE, tank="frag"),
        read("far", noon, 3.1, tank="frag"),
    ]
    return events
