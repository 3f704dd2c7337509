"""The ledger's past of a tank, assessed as of now.

Floor 7. One subject: how much of the past an assessment is given. Laws here: the share
of unknown volume is that of the window an uptake is estimated from, so that a quiet
year does not hide a bad week.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from slackwater.assessment.assess import assess
from slackwater.assessment.records import Assessment
from slackwater.assessment.uptakes import WINDOW_DAYS
from slackwater.facts.entered import LevelEntered
from slackwater.facts.history import Span
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile

# More than two laboratory samples a season, so that one can confirm the other.
LOOK_BACK_DAYS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBack:
    """How far to look back, and when lines were given in the place of old dosers.

    `taken_over` as in a history: what an old doser gives does not count meanwhile.
    `entered` are the tests from afar that nobody confirmed yet, `renewed` is when each
    pump was measured last or had its tube swapped.
    Range: `days` above 0.
    """

    taken_over: Mapping[str, tuple[Span, ...]]
    days: int = LOOK_BACK_DAYS
    entered: tuple[LevelEntered, ...] = ()
    renewed: Mapping[str, datetime] = field(default_factory=dict)

    @classmethod
    def of(cls, state: State, days: int = LOOK_BACK_DAYS) -> "LookBack":
        """A look back with what the state says of lines and of entries from afar."""
        entered = tuple(one.told for one in state.entered.values())
        return cls(
            taken_over=_ours(state), days=days, entered=entered, renewed=renewed(state)
        )


def renewed(state: State) -> dict[str, datetime]:
    """When each pump was measured last, or had its tube swapped, by its name."""
    found = {name: event.at for name, event in state.calibrations.items()}
    for name, at in state.tubes.items():
        found[name] = max(found.get(name, at), at)
    return found


def _ours(state: State) -> dict[str, tuple[Span, ...]]:
    """When each line of an old doser was ours, the stretch that lasts as the last."""
    found: dict[str, tuple[Span, ...]] = {
        line: tuple((one.begins, one.ends) for one in spans)
        for line, spans in state.handed_back.items()
    }
    for line, event in state.taken_over.items():
        found[line] = (*found.get(line, ()), (event.at, None))
    return found


def assessed(
    ledger: LedgerFile,
    machine: Machine,
    tank: str,
    now: datetime,
    back: LookBack,
) -> Assessment:
    """Where a tank stands, from so many days of its past.

    Raises: InputError for a tank that the machine does not have; the ledger errors.
    """
    history = read_history(ledger, tank, now - timedelta(days=back.days), now)
    if back.days > WINDOW_DAYS:
        since = now - timedelta(days=WINDOW_DAYS)
        lately = read_history(ledger, tank, since, now)
        history = replace(history, unknown_share=lately.unknown_share)
    history = replace(
        history,
        taken_over=back.taken_over,
        entered=back.entered,
        renewed=back.renewed,
    )
    return assess(history, machine, tank, now)
