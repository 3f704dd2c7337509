"""How things stand: everything a status tells, read at one moment.

Floor 8. One subject: gathering. Laws here: it reads the ledgers and nothing else, and
writes nothing; the doses of a shadow run come from its own ledger.
"""

from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from slackwater.alarms.pace import SPEAKS
from slackwater.alarms.words import by_pressure, topic_of
from slackwater.cli.cut_off import cut_off
from slackwater.cli.described import described, planned_by_files
from slackwater.cli.grounds import grounds
from slackwater.cli.kept_back import Kept, kept_back
from slackwater.cli.old_doser import still_old
from slackwater.cli.opening import (
    Approved,
    Opened,
    approval_at,
    daemon_is_here,
    newest_approval,
)
from slackwater.cli.outlook import Outlook, Present, outlook
from slackwater.cli.readiness import missing, shadow_ms
from slackwater.cli.shell import Shell
from slackwater.cli.tasks import Due, open_tasks
from slackwater.cli.wording import reason_words
from slackwater.errors import Finding
from slackwater.facts.alarms import StandingAlarm
from slackwater.facts.events import DoseHeld, DoseMissed, HoldRaised
from slackwater.facts.first_aid import TOPICS
from slackwater.facts.fold import fold_all
from slackwater.facts.reasons import Code
from slackwater.facts.state import State
from slackwater.facts.waters import AddedByHand
from slackwater.ledger.by_time import told
from slackwater.ledger.measured import struck_since
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.views import Wanted, entries
from slackwater.outside.glimpse import Glimpse, read_glimpse
from slackwater.planning.timetable import Timetable
from slackwater.service.memory import SHADOW_NAME

