"""The next UTC day to add up, once nothing more can be told of it.

Floor 6. One subject: when a day's sum may be kept. Laws here: days are added up in
order and each whole, for every tank at once, so that the last one says which are done;
a day with a run that may still be told of waits; never today.
"""

from collections.abc import Iterable

from slackwater.facts.waters import DaySummed
from slackwater.ledger.days import (
    DAY,
    LATE,
    SOON,
    Day,
    begin_of,
    days_between,
    sum_of,
)
from slackwater.ledger.history import first_day, summed_until
from slackwater.ledger.store import LedgerFile
from slackwater.pump.outcome import Stamp


def next_sums(
    ledger: LedgerFile, tanks: Iterable[str], stamp: Stamp
) -> list[DaySummed]:
    """The sums of the oldest past day that has none; empty when there is none to make.

    Shape: one for each of these tanks, and for others that the day tells of.
    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    done = summed_until(ledger, stamp["at"])
    day = first_day(ledger) if done is None else done + DAY
    over = begin_of(day + DAY)
    if stamp["at"] < over + LATE:
        return []
    (found,) = days_between(ledger, day, day)
    may_change = any(one.unsettled for one in found.values())
    if may_change and stamp["at"] < over + SOON:
        return []
    owners = {*tanks, *(owner for _, owner in found)}
    return [
        sum_of(found.get((day, owner), Day()), day, owner, stamp)
        for owner in sorted(owners)
    ]
