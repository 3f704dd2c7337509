"""What must be so before a pump runs into a cylinder.

Floor 8. One subject: getting ready for shots. Laws here: what would keep a shot waiting
for ever is refused before anybody is asked anything; a shot left over from a session
that broke off never runs; nobody waits for a node without being told.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC
from pathlib import Path

import click

from slackwater.cli.asked_by_hand import waiting
from slackwater.cli.opening import Opened, daemon_is_here, newest_approval, opened
from slackwater.cli.readiness import CLOCK_CODES
from slackwater.cli.shell import Shell
from slackwater.cli.width import error_columns, fitted
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding, InputError, LedgerError, RefusedError
from slackwater.facts.events import DoseMissed, HoldRaised, ShotRequested
from slackwater.facts.now import Now
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import MEASURED_FIRST, Code, because
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump
from slackwater.facts.wear import measured_elsewhere
from slackwater.gate.interlocks import hold_is_left_aside
from slackwater.gate.moment import Moment, rules_for
from slackwater.outside.settings import read_machine
from slackwater.service.calibrating import scopes_of
from slackwater.service.loop import one_pass, stamp_of, take_news, write
from slackwater.service.run import TICK_S
from slackwater.service.wiring import Rig

# Beats come every 5 s; within this time a node that is there was heard.
LISTEN_S = 30.0


def ready_pump(shell: Shell, pump: str) -> tuple[Pump, Machine]:
    """The pump to be measured and its machine, when a shot of it can run at all.

    An approved machine counts before the files, as it does for the daemon.
    Raises: InputError for a pump that is not there, RefusedError beside a running
    daemon, for what is new while pumps are enabled, with a clock nobody vouches for or
    under a hold that waits for a person, PermissionError, the ledger errors.
    """
    # Opened as it will be needed: who may not write is told so before a question.
    with opened(shell.state, writable=True) as found:
        approved = newest_approval(found.state)
        machine = approved.machine if approved else read_machine(shell.config)
        if pump not in machine.pumps:
            raise InputError(_no_pump(pump, machine, is_approved=approved is not None))
        if found.state.stage == "live":
            _refuse_new(found.state, machine.pumps[pump])
        if daemon_is_here(shell.state):
            raise RefusedError(_beside_daemon(shell.state))
        if not is_clock_vouched(found.state, found.now, machine):
            raise RefusedError(_clock_unproven())
        if holds := _holds_on(found, machine, pump):
            raise RefusedError([_held(raised, pump) for raised in holds])
    return machine.pumps[pump], machine


def is_clock_vouched(state: State, now: Now, machine: Machine) -> bool:
    """Whether a time service or a person vouches for the clock, and none doubts it."""
    by_person = bool(now.boot_id) and state.clock_confirmed_boot == now.boot_id
    doubted = any(raised.reason.code in CLOCK_CODES for raised in state.holds.values())
    return (now.synchronised or machine.clock_confirmed or by_person) and not doubted


def _holds_on(found: Opened, machine: Machine, pump: str) -> list[HoldRaised]:
    """The holds under which a shot would wait in vain, by name.

    What ends with the next word of a node or a switch is left to the gate, and what
    waits for this very measurement stops no shot.
    """
    moment = Moment(
        now=found.now,
        proven_ms=found.proven_ms,
        state=found.state,
        sight=Sight(started_boot_s=found.now.boot_s),
        machine=machine,
        rules=rules_for(machine, None),
        approval=None,
    )
    rule, utc = moment.rules.pumps[pump], found.now.utc
    return [
        raised
        for _, raised in sorted(found.state.holds.items())
        if raised.scope in scopes_of(machine.pumps[pump])
        and raised.reason.code not in MEASURED_FIRST
        and (raised.latched if raised.until is None else utc < raised.until)
        and not hold_is_left_aside(moment, raised, rule)
    ]


@contextmanager
def nothing_left_over(rig: Rig) -> Iterator[None]:
    """Give up shots of earlier sessions, and at the end what this one did not run."""
    set_aside(rig)
    try:
        yield
    finally:
        with suppress(LedgerError):
            set_aside(rig)


def set_aside(rig: Rig) -> None:
    """Put every shot that was asked for and not begun on record as never run.

    Raises: the ledger errors.
    """
    while left := waiting(rig.memory.state):
        events = [
            DoseMissed(
                **stamp_of(rig),
                dose=_as_dose(request, rig.setup.machine),
                reasons=(because(Code.REQUEST_EXPIRED),),
            )
            for request in left
        ]
        if not write(rig, events):
            take_news(rig)


def hear_node(rig: Rig, node: str, say: Callable[[str], None]) -> None:
    """Wait until the node was heard once; nothing can run meanwhile.

    Raises: RefusedError when it was not heard within `LISTEN_S`.
    """
    begin_s = rig.clock.now().boot_s
    say(f"Listening for node {node} …")
    while node not in rig.sight.nodes:
        if rig.clock.now().boot_s - begin_s > LISTEN_S:
            raise RefusedError(_unheard(node, is_linked=rig.sight.observe_up))
        one_pass(rig, TICK_S)


def say(text: str) -> None:
    """A line for the person who measures, beside what a script reads."""
    click.echo(fitted(text, error_columns()), err=True)


def _as_dose(request: ShotRequested, machine: Machine) -> DueDose:
    known = machine.pumps.get(request.pump)
    return DueDose(
        id=request.request,
        line="",
        tank=known.tank if known else "",
        pump=request.pump,
        local_day=request.at.astimezone(UTC).date(),
        ordinal=1,
        due_at=request.at,
        latest_at=request.until,
        volume_ul=request.volume_ul,
    )


def _no_pump(pump: str, machine: Machine, *, is_approved: bool) -> Finding:
    approve = "If it is new in slackwater.toml, run `slackwater approve` first."
    return Finding(
        what=f'there is no pump "{pump}"',
        where="calibrate PUMP",
        expected="one of " + ", ".join(sorted(machine.pumps)),
        do=approve if is_approved else "Name the pump as slackwater.toml does.",
    )


def _refuse_new(state: State, pump: Pump) -> None:
    """Refuse, while pumps are enabled, a pump that is to be seen in shadow first.

    One that was measured before, at this very place, stays enabled meanwhile.
    Raises: RefusedError.
    """
    known = state.calibrations.get(pump.id)
    changed = any(
        raised.scope == f"pump/{pump.id}" and raised.reason.code is Code.PUMP_CHANGED
        for raised in state.holds.values()
    )
    if changed or known is None or measured_elsewhere(known, pump):
        raise RefusedError(_new(pump.id))


def _new(pump: str) -> Finding:
    return Finding(
        what=f"{pump} was never measured as it is, and pumps are enabled",
        where=f"pump {pump}",
        expected="shadow: what is new is looked at there before it doses",
        do="Nothing has run. Run `slackwater disable`, stop the daemon, calibrate, "
        "approve, and enable again.",
    )


def _beside_daemon(state_dir: Path) -> Finding:
    return Finding(
        what="a daemon runs on this ledger",
        where=str(state_dir),
        expected="no daemon while a pump is measured: only one may command",
        do="Stop it (`systemctl stop slackwater`, or Ctrl-C where it runs), "
        "calibrate, then start it again.",
    )


def _held(raised: HoldRaised, pump: str) -> Finding:
    note = f' "{raised.note}"' if raised.note else ""
    by_itself = "" if raised.until is None else ", or wait until it ends by itself"
    return Finding(
        what=f"{pump} is held: {reason_words(raised.reason)}{note}",
        where=f"hold {raised.hold_id} ({raised.scope})",
        expected="no hold that stops this pump",
        do=f"Nothing has run. Look at what it says, then run `slackwater release "
        f"{raised.hold_id}`{by_itself}, and calibrate.",
    )


def _clock_unproven() -> Finding:
    return Finding(
        what="nobody vouches for the clock of this machine",
        where="clock",
        expected="a clock that a time service keeps, or that a person confirmed",
        do="Run `slackwater clock confirm`, then calibrate. Nothing has run.",
    )


def _unheard(node: str, *, is_linked: bool) -> Finding:
    if is_linked:
        return Finding(
            what=f"node {node} was not heard within {LISTEN_S:.0f} s",
            where=f"slackwater.toml [node.{node}]",
            expected="a beat of it every few seconds",
            do="Nothing has run. Look at the node's power, its network, and the name "
            "and site it uses on the broker.",
        )
    return Finding(
        what=f"the broker did not answer within {LISTEN_S:.0f} s",
        where="slackwater.toml [broker]",
        expected="a broker that takes this connection",
        do="Nothing has run. Start the broker; look at host, port and passwords.",
    )
