"""What is known of the time before the ledger was made.

Floor 6. One subject: how far back a tank's deliveries are on record. Laws here: what
nobody told is unknown and never 0; an answer about the last 24 hours covers these 24
hours; what a person says of the time before counts from the moment it speaks of.
Units: whole pico-units for the whole tank, by the UTC hour.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from slackwater.facts.waters import HusbandryNoted
from slackwater.ledger.by_time import told
from slackwater.ledger.store import LedgerFile

HOUR = timedelta(hours=1)
HOURS_ANSWERED = 24


def known_since(ledger: LedgerFile, tank: str) -> datetime:
    """From when on everything that came in is on record.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    made = ledger.made
    answered = HOURS_ANSWERED if made.answered else 0
    undosed = (
        one.happened_at
        for one in told(ledger, HusbandryNoted, tank=tank)
        if one.what == "nothing_dosed"
    )
    return min([made.at - answered * HOUR, *undosed])


def given_before(ledger: LedgerFile, tank: str) -> Mapping[datetime, Mapping[str, int]]:
    """What the answer of the beginning adds to each of the 24 hours before it.

    Raises: LedgerDamagedError, LedgerBusyError, LedgerStorageError.
    """
    made = ledger.made
    begin = made.at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    amounts = {name: sum_ for name, sum_ in made.effects.get(tank, {}).items() if sum_}
    if not amounts:
        return {}
    return {
        begin - (HOURS_ANSWERED - hour) * HOUR: {
            name: sum_ * (hour + 1) // HOURS_ANSWERED - sum_ * hour // HOURS_ANSWERED
            for name, sum_ in amounts.items()
        }
        for hour in range(HOURS_ANSWERED)
    }
