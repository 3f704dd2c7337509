"""The last look at an intent before it is written: is it what was approved?

Floor 7. One subject: refusing what departs. Laws here: it looks by the audit's code,
which shares nothing with the turn that decided; an intent that departs is neither
written nor sent, and everything is held until a person looked, for a dose that nobody
approved is a fault of the program and no event to log.
"""

from dataclasses import replace

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater.audit.consent import consent_of
from slackwater.audit.history import Again, History, Standing
from slackwater.audit.intents import Departure, departures
from slackwater.facts.doses import DoseIntended
from slackwater.facts.events import HoldRaised
from slackwater.facts.messages import RunPump
from slackwater.facts.now import Now, proven_ms
from slackwater.facts.reasons import Code, because
from slackwater.facts.state import State
from slackwater.service import logs
from slackwater.service.wiring import Rig
from slackwater.turn.setup import Turn

# Everything that stands was written before what is about to be.
BEFORE, NEXT = 0, 1

_log: FilteringBoundLogger = structlog.get_logger()


def conforming(rig: Rig, done: Turn, now: Now) -> Turn:
    """The turn, or in its place a hold, where an intent is not what was approved.

    Whatever else the turn decided is decided anew with the hold in sight; stops go out.
    Raises: InputError when an approved text cannot be read.
    """
    intents = [event for event in done.events if isinstance(event, DoseIntended)]
    if not intents:
        return done
    history = _history(rig)
    fits = (rig.mode == "live") is (rig.memory.state.stage == "live")
    found = [
        one
        for intent in intents
        for one in departures(history, intent, NEXT, fits_stage=fits)
    ]
    if not found:
        return done
    for one in found:
        _log.error(logs.INTENT_REFUSED, dose_id=one.dose, wrong=one.wrong, why=one.what)
    state = rig.memory.state
    is_held = Code.NOT_AS_APPROVED in state.holds
    return replace(
        done,
        events=() if is_held else (_hold(state, found[0], now),),
        effects=tuple(
            effect for effect in done.effects if not isinstance(effect, RunPump)
        ),
        scanned_until=rig.sight.scanned_until,
    )


def _hold(state: State, one: Departure, now: Now) -> HoldRaised:
    return HoldRaised(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0 if state.mark is None else proven_ms(state.mark, now),
        hold_id=Code.NOT_AS_APPROVED,
        scope="all",
        reason=because(
            Code.NOT_AS_APPROVED, dose=one.dose, wrong=one.wrong, what=one.what
        ),
        latched=True,
    )


def _history(rig: Rig) -> History:
    """What stands, as the audit reads it; an approved text is read once."""
    state = rig.memory.state
    approvals = []
    for entry in state.approvals:
        serial = entry.approval.serial
        known = rig.consents.get(serial)
        if known is None or known.consent.approval != entry.approval:
            known = rig.consents[serial] = Standing(
                consent=consent_of(entry), at=entry.at, from_order=BEFORE
            )
        approvals.append(known)
    return History(
        approvals=approvals,
        requests={name: (BEFORE, asked) for name, asked in state.requests.items()},
        rates={pump: [(BEFORE, made)] for pump, made in state.calibrations.items()},
        again=[
            Again(order=BEFORE, after=each.after, until=each.until)
            for each in state.again
        ],
    )
