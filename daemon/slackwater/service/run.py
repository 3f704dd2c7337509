"""The daemon: build a rig, take charge, pass after pass, until told to stop.

Floor 7. One subject: the life of the process. Laws here: shadow until a person
enabled pumps, and back at once when disabled; a new fence each time it takes charge;
whatever goes wrong in a pass ends the process, and nothing is sent on the way out.
"""

import signal
import sys
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import FrameType

import structlog
from structlog.typing import FilteringBoundLogger

from slackwater import __version__
from slackwater.errors import LedgerError, SlackwaterError
from slackwater.facts.events import Started, Stopped
from slackwater.facts.messages import StopPump
from slackwater.facts.state import State
from slackwater.outside.clock import SystemClock
from slackwater.outside.memory_images import forbid_memory_images
from slackwater.ports import Clock
from slackwater.service import logs, systemd
from slackwater.service.alarming import look, tell_the_end
from slackwater.service.chores import do_chores, set_chores
from slackwater.service.loop import one_pass, stamp_of, take_news, write
from slackwater.service.memory import Memory, Mode
from slackwater.service.standing import only_one, zone_hashes
from slackwater.service.succeeding import hold_if_otherwise, version_before
from slackwater.service.tables import hold_changed_tables
from slackwater.service.wiring import Places, Rig, build, commanding, connect
from slackwater.turn.starting import storm_hold

# The loop looks at everything at least this often; the alarm only makes it sooner.
TICK_S = 1.0
# A run that is under way is waited for this long when the daemon stops.
FINISH_S = 30.0
# Fences count minutes from here, so that a lost ledger still begins higher.
FENCE_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)

_log: FilteringBoundLogger = structlog.get_logger()


@dataclass(slots=True)
class Stop:
    """Whether somebody asked the process to end."""

    asked: bool = False
    rigs: list[Rig] = field(default_factory=list)

    def __call__(self, _number: int, _frame: FrameType | None) -> None:
        """Take a signal: the loop finishes its pass and then stops."""
        self.asked = True
        for rig in self.rigs:
            rig.mailbox.wake()


def main(places: Places, clock: Clock | None = None) -> int:
    """Run until SIGTERM or SIGINT; 0 after a clean stop, 2 when it cannot go on."""
    forbid_memory_images()
    logs.set_up(terminal=sys.stderr.isatty())
    used = clock or SystemClock()
    stop = Stop()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)
    with only_one(places.state):
        while not stop.asked:
            mode = _mode_of(places)
            _log.info(logs.STAGE_CHANGED, mode=mode)
            _serve(places, used, mode, stop)
    return 0


def _mode_of(places: Places) -> Mode:
    with closing(Memory(places.state, "live")) as memory:
        memory.open()
        return memory.state.stage


def _serve(places: Places, clock: Clock, mode: Mode, stop: Stop) -> None:
    """One mode from taking charge to letting go."""
    memory = Memory(places.state, mode)
    memory.open()
    rig = build(places, clock, memory, mode)
    stop.rigs = [rig]
    try:
        # Without the word for commands it takes charge of nothing: no unclean start.
        actuate = commanding(rig.link)
        if actuate is not None:
            actuate.check()
        before = version_before(memory.ledger)
        take_charge(rig)
        hold_if_otherwise(rig, before)
        hold_changed_tables(rig)
        connect(rig)
        set_chores(rig)
        systemd.ready()
        _passes(rig, stop)
        _finish(rig, stop)
    except SlackwaterError as error:
        _log.error(logs.DAEMON_GAVE_UP, why=str(error))
        if isinstance(error, LedgerError):
            tell_the_end(rig)
        raise
    except Exception:
        # Nothing is sent any more; nodes end their runs by themselves.
        _log.exception(logs.TURN_FAILED)
        raise
    finally:
        systemd.stopping()
        stop.rigs = []
        rig.close()


def _passes(rig: Rig, stop: Stop) -> None:
    # Asked before the first pass as well: what a start read may say so already.
    while _goes_on(rig, stop):
        do_chores(rig)
        one_pass(rig, TICK_S)
        if _goes_on(rig, stop):
            rig.check_links()
            look(rig)
            systemd.alive(f"{rig.mode}, {len(rig.memory.state.holds)} holds")


def _goes_on(rig: Rig, stop: Stop) -> bool:
    return not stop.asked and rig.fits


def _finish(rig: Rig, stop: Stop) -> None:
    """Let runs that are under way end, then write down a clean stop.

    Whoever disabled pumps wants them still: what runs is stopped, each pass again. A
    daemon that is told to end lets the dose come to its end instead.
    """
    rig.begin_nothing_new()
    begin_s = rig.clock.now().boot_s
    while rig.memory.state.open and rig.clock.now().boot_s - begin_s < FINISH_S:
        if rig.memory.state.stage == "shadow":
            _stop_runs(rig)
        one_pass(rig, TICK_S)
    why = "asked to stop" if stop.asked else "stage changed"
    while not write(rig, [Stopped(**stamp_of(rig), why=why)]):
        take_news(rig)
    rig.memory.ledger.write_witness()
    _log.info(logs.DAEMON_STOPPED, why=why)


def _stop_runs(rig: Rig) -> None:
    for known in rig.memory.state.open.values():
        command = known.intent.command
        rig.link.stop(StopPump(node=command.node, channel=command.channel))


def take_charge(rig: Rig) -> None:
    """Raise the fence and say who is here; too many unclean starts latch."""
    while True:
        state = rig.memory.state
        started = Started(
            **stamp_of(rig),
            version=__version__,
            boot_id=rig.clock.now().boot_id,
            fence=next_fence(state, rig.clock.now().utc),
            mode=rig.mode,
            digest=state.approvals[-1].approval.digest if state.approvals else "",
            zone_sha256=zone_hashes(rig.setup.machine),
            shortened_timing=rig.setup.machine.shortened_timing,
        )
        if write(rig, [started]):
            break
        take_news(rig)
    _log.info(logs.DAEMON_STARTED, mode=rig.mode, version=__version__)
    _hold_after_storm(rig)


def next_fence(state: State, utc: datetime) -> int:
    """One more than the last, and never below the minutes since 2020."""
    minutes = int((utc - FENCE_EPOCH) / timedelta(minutes=1))
    return max(state.fence + 1, minutes)


def _hold_after_storm(rig: Rig) -> None:
    while True:
        memory = rig.memory
        hold = storm_hold(memory.state, rig.setup.machine.timing, stamp_of(rig))
        if hold is None or write(rig, [hold]):
            return
        take_news(rig)
