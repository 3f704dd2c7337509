"""State = fold(events): the one place that writes into a State.

Floor 2. One subject: what each entry changes. Laws here: the same entries give the
same state; a charge falls only by `DoseVoided`; nothing reads a clock.
"""

from collections.abc import Callable, Iterable
from datetime import date, timedelta
from typing import Any, cast

from slackwater.facts.absence import fold_span_missed, fold_unknown
from slackwater.facts.alarms import AlarmChanged, AlarmRaised
from slackwater.facts.audits import Audited
from slackwater.facts.charging import (
    believe,
    charge,
    charge_told,
    close_dose,
    fold_charge_raised,
    fold_ended,
    fold_intended,
    fold_sealed,
    fold_voided,
)
from slackwater.facts.counting import fold_counted, take_over_count
from slackwater.facts.dues import plan_missed
from slackwater.facts.entering import ENTERED_FOLDS
from slackwater.facts.events import (
    AnyEvent,
    Calibrated,
    ChargeRaised,
    Checkpoint,
    ClockConfirmed,
    DoseEnded,
    DoseHanded,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseRefusedByNode,
    DoseSealed,
    DoseTaken,
    DoseVoided,
    FilesDiffer,
    HoldRaised,
    HoldReleased,
    LedgerMade,
    LedgerRestored,
    ReadingKept,
    RequestHeard,
    RequestTakenBack,
    ResumeBegan,
    ResumeEnded,
    ShotRequested,
    SpanMissed,
    Started,
    Stopped,
    WatchKept,
)
from slackwater.facts.exchanging import (
    fold_exchange_booked,
    fold_exchange_released,
    fold_level_of_pair,
)
from slackwater.facts.hearing import fold_request_heard
from slackwater.facts.inputs import InputsKept
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.keeping import (
    fold_added,
    fold_measured,
    fold_struck,
    fold_task_closed,
    fold_task_set,
    fold_water_changed,
)
from slackwater.facts.lives import fold_due, fold_not_given
from slackwater.facts.now import Mark
from slackwater.facts.reasons import Code
from slackwater.facts.relays import RelayChecked
from slackwater.facts.ringing import fold_alarm_changed, fold_alarm_raised
from slackwater.facts.safeguarding import SAFEGUARD_FOLDS, compare, forget_compared
from slackwater.facts.safeguards import LevelMeasured
from slackwater.facts.staging import STAGE_FOLDS
from slackwater.facts.state import State
from slackwater.facts.vouching import fold_clock_confirmed
from slackwater.facts.watching import fold_judged, watching
from slackwater.facts.waters import (
    AddedByHand,
    DaySummed,
    MeasurementKept,
    MeasurementStruck,
    ReportImported,
    SampleTaken,
    StandardChecked,
    TaskClosed,
    TaskSet,
    WaterChanged,
)
from slackwater.facts.wear import fold_calibrated

__all__ = ["believe", "charge", "close_dose", "fold", "fold_all"]

READINGS_KEPT = timedelta(hours=26)
STARTS_KEPT = 10
# Holds that make the last hours before enabling unquiet (`dry_run` stage 2).
UNQUIET = frozenset(
    {
        Code.CLOCK_UNPROVEN,
        Code.CLOCK_JUMPED,
        Code.CLOCK_BEHIND,
        Code.LEDGER_FULL,
        Code.LEDGER_FAULT,
        Code.LEDGER_DAMAGED,
        Code.LEDGER_FORGETS,
        Code.LEDGER_RESTORED,
    }
)


def fold(state: State, event: AnyEvent) -> None:
    """Take one entry into the state."""
    mark = state.mark
    if mark is None:
        mark = state.mark = Mark(utc=event.at, boot_s=0.0, boot_id="", proven_ms=0)
    at = event.at
    # Never back: a board that starts in the past twice would be told an outage of years
    # by the clock that is set right in between. Only a person takes it back.
    mark.utc = max(mark.utc, at)
    mark.boot_s = event.boot_s
    mark.proven_ms = event.proven_ms
    newest_at = state.newest_at
    if newest_at is None or at > newest_at:
        state.newest_at = at
    if state.stage_since is None:
        state.stage_since = at
    _FOLDS[type(event)](state, event)