ONE_DAY = timedelta(days=1)
EVERYTHING = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Everything a status tells.

    `outlooks` are by tank; `waiting` are the doses that are held back at this moment,
    `missed` those of the last 24 hours by tank, the newest first; `kept` are the lines
    of which nothing would begin now; `glimpse` is what the daemon wrote down last of
    what only it can see.
    """

    found: Opened
    approved: Approved | None
    is_here: bool
    missing: tuple[Finding, ...] = ()
    shadow: timedelta = timedelta()
    outlooks: Mapping[str, Outlook] = field(default_factory=dict)
    due: tuple[Due, ...] = ()
    waiting: tuple[DoseHeld, ...] = ()
    missed: Mapping[str, list[DoseMissed]] = field(default_factory=dict)
    kept: tuple[Kept, ...] = ()
    glimpse: Glimpse | None = None

    @property
    def state(self) -> State:
        """The folded ledger."""
        return self.found.state

    @property
    def holds(self) -> list[HoldRaised]:
        """The holds there are, those of everything first."""
        raised = self.state.holds.values()
        return sorted(raised, key=lambda one: (one.scope != EVERYTHING, one.hold_id))

    @property
    def halves(self) -> dict[str, tuple[timedelta, str]]:
        """How long each scope is still halved, and why; nothing that is yet to come."""
        utc, proven_ms = self.found.now.utc, self.found.proven_ms
        found: dict[str, tuple[timedelta, str]] = {}
        for _, half in sorted(self.state.halves.items()):
            left = timedelta(seconds=half.left_s(utc, proven_ms))
            longest, _ = found.get(half.scope, (timedelta(), ""))
            if left > longest:
                found[half.scope] = left, half.why
        return found

    @property
    def old(self) -> list[str]:
        """Lines, `TANK/LINE`, that an old doser still gives."""
        return still_old(self.state, self.approved)

    @property
    def alarms(self) -> list[StandingAlarm]:
        """The alarms whose cause is still there, the most pressing first."""
        alarms = self.state.alarms.values()
        return by_pressure(one for one in alarms if one.is_standing)

    @property
    def first_aid(self) -> str:
        """The topic that helps with a standing hold, else with the worst alarm."""
        codes = [one.reason.code for one in self.holds]
        topics = [TOPICS[code] for code in codes if code in TOPICS]
        topics += [topic_of(one.raised) for one in self.alarms[:1]]
        return next((topic for topic in topics if topic), "")

    @property
    def word(self) -> tuple[str, str]:
        """The state in one word, and why."""
        if not self.is_here:
            return "STOPPED", "No daemon runs on this ledger; nothing is dosed."
        if self.approved is None:
            return "NO PLAN", _no_plan(self.state)
        if self.found.now.utc >= self.approved.approval.ends_at:
            return "EXPIRED", "The approval has expired; a person must approve again."
        if self.state.holds:
            return "HELD", hold_words(self.holds[0])
        if self.state.stage == "shadow":
            return "SHADOW", "Everything is computed and no pump is commanded."
        live = "LIVE", "Pumps are commanded by the approved plan."
        now = self.found.now.utc
        away = cut_off(self.state, self.glimpse, now, self.zone)
        return away or (("HELD", self._refused_words) if self.refused else live)

    @property
    def refused(self) -> list[Kept]:
        """The lines that the gate itself keeps back, whatever is held besides."""
        return [one for one in self.kept if one.of_gate]

    def kept_of(self, each: Outlook) -> Kept | None:
        """What keeps back the next dose of a tank; None where nothing does."""
        dose = each.following
        name = "" if dose is None else f"{dose.tank}/{dose.line}"
        return next((one for one in self.kept if one.line == name), None)

    @property
    def _refused_words(self) -> str:
        """The first reason, of which pumps unless of all, and how many others."""
        first = self.refused[0].of_gate[0]
        same = [one for one in self.refused if first in one.of_gate]
        names = ", ".join(dict.fromkeys(one.pump for one in same))
        lines = self.approved.plan.lines if self.approved else ()
        scope = "" if len(same) == len(lines) else f"{names}: "
        others = {str(each) for one in self.refused for each in one.of_gate}
        more = "" if len(others) == 1 else " And more: `slackwater why`."
        return f"{scope}{reason_words(first, same[0].tank)}{more}"

    @property
    def zone(self) -> str:
        """The wall clock of the only tank; UTC for several zones or none."""
        zones = {each.tank.zone for each in self.outlooks.values()}
        return zones.pop() if len(zones) == 1 else "UTC"


def hold_words(raised: HoldRaised) -> str:
    """What is held, unless it is everything, and why."""
    scope = "" if raised.scope == EVERYTHING else f"{raised.scope}: "
    return f"{scope}{reason_words(raised.reason)}"


def standing(found: Opened, shell: Shell) -> Standing:
    """Gather it; `found` is the open ledger of the shell's directory.

    Raises: the ledger errors of the shadow run's ledger.
    """
    approved = approval_at(found.state, found.now.utc) or newest_approval(found.state)
    state_dir = shell.state
    here = daemon_is_here(state_dir)
    is_here = found.state.running if here is None else here
    in_shadow = found.state.stage == "shadow"
    lived, missed = _lived(found, state_dir)
    return Standing(
        found=found,
        approved=approved,
        is_here=is_here,
        missing=_missing(found, shell) if in_shadow else (),
        shadow=timedelta(milliseconds=shadow_ms(found.state, found.stamp, state_dir)),
        outlooks={} if approved is None else _outlooks(found, approved, lived),
        due=tuple(
            open_tasks(found.state, found.now.utc, described(shell, found.state))
        ),
        waiting=tuple(lived.held.values()) if is_here else (),
        missed=missed,
        kept=kept_back(grounds(found, state_dir)),
        glimpse=read_glimpse(state_dir),
    )


def _missing(found: Opened, shell: Shell) -> tuple[Finding, ...]:
    """What pumps wait for; before a plan is approved the file says which there are."""
    planned = None if newest_approval(found.state) else planned_by_files(shell)
    return tuple(missing(found.state, found.stamp, shell.state, planned))


def _lived(
    found: Opened, state_dir: Path
) -> tuple[State, Mapping[str, list[DoseMissed]]]:
    """Where the doses are, real or imagined, and which of a day were missed."""
    if found.state.stage != "shadow":
        return found.state, _missed(found, found.ledger)
    path = state_dir / SHADOW_NAME
    if not path.exists():
        return State(), {}
    with closing(LedgerFile.open(path, "shadow", writable=False)) as ledger:
        state = fold_all(State(), (entry.event for entry in ledger.load().entries))
        return state, _missed(found, ledger)


def _missed(found: Opened, ledger: LedgerFile) -> dict[str, list[DoseMissed]]:
    tanks: dict[str, list[DoseMissed]] = {}
    since = found.now.utc - ONE_DAY
    for event in _missed_since(since, ledger):
        # After a gap days of doses are written down in one moment.
        if event.dose.due_at > since and _is_ours(event):
            tanks.setdefault(event.dose.tank, []).append(event)
    return tanks


def _is_ours(event: DoseMissed) -> bool:
    """Whether it was one of the plan; a shot has no line, an old doser's was given."""
    if not event.dose.line:
        return False
    return all(reason.code is not Code.OLD_DOSER for reason in event.reasons)


def _missed_since(since: datetime, ledger: LedgerFile) -> Iterator[DoseMissed]:
    """What was written down as missed since then, the newest first."""
    # Intents are asked for as well because there are many: they end the search.
    kinds = ("dose_missed", "dose_intended")
    for entry in entries(ledger, Wanted(kinds=kinds, newest_first=True)):
        if entry.event.at < since:
            return
        if isinstance(entry.event, DoseMissed):
            yield entry.event


def _outlooks(found: Opened, approved: Approved, lived: State) -> dict[str, Outlook]:
    present = Present(
        state=found.state,
        lived=lived,
        timetable=Timetable(approved.plan, approved.machine),
        now=found.now.utc,
        utc=max(found.now.utc, approved.approval.takes_over_at),
        due_after=max(found.now.utc, approved.approval.doses_after),
        proven_ms=found.proven_ms,
        struck=_struck(found),
    )
    return {tank: outlook(present, tank) for tank in sorted(approved.machine.tanks)}


def _struck(found: Opened) -> tuple[AddedByHand, ...]:
    """What was told of a hand and struck: it stays charged, and was not given."""
    since = found.now.utc - SPEAKS
    gone = struck_since(found.ledger, since)
    if not gone:
        return ()
    added = told(found.ledger, AddedByHand, since)
    return tuple(one for one in added if one.id in gone)


def _no_plan(state: State) -> str:
    if not state.approvals:
        return "No plan is approved: `slackwater approve`."
    return "The approved plan has not taken over yet."
