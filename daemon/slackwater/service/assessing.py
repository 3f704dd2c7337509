"""The ledger's past of a tank, assessed as of now.

Floor 7. One subject: how much of the past an assessment is given. Laws here: the share
of unknown volume is that of the window an uptake is estimated from, so that a quiet
year does not hide a bad week.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from slackwater.assessment.assess import assess
from slackwater.assessment.records import Assessment
from slackwater.assessment.uptakes import WINDOW_DAYS
from slackwater.facts.entered import LevelEntered
from slackwater.facts.stages import LineTakenOver
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile

# More than two laboratory samples a season, so that one can confirm the other.
LOOK_BACK_DAYS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBack:
    """How far to look back, and which lines took the place of old dosers since when.

    `taken_over` as in the state: what an old doser gave counts until then alone.
    `entered` are the tests from afar that nobody confirmed yet.
    Range: `days` above 0.
    """

    taken_over: Mapping[str, LineTakenOver]
    days: int = LOOK_BACK_DAYS
    entered: tuple[LevelEntered, ...] = ()

    @classmethod
    def of(cls, state: State, days: int = LOOK_BACK_DAYS) -> "LookBack":
        """A look back with what the state says of lines and of entries from afar."""
        entered = tuple(one.told for one in state.entered.values())
        return cls(taken_over=state.taken_over, days=days, entered=entered)


def assessed(
    ledger: LedgerFile,
    machine: Machine,
    tank: str,
    now: datetime,
    back: LookBack,
) -> Assessment:
    """Where a tank stands, from so many days of its past.

     Raises: InputError for a tank that the machine does not have;
    the ledger errors.
    """
    history = read_history(ledger, tank, now - timedelta(days=back.days), now)
    if back.days > WINDOW_DAYS:
        since = now - timedelta(days=WINDOW_DAYS)
        lately = read_history(ledger, tank, since, now)
        history = replace(history, unknown_share=lately.unknown_share)
    since_when = {line: event.at for line, event in back.taken_over.items()}
    history = replace(history, taken_over=since_when, entered=back.entered)
    return assess(history, machine, tank, now)