def fold_all(state: State, events: Iterable[AnyEvent]) -> State:
    """Take many entries in order; gives the same state back."""
    for event in events:
        fold(state, event)
    return state


def _made(state: State, event: LedgerMade) -> None:
    state.ledger_id = event.ledger_id
    state.fence = state.fence_before = event.highest_fence_heard
    state.decided_at = event.at
    cast("Mark", state.mark).boot_id = event.boot_id
    charge_told(state, event)


def _restored(state: State, event: LedgerRestored) -> None:
    cast("Mark", state.mark).boot_id = event.boot_id
    charge_told(state, event)
    # What was asked for before the backup may have been given since.
    state.requests = {}


def _started(state: State, event: Started) -> None:
    state.fence_before = state.fence
    state.fence = max(state.fence, event.fence)
    cast("Mark", state.mark).boot_id = event.boot_id
    state.calibrating = event.mode == "calibrate"
    if state.calibrating:
        return
    if state.running:
        state.unclean_starts = [*state.unclean_starts, event.at][-STARTS_KEPT:]
    state.running = True
    state.watch_ms = event.proven_ms


def _stopped(state: State, event: Stopped) -> None:
    # A session looked at no plan and watched nothing: only the daemon's end counts.
    if state.calibrating:
        state.calibrating = False
        return
    state.running = False
    state.decided_at = event.at
    _watch(state, event.proven_ms)


def _watched(state: State, event: WatchKept) -> None:
    state.decided_at = event.at
    _watch(state, event.proven_ms)


def _watch(state: State, proven_ms: int) -> None:
    if state.stage == "shadow" and state.approvals:
        state.shadow_ms += max(proven_ms - state.watch_ms, 0)
    state.watch_ms = proven_ms


def _hold_raised(state: State, event: HoldRaised) -> None:
    state.holds[event.hold_id] = event
    if event.reason.code is Code.LEDGER_FORGETS:
        take_over_count(state, event)
    if event.reason.code in UNQUIET:
        state.unquiet_ms = event.proven_ms


def _hold_released(state: State, event: HoldReleased) -> None:
    hold = state.holds.pop(event.hold_id, None)
    if hold is None:
        return
    if state.exchanges:
        fold_exchange_released(state, event)
    if hold.reason.code in UNQUIET:
        state.unquiet_ms = event.proven_ms
    # A person looked at the pump: counting short deliveries starts anew.
    if hold.reason.code is Code.SHORT_DELIVERED:
        state.short_streak.pop(hold.scope.removeprefix("pump/"), None)
    # Starts before a person's release are settled and must not latch again.
    if hold.reason.code is Code.START_STORM:
        state.unclean_starts = []


def _requested(state: State, event: ShotRequested) -> None:
    state.requests[event.request] = event
    if event.purpose != "calibrate":
        state.by_hand[event.pump] = event


def _taken_back(state: State, event: RequestTakenBack) -> None:
    asked = state.requests.pop(event.request, None)
    if asked is None:
        return
    # By the clock it was asked by: whoever takes back may have any other one.
    _use(state, event.request, asked.at.date())
    newest = state.by_hand.get(asked.pump)
    if newest is not None and newest.request == event.request:
        del state.by_hand[asked.pump]


def _held(state: State, event: DoseHeld) -> None:
    state.held[event.dose_id] = event
    # A session that measures decides of its own shots alone: it looks at no plan.
    state.decided_at = state.decided_at if state.calibrating else event.at


def _missed(state: State, event: DoseMissed) -> None:
    dose = event.dose
    state.decided_at = state.decided_at if state.calibrating else event.at
    _use(state, dose.id, dose.local_day)
    fold_due(state, dose)
    fold_not_given(state, event)
    fold_unknown(state, event)
    state.requests.pop(dose.id, None)
    plan_missed(state, event)
    state.wanting[dose.tank] = event.proven_ms


def _intended(state: State, event: DoseIntended) -> None:
    state.decided_at = state.decided_at if state.calibrating else event.at
    _use(state, event.dose.id, event.dose.local_day)
    fold_due(state, event.dose)
    asked = state.requests.pop(event.dose.id, None)
    fold_intended(state, event, rinses=asked is not None and asked.rinses)


