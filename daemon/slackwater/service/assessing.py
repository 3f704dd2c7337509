"""The ledger's past of a tank, assessed as of now.

Floor 7. One subject: how much of the past an assessment is given. Laws here: the share
of unknown volume is that of the window an uptake is estimated from, so that a quiet
year does not hide a bad week.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from slackwater.assessment.assess import assess
from slackwater.assessment.records import Assessment
from slackwater.assessment.uptakes import WINDOW_DAYS
from slackwater.facts.tank import Machine
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile

# More than two laboratory samples a season, so that one can confirm the other.
LOOK_BACK_DAYS = 200


def assessed(
    ledger: LedgerFile,
    machine: Machine,
    tank: str,
    now: datetime,
    *,
    days: int = LOOK_BACK_DAYS,
) -> Assessment:
    """Where a tank stands, from so many days of its past.

    Range: days above 0. Raises: InputError for a tank that the machine does not have;
    the ledger errors.
    """
    history = read_history(ledger, tank, now - timedelta(days=days), now)
    if days > WINDOW_DAYS:
        since = now - timedelta(days=WINDOW_DAYS)
        lately = read_history(ledger, tank, since, now)
        history = replace(history, unknown_share=lately.unknown_share)
    return assess(history, machine, tank, now)
