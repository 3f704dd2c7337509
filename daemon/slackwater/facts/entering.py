"""What was entered from afar, folded: a shelf of its own that nothing fresh stands on.

Floor 2. One subject: unconfirmed tests in the state. Laws here: nothing here is written
where a measurement would be; the highest is never pushed out by lower ones, so that
telling more can end no hold; what nobody settles is forgotten after a week.
"""

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

from slackwater.facts.entered import EntrySettled, LevelEntered
from slackwater.facts.safeguarding import nearest_shown
from slackwater.facts.state import Entered, State

# Longer than the longest time for which one can hold doses (`gate.circumstances`).
ENTERED_KEPT = timedelta(days=7)
# Of one parameter of one tank: a finger that bounces fills no memory.
ENTERED_AT_MOST = 4


def fold_entered(state: State, event: LevelEntered) -> None:
    """Keep it beside what probes showed then; of too many the lowest goes."""
    kept = {
        name: one
        for name, one in state.entered.items()
        if event.at - one.told.taken_at < ENTERED_KEPT
    }
    kept[event.id] = Entered(told=event, shown=nearest_shown(state, event))
    same = [
        one.told
        for one in kept.values()
        if (one.told.tank, one.told.parameter) == (event.tank, event.parameter)
    ]
    if len(same) > ENTERED_AT_MOST:
        lowest = min(same, key=lambda told: (told.value, told.taken_at, told.id))
        del kept[lowest.id]
    state.entered = kept


def fold_settled(state: State, event: EntrySettled) -> None:
    """A person has looked at it; a test that it became is an entry of its own."""
    state.entered.pop(event.entry, None)


ENTERED_FOLDS: Mapping[type, Callable[[State, Any], None]] = {
    LevelEntered: fold_entered,
    EntrySettled: fold_settled,
}