def _use(state: State, dose_id: str, day: date) -> None:
    state.used[dose_id] = day
    if state.held:
        state.held.pop(dose_id, None)
    if state.skipped:
        state.skipped.pop(dose_id, None)
    # Identities are unique for ever; three days cover every latest start.
    if len(state.used) % USED_AT_LEAST == 0:
        oldest = day - timedelta(days=3)
        state.used = _since(state.used, oldest)
        state.not_given = _since(state.not_given, oldest)


def _since(names: dict[str, date], oldest: date) -> dict[str, date]:
    return {name: day for name, day in names.items() if day >= oldest}


USED_AT_LEAST = 512


def _handed(state: State, event: DoseHanded) -> None:
    """Say nothing about the node: the bytes only left the client."""


def _taken(state: State, event: DoseTaken) -> None:
    known = state.open.get(event.attempt)
    if known is not None:
        known.taken = True


def _refused(state: State, event: DoseRefusedByNode) -> None:
    known = state.open.get(event.attempt)
    if known is not None:
        known.refused_word = event.word


def _reading(state: State, event: ReadingKept) -> None:
    series = state.readings.setdefault(event.probe, [])
    series.append(event)
    oldest = event.taken_at - READINGS_KEPT
    while len(series) > 1 and series[0].taken_at < oldest:
        del series[0]


def _relay_checked(state: State, event: RelayChecked) -> None:
    state.relay_checks[event.node] = event


def _resume_began(state: State, event: ResumeBegan) -> None:
    state.resuming[event.tank] = event.proven_ms


def _resume_ended(state: State, event: ResumeEnded) -> None:
    state.resuming.pop(event.tank, None)


def _measured(state: State, event: MeasurementKept) -> None:
    fold_measured(state, event)
    compare(state, event)


def _struck(state: State, event: MeasurementStruck) -> None:
    fold_struck(state, event)
    forget_compared(state, event)


def _water_changed(state: State, event: WaterChanged) -> None:
    fold_water_changed(state, event)
    fold_exchange_booked(state, event)


def _audited(state: State, event: Audited) -> None:
    state.audited = event


def _nothing(state: State, event: AnyEvent) -> None:
    """Change nothing: the entry matters to people, not to decisions."""


_TABLE: dict[type, Callable[[State, Any], None]] = {
    LedgerMade: _made,
    LedgerRestored: _restored,
    Started: _started,
    Stopped: _stopped,
    HoldRaised: _hold_raised,
    HoldReleased: _hold_released,
    Calibrated: fold_calibrated,
    ShotRequested: _requested,
    RequestTakenBack: _taken_back,
    DoseHeld: _held,
    DoseMissed: _missed,
    SpanMissed: fold_span_missed,
    DoseIntended: _intended,
    DoseHanded: _handed,
    DoseTaken: _taken,
    DoseEnded: fold_ended,
    DoseRefusedByNode: _refused,
    DoseVoided: fold_voided,
    DoseSealed: fold_sealed,
    ChargeRaised: fold_charge_raised,
    ReadingKept: _reading,
    SeriesJudged: fold_judged,
    ResumeBegan: _resume_began,
    ResumeEnded: _resume_ended,
    RequestHeard: fold_request_heard,
    ClockConfirmed: fold_clock_confirmed,
    RelayChecked: _relay_checked,
    FilesDiffer: _nothing,
    WatchKept: _watched,
    Audited: _audited,
    InputsKept: fold_counted,
    Checkpoint: _nothing,
    MeasurementKept: _measured,
    MeasurementStruck: _struck,
    StandardChecked: _nothing,
    SampleTaken: _nothing,
    ReportImported: _nothing,
    AddedByHand: fold_added,
    WaterChanged: _water_changed,
    TaskSet: fold_task_set,
    TaskClosed: fold_task_closed,
    DaySummed: _nothing,
    AlarmRaised: fold_alarm_raised,
    AlarmChanged: fold_alarm_changed,
    **ENTERED_FOLDS,
    **SAFEGUARD_FOLDS,
    **STAGE_FOLDS,
    LevelMeasured: fold_level_of_pair,
}

_FOLDS = watching(_TABLE)
