"""A calibration session: timed shots into a cylinder, before anything is enabled.

Floor 7. One subject: carrying out shots while the daemon itself may not command.
Laws here: the same turn, gate and ledger as the daemon; no plan is in force, so no
dose of a plan can run from here; each shot is a local request with an end; it keeps the
daemon's place, so that only one commands and has the name at the broker.
"""

from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import timedelta
from secrets import token_hex
from typing import Self

from slackwater.errors import Finding, LedgerError, RefusedError
from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseMissed,
    DoseSealed,
    DoseVoided,
    RequestTakenBack,
    ShotRequested,
    Stopped,
)
from slackwater.facts.reasons import MEASURED_FIRST, Reason
from slackwater.facts.tank import Pump
from slackwater.gate.moment import rules_for
from slackwater.ports import Clock
from slackwater.service.loop import one_pass, stamp_of, take_news, write
from slackwater.service.memory import Memory
from slackwater.service.run import TICK_S, take_charge
from slackwater.service.standing import only_one
from slackwater.service.wiring import Places, Rig, build, connect
from slackwater.turn.setup import Setup

# A local request is good for half an hour (dry-run rules of manual requests).
REQUEST_LASTS = timedelta(minutes=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """Why a shot waits, and the hold that a person may release; none without one."""

    reason: Reason
    hold: str = ""


Watch = Callable[[tuple[Wait, ...]], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How one shot ended: run time in milliseconds, reported microlitres."""

    ran_ms: int
    believed_ul: int
    how: str
    reasons: tuple[Reason, ...] = ()


class Session:
    """Owns a rig that can command, for shots alone; use as a context manager."""

    def __init__(self, places: Places, clock: Clock, by: str) -> None:
        """Keep whose session it is; entering opens and connects."""
        self._places = places
        self._clock = clock
        self._by = by
        self._rig: Rig | None = None
        self._place = ExitStack()

    def __enter__(self) -> Self:
        """Take charge with a new fence and connect.

        Raises: RefusedError beside a daemon; ledger, input and wire
        errors.
        """
        with ExitStack() as opening:
            memory = Memory(self._places.state, "calibrate")
            opening.callback(memory.close)
            memory.open()
            opening.enter_context(only_one(self._places.state))
            rig = build(self._places, self._clock, memory, "calibrate")
            machine = rig.setup.machine
            rig.setup = Setup(machine=machine, bare=rules_for(machine, None))
            opening.callback(rig.close)
            take_charge(rig)
            connect(rig)
            self._place = opening.pop_all()
        self._rig = rig
        return self

    def __exit__(self, *_error: object) -> None:
        """Write down the end and let go."""
        rig = self.rig
        self._rig = None
        with suppress(LedgerError):
            write(rig, [Stopped(**stamp_of(rig), why="calibration ended")])
        self._place.close()

    @property
    def rig(self) -> Rig:
        """The open rig.

        Raises: RefusedError outside the context.
        """
        if self._rig is None:
            raise RefusedError(_closed())
        return self._rig

    def shoot(self, pump: str, volume_ul: int, watch: Watch) -> Shot:
        """One shot from request to end; `watch` hears why it still waits.

        Raises: RefusedError when it never ran: expired, voided or sealed.
        """
        rig = self.rig
        request = f"shot-{token_hex(8)}"
        stamp = stamp_of(rig)
        asked = ShotRequested(
            **stamp,
            request=request,
            pump=pump,
            volume_ul=volume_ul,
            until=stamp["at"] + REQUEST_LASTS,
            by=self._by,
        )
        while not write(rig, [asked]):
            take_news(rig)
        return _carry_out(rig, asked, watch)


def scopes_of(pump: Pump) -> frozenset[str]:
    """The scopes of holds that reach a shot of a pump into a cylinder."""
    named = {"tank": pump.tank, "pump": pump.id, "node": pump.node}
    return frozenset({"all", *(f"{word}/{owner}" for word, owner in named.items())})


def _carry_out(rig: Rig, asked: ShotRequested, watch: Watch) -> Shot:
    """Passes until the request's run has ended, one way or another."""
    request, told = asked.request, tuple[Reason, ...]()
    while True:
        attempt = _attempt_of(rig, request)
        one_pass(rig, TICK_S)
        attempt = attempt or _attempt_of(rig, request)
        held = rig.memory.state.held.get(request)
        if held is not None and held.reasons != told:
            told = held.reasons
            watch(_waits(rig, asked, told))
        if _attempt_of(rig, request):
            continue
        if request in rig.memory.state.used:
            return _ending(rig, asked, attempt)
        if rig.closing:
            # Nothing is begun any more, and nothing would tell that its time is over.
            raise RefusedError(_another_stage())


def _attempt_of(rig: Rig, request: str) -> str:
    for attempt, known in rig.memory.state.open.items():
        if known.intent.dose.id == request:
            return attempt
    return ""


def _holds_on(rig: Rig, asked: ShotRequested) -> dict[str, Reason]:
    """The latched holds that reach a shot, by name, and why they stand."""
    scopes = scopes_of(rig.setup.machine.pumps[asked.pump])
    return {
        name: hold.reason
        for name, hold in sorted(rig.memory.state.holds.items())
        if hold.latched
        and hold.scope in scopes
        and hold.reason.code not in MEASURED_FIRST
    }


def _waits(
    rig: Rig, asked: ShotRequested, reasons: tuple[Reason, ...]
) -> tuple[Wait, ...]:
    names = {reason.code: name for name, reason in _holds_on(rig, asked).items()}
    return tuple(
        Wait(reason=reason, hold=names.get(reason.code, "")) for reason in reasons
    )


def _ending(rig: Rig, asked: ShotRequested, attempt: str) -> Shot:
    request = asked.request
    for event in _newest_first(rig):
        if isinstance(event, DoseEnded) and event.attempt == attempt:
            return Shot(
                ran_ms=event.ran_ms, believed_ul=event.believed_ul, how=event.how
            )
        if isinstance(event, DoseMissed) and event.dose.id == request:
            raise RefusedError(_never_ran(rig, asked, event.reasons))
        if isinstance(event, RequestTakenBack) and event.request == request:
            raise RefusedError(_not_wanted(request, event.by))
        if (
            isinstance(event, (DoseVoided, DoseSealed))
            and event.attempt == attempt
            and attempt
        ):
            raise RefusedError(_never_ran(rig, asked, event.reasons))
    raise RefusedError(_never_ran(rig, asked, ()))


def _newest_first(rig: Rig) -> list[AnyEvent]:
    return [entry.event for entry in reversed(rig.memory.ledger.load().entries)]


def _never_ran(rig: Rig, asked: ShotRequested, reasons: tuple[Reason, ...]) -> Finding:
    why = " ".join(reason.text for reason in reasons) or "Nobody can tell why."
    names = " ".join(_holds_on(rig, asked))
    held = f"end what holds it (`slackwater release {names}`), " if names else ""
    return Finding(
        what=f"the shot did not end as a run: {why}",
        where=f"pump {asked.pump}, {asked.request}",
        expected="a taken and ended run",
        do=f"Look at the node and at `slackwater ledger`, {held}then run `slackwater "
        f"calibrate {asked.pump}` again.",
    )


def _not_wanted(request: str, by: str) -> Finding:
    return Finding(
        what=f"{by} took the shot back before it ran",
        where=request,
        expected="nobody who takes back what is being measured",
        do="Nothing of it has run. Ask who it was, then calibrate again.",
    )


def _another_stage() -> Finding:
    return Finding(
        what="pumps were enabled or disabled meanwhile",
        where="stage",
        expected="a stage that stays as it is until the last shot",
        do="See `slackwater status`, then calibrate again; nothing more was sent.",
    )


def _closed() -> Finding:
    return Finding(
        what="the calibration session is not open",
        where="session",
        expected="an open session",
        do="Use it inside its context.",
    )
