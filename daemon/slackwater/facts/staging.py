"""Approvals and stages, folded.

Floor 2. One subject: what was consented to, and how far pumps may act on it. Laws here:
a serial counts once, and never again once it was withdrawn; a plan that another one
replaced does not come back; going back to shadow forgets what only lasted while live.
"""

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

from slackwater.facts.events import (
    PlanApproved,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
)
from slackwater.facts.stages import (
    UNTIL_THEN,
    CapsLowered,
    HalfBegan,
    LineGivenBack,
    LineTakenOver,
)
from slackwater.facts.state import Ours, State

APPROVALS_KEPT = 4
# A line is handed over and back a few times at most while somebody changes dosers.
SPANS_KEPT = 16
# A tank that lived for longer without our pumps was fed by somebody (common practice,
# no source).
FED_BY_OTHERS = timedelta(days=14)


def fold_approved(state: State, event: PlanApproved) -> None:
    """A consent counts from here on; one whose serial was used before does not."""
    if event.approval.serial <= state.last_serial:
        return
    state.last_serial = event.approval.serial
    if not state.approvals:
        state.watch_ms = event.proven_ms
    state.approvals = [*state.approvals, event][-APPROVALS_KEPT:]


def fold_withdrawn(state: State, event: PlanWithdrawn) -> None:
    """An approval is dead, and with one that was in force those it had replaced.

    Otherwise a word from afar could bring back an older plan that gives more.
    """
    state.withdrawn = [*state.withdrawn, event.serial][-APPROVALS_KEPT:]
    gone = next(
        (
            one.approval
            for one in state.approvals
            if one.approval.serial == event.serial
        ),
        None,
    )
    if gone is None:
        return
    # By the newest time on record: a clock that is not set yet says what is long past.
    began = gone.takes_over_at <= max(event.at, state.newest_at or event.at)
    state.approvals = [
        known
        for known in state.approvals
        if known.approval.serial != event.serial
        and not (began and known.approval.takes_over_at <= gone.takes_over_at)
    ]


def fold_enabled(state: State, event: PumpsEnabled) -> None:
    """Pumps may run; said twice it changes nothing: what was given since counts."""
    if state.stage == "shadow":
        since = state.stage_since
        if since is not None and event.at - since > FED_BY_OTHERS:
            state.fed_since = None
        state.stage_since = event.at
    state.stage = "live"
    state.left_to_old = [
        line for line in event.left_to_old if line not in state.taken_over
    ]


def fold_disabled(state: State, event: PumpsDisabled) -> None:
    """Back to shadow, where time counts anew and every line is imagined.

    That our pumps fed the tank until now is remembered: it goes without from here on.
    """
    if state.stage == "live" and state.fed_since is None:
        state.fed_since = state.stage_since
    state.stage = "shadow"
    state.stage_since = event.at
    state.shadow_ms = 0
    state.watch_ms = event.proven_ms
    state.left_to_old = []
    state.halves = {}


def fold_lowered(state: State, event: CapsLowered) -> None:
    """The newest look at the file is the one that counts."""
    state.lowered = dict(event.caps)


def fold_half(state: State, event: HalfBegan) -> None:
    """The newest word on a scope takes the place of one before, when it begins."""
    known = state.halves.get(event.scope)
    # One that runs goes on until then: else whole doses came of what is half new.
    if known is not None and known.from_at <= event.at < event.from_at:
        state.halves[f"{event.scope}{UNTIL_THEN}"] = known
    state.halves[event.scope] = event


def fold_taken_over(state: State, event: LineTakenOver) -> None:
    """Ours from now on."""
    state.taken_over[event.line] = event
    state.left_to_old = [line for line in state.left_to_old if line != event.line]


def fold_given_back(state: State, event: LineGivenBack) -> None:
    """The old doser's from now on; that it was ours until now is remembered."""
    ours = state.taken_over.pop(event.line, None)
    if ours is not None:
        spans = state.handed_back.get(event.line, [])
        span = Ours(begins=ours.at, ends=event.at)
        state.handed_back[event.line] = [*spans, span][-SPANS_KEPT:]
    if state.stage == "live" and event.line not in state.left_to_old:
        state.left_to_old = sorted([*state.left_to_old, event.line])


STAGE_FOLDS: Mapping[type, Callable[[State, Any], None]] = {
    PlanApproved: fold_approved,
    PlanWithdrawn: fold_withdrawn,
    PumpsEnabled: fold_enabled,
    PumpsDisabled: fold_disabled,
    CapsLowered: fold_lowered,
    HalfBegan: fold_half,
    LineTakenOver: fold_taken_over,
    LineGivenBack: fold_given_back,
}
