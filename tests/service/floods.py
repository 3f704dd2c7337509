"""A household that doses each second while somebody floods its broker."""

import statistics
import time
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseIntended,
    DoseMissed,
    DoseVoided,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Timing
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import entries
from slackwater.service.memory import LIVE_NAME
from tests.outside.flooding import Flood
from tests.outside.peers import Peer
from tests.service.household import (
    MACHINE,
    Household,
    approve,
    enable,
    household,
    until,
)
from tests.service.kills import DOSE_UL, EVERY_S, machine, plan, true_reef

PER_S = 10_000
BEAT_AT = "slackwater/1/home/node/shelf/beat"
# Nobody who keeps to the contract speaks or listens there.
UNRELATED = "somebody/else/altogether"
# A quarter second is a look; the process is looked at in quarters of the run.
LOOK_S = 0.25
# A node that looks late runs on to its cut: 150 ms at 1 µL/ms.
LATE_LOOK_UL = 150


@dataclass(slots=True, kw_only=True)
class Measured:
    """What a flood did: doses due meanwhile, memory by looks, and the water.

    Units: `rss_kib` KiB, `late_s` from due to intent, seconds, volumes µL.
    """

    sent: int = 0
    per_s: float = 0.0
    due: int = 0
    begun: int = 0
    missed: list[str] = field(default_factory=list)
    unexplained: list[str] = field(default_factory=list)
    late_s: list[float] = field(default_factory=list)
    rss_kib: list[int] = field(default_factory=list)
    unsafe: list[str] = field(default_factory=list)

    @property
    def on_time(self) -> float:
        """Share of the doses that began before their latest start."""
        return self.begun / self.due if self.due else 0.0

    @property
    def growth(self) -> float:
        """How much more memory at the end than after the first quarter, as a share.

        The ends are the medians of a tenth of the run: one page fault is no rise.
        """
        tenth = max(1, len(self.rss_kib) // 10)
        quarter = len(self.rss_kib) // 4
        first = statistics.median(self.rss_kib[quarter : quarter + tenth])
        return statistics.median(self.rss_kib[-tenth:]) / first - 1


def flooded(
    folder: Path, topics: tuple[str, ...], span_s: float, per_s: int = PER_S
) -> Measured:
    """Dose each second, flood topics for so long with a beat that was heard, judge.

    The beat is a genuine one, so on its own topic it is the worst that anybody can say
    who has no key: it fits, and says that nothing has run since.
    """
    text = MACHINE.replace('"30 mL/min"', '"60 mL/min"')
    options = {"--reef": str(true_reef(folder)), "--beat-s": "0.1"}
    with household(folder, text, options) as home:
        begun = datetime.now(UTC)
        approve(home, plan(begun, DOSE_UL), _patient(machine(home.config)))
        enable(home)
        daemon = home.start()
        until(lambda: _has_ended(home, begun), "the first dose")
        with Peer(home.port, BEAT_AT) as listener:
            until(lambda: bool(listener.received), "a beat")
            beat = listener.received[0][1]
        made = Measured()
        first = datetime.now(UTC)
        with ExitStack() as all_at_once:
            floods = [
                all_at_once.enter_context(Flood(home.port, topic, beat, per_s))
                for topic in topics
            ]
            end_s = time.monotonic() + span_s
            while time.monotonic() < end_s:
                assert daemon.poll() is None, "the daemon ended"
                made.rss_kib.append(resident_kib(daemon.pid))
                time.sleep(LOOK_S)  # the span is the experiment
        last = datetime.now(UTC)
        made.sent = sum(flood.sent for flood in floods)
        made.per_s = min(flood.per_s for flood in floods)
        until(lambda: _has_ended(home, last), "a dose after the flood")
        # In this order: without its node a run under way would be waited for in vain.
        daemon.terminate()
        daemon.wait()
        home.reef.terminate()
        home.reef.wait()
        events = ledger_of(home)
        _count(made, events, (first, last))
        made.unsafe = unsafe(events, home.delivered_ul())
        return made


def ledger_of(home: Household) -> list[AnyEvent]:
    """Every entry."""
    with LedgerFile.open(home.state / LIVE_NAME, writable=False) as ledger:
        return [entry.event for entry in entries(ledger)]


def resident_kib(pid: int) -> int:
    """Resident memory of a process (proc(5))."""
    for line in Path(f"/proc/{pid}/status").read_text("ascii").splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    return 0


def unsafe(events: list[AnyEvent], delivered_ul: float) -> list[str]:
    """Signs of a dose that should not have been; empty as it must be."""
    intents = [event for event in events if isinstance(event, DoseIntended)]
    by_attempt = {intent.command.attempt: intent for intent in intents}
    names = [intent.dose.id for intent in intents]
    found = [f"{name} twice" for name in set(names) if names.count(name) > 1]
    found += [
        f"{intent.dose.id}: {intent.command.ul} µL"
        for intent in intents
        if intent.command.ul > DOSE_UL
    ]
    found += [
        f"{event.attempt}: {event.believed_ul} µL"
        for event in events
        if isinstance(event, DoseEnded)
        and event.believed_ul > by_attempt[event.attempt].command.ul + LATE_LOOK_UL
    ]
    charged_ul = sum(fold_all(State(), events).days["pump/carbonate"].values())
    if delivered_ul > charged_ul:
        found.append(f"{delivered_ul} µL flowed, {charged_ul} µL are charged")
    return found


def _patient(made: Machine) -> Machine:
    """With the deadline of a machine whose file says nothing of it."""
    return replace(made, timing=replace(made.timing, deadline_s=Timing().deadline_s))


def _has_ended(home: Household, since: datetime) -> bool:
    events = [event for event in ledger_of(home) if event.at >= since]
    begun = {e.command.attempt for e in events if isinstance(e, DoseIntended)}
    return any(e.attempt in begun for e in events if isinstance(e, DoseEnded))


def _count(
    made: Measured, events: list[AnyEvent], span: tuple[datetime, datetime]
) -> None:
    """Sort the doses that were due in the span by what became of them."""
    begun = {e.dose.due_at: e for e in events if isinstance(e, DoseIntended)}
    missed = {e.dose.due_at: e for e in events if isinstance(e, DoseMissed)}
    voided = {e.attempt: e for e in events if isinstance(e, DoseVoided)}
    due = span[0].replace(microsecond=0) + timedelta(seconds=1)
    while due < span[1]:
        made.due += 1
        intent = begun.get(due)
        why = missed.get(due) or (intent and voided.get(intent.command.attempt))
        if why:
            made.missed += [reason.code for reason in why.reasons] or [""]
        elif intent is not None:
            made.begun += 1
            made.late_s.append((intent.at - due).total_seconds())
        else:
            made.unexplained.append(f"{due:%H:%M:%S}")
        due += timedelta(seconds=EVERY_S)
