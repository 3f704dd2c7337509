"""A ledger put back from a backup: what nobody wrote down, and what that holds.

Floor 8. One subject: the entries a restored ledger goes on with. Laws here: what came
between the backup and now is unknown, so it counts as the person says or as all the
caps allow; a dose that was due before now is never given; a person ends the hold.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.cli.opening import read_approval
from slackwater.facts.events import (
    AnyEvent,
    DoseMissed,
    HoldRaised,
    LedgerRestored,
)
from slackwater.facts.lives import as_named
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.planning.timetable import Timetable
from slackwater.pump.outcome import Stamp
from slackwater.turn.absences import DOSE_BY_DOSE, Counted

INSTANT = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What is known of the time since the backup; see `LedgerRestored`."""

    made_at: datetime
    entries: int
    newest_known: int
    boot_id: str
    answered: bool
    dosed_ul: Mapping[str, int] = field(default_factory=dict)
    effects: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    by: str


def entries_after(state: State, told: Told, stamp: Stamp) -> list[AnyEvent]:
    """The entries that follow the backup's newest one."""
    restored = LedgerRestored(
        **stamp,
        made_at=told.made_at,
        entries=told.entries,
        newest_known=told.newest_known,
        boot_id=told.boot_id,
        answered=told.answered,
        dosed_ul=told.dosed_ul,
        effects=told.effects,
        by=told.by,
    )
    made_at = f"{told.made_at:%Y-%m-%dT%H:%M:%SZ}"
    hold = HoldRaised(
        **stamp,
        hold_id=Code.LEDGER_RESTORED,
        scope="all",
        reason=because(Code.LEDGER_RESTORED, made_at=made_at, entry=told.entries),
        latched=True,
    )
    return [restored, hold, *_never_again(state, stamp)]


def _never_again(state: State, stamp: Stamp) -> Iterator[AnyEvent]:
    """A dose due until now may have been given already.

    Those of the last days are named one by one: another plan may give the name of one
    of them to a dose that is still to come. Before them one entry says it for a line.
    """
    # In shadow none was given, and those before pumps are enabled never are.
    if state.stage == "shadow":
        return
    reasons = (because(Code.LEDGER_RESTORED),)
    counted, named = Counted(), dict[str, DueDose]()
    for dose in _due(state, stamp["at"]):
        if stamp["at"] - dose.due_at <= DOSE_BY_DOSE:
            named.setdefault(dose.id, dose)
        else:
            counted.add(dose)
    yield from counted.told(reasons, stamp)
    for dose in named.values():
        yield DoseMissed(**stamp, dose=dose, reasons=reasons)


def _due(state: State, until: datetime) -> Iterator[DueDose]:
    """Doses of any approval on record that nobody decided before the backup."""
    for event in state.approvals:
        approved = read_approval(event)
        late = timedelta(seconds=approved.machine.timing.lateness_s)
        # What was due before a plan took over was never this plan's to give.
        begins = event.approval.takes_over_at
        since = max((state.decided_at or until) - late, begins) - INSTANT
        if since >= until:
            continue
        timetable = Timetable(approved.plan, approved.machine)
        for planned in timetable.one_by_one(since, until):
            dose = as_named(state, planned)
            if dose.id not in state.used:
                yield dose
