"""Doses whose time comes again, because a clock was ahead of it before.

Floor 2. One subject: their names, and whether they may be given. Laws here: a name is
used once for ever, so what comes again has another; a dose that was given is not given
again within a day of the time a person vouches for, by the plan and in proven time, so
that no clock can make it come twice in a day.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from slackwater.facts.doses import DoseMissed, attempt_id
from slackwater.facts.events import ClockConfirmed
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import Again, State

MILLISECOND = timedelta(milliseconds=1)
NOT_AGAIN_WITHIN = timedelta(hours=24)
# What pumps gave into the water is charged under keys that begin so.
PUMP = "pump/"
# Why a dose was missed though it may be in the water, or nobody wants it there.
AS_GOOD_AS_GIVEN = frozenset(
    {
        Code.LEDGER_FORGETS,
        Code.LEDGER_RESTORED,
        Code.OLD_DOSER,
        Code.PLAN_SWAP,
        Code.SKIPPED,
    }
)


def decided_ahead(state: State, utc: datetime) -> datetime | None:
    """Until when a clock that was ahead of `utc` has decided doses; None if it was not.

    What a long absence missed is not among them: nothing of it was decided by name.
    """
    until = state.due_until
    return until if until is not None and until > utc else None


def fold_due(state: State, dose: DueDose) -> None:
    """Take in that a dose was decided."""
    if state.due_until is None or dose.due_at > state.due_until:
        state.due_until = dose.due_at


def fold_not_given(state: State, event: DoseMissed) -> None:
    """Take in that none of a dose is in the water."""
    if AS_GOOD_AS_GIVEN.isdisjoint(reason.code for reason in event.reasons):
        state.not_given[event.dose.id] = event.dose.local_day


def fold_again(state: State, event: ClockConfirmed) -> None:
    """Take in what comes again from here on."""
    until = state.due_until
    state.due_until = min(until or event.at, event.at)
    if event.again_until is None:
        # Nothing was ahead: names of a clock that was, before, are still needed.
        if until is not None and until <= event.at:
            return
        # An entry of a version that gave a dose one name alone: where a clock had been
        # ahead the ledger refuses what was given, and the rest is given when it is due.
        tomorrow = event.at.date() + timedelta(days=1)
        used = state.used.items()
        state.used = {name: day for name, day in used if day <= tomorrow}
        return
    again = Again(
        after=event.at, until=event.again_until, after_ms=event.proven_ms + DAY_MS
    )
    state.again.append(again)


def as_named(state: State, dose: DueDose) -> DueDose:
    """A dose of the plan under the name it has this time.

    `reef/trace@2026-05-03#07` is called so when its time comes first, and then
    `reef/trace@2026-05-03#07.2`, `.3` and so on.
    """
    if not state.again:
        return dose
    times = 1 + sum(1 for _ in _covering(state, dose))
    return dose if times == 1 else replace(dose, id=f"{dose.id}.{times}")


def was_given(state: State, dose: DueDose, proven_ms: int) -> bool:
    """Whether a dose, named as this time, was given when its time came before.

    False as well where that is a day ago.
    """
    is_soon = any(
        dose.due_at <= each.after + NOT_AGAIN_WITHIN or proven_ms < each.after_ms
        for each in _covering(state, dose)
    )
    if not is_soon:
        return False
    names = tuple(_names_before(dose.id))
    is_known = any(name in state.used and name not in state.not_given for name in names)
    return is_known or _is_charged(state, names, proven_ms)


def will_be_left_out(state: State, dose: DueDose, now: tuple[datetime, int]) -> bool:
    """Whether a dose still to come will count as given by then.

    Shape: `now` is wall time and proven milliseconds.
    """
    utc, proven_ms = now
    ahead_ms = max((dose.due_at - utc) // MILLISECOND, 0)
    return was_given(state, dose, proven_ms + ahead_ms)


def without_times(dose_id: str) -> str:
    """The name that a dose has in its plan, however often its time has come."""
    name, mark, ordinal = dose_id.partition("#")
    return f"{name}{mark}{ordinal.partition('.')[0]}"


def _covering(state: State, dose: DueDose) -> Iterator[Again]:
    return (each for each in state.again if each.after < dose.due_at <= each.until)


def _is_charged(state: State, names: Iterable[str], proven_ms: int) -> bool:
    """Whether one of them counts against the last 24 hours.

    Names are forgotten by their day: one that a clock far ahead reaches makes those of
    this very hour look old. Charges are kept by proven time.
    """
    attempts = {attempt_id(state.ledger_id, name) for name in names}
    return any(
        tag in attempts and at_ms > proven_ms - DAY_MS
        for key, rolling in state.charges.items()
        if key.startswith(PUMP)
        for at_ms, _amount, tag in rolling.entries
    )


def _names_before(dose_id: str) -> Iterator[str]:
    name = without_times(dose_id)
    times = dose_id[len(name) + 1 :]
    yield name
    yield from (f"{name}.{earlier}" for earlier in range(2, int(times or 1)))
