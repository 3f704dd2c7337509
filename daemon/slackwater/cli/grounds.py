"""Everything that allows, shortens or holds a pump, gathered at one moment.

Floor 8. One subject: the grounds of a why. Laws here: holds, caps and ages come from
the ledger as of now; what only the daemon can see comes from its last glimpse and says
how old it is; nothing here decides anew what the gate decides.
"""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from slackwater.alarms.conditions import ask_of
from slackwater.alarms.holds import stopped_by
from slackwater.alarms.words import by_pressure
from slackwater.cli.accounts import Account, accounts
from slackwater.cli.cap_room import OF_TIME, room_ms
from slackwater.cli.opening import (
    Approved,
    Opened,
    approval_at,
    daemon_is_here,
    newest_approval,
)
from slackwater.facts.alarms import StandingAlarm
from slackwater.facts.events import HoldRaised
from slackwater.facts.fold import fold_all
from slackwater.facts.lives import as_named, without_times
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.safeguards import BypassGranted
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Pump, Tank
from slackwater.gate.bypass import is_bypassed
from slackwater.gate.caps import unanswered_left_ms
from slackwater.gate.interlocks import hold_is_left_aside
from slackwater.gate.moment import LineRule, Moment, PumpRule, rules_for
from slackwater.ledger.store import LedgerFile
from slackwater.outside.glimpse import FRESH, Glimpse, PumpGlimpse, read_glimpse
from slackwater.planning.lowering import lowered
from slackwater.planning.timetable import Timetable
from slackwater.service.memory import SHADOW_NAME

# What passes by itself, and in how many seconds where it does not say so.
PASSING_S = {
    Code.GAP_SAME_PUMP: 60.0,
    Code.GAP_APART: 900.0,
    Code.NODE_BUSY: 60.0,
    Code.NODE_SETTLING: 90.0,
    Code.OPEN_INTENT: 60.0,
    Code.START_HOLD_OFF: 60.0,
}
# Every line doses at least once in sixty days.
DAYS_SEARCHED = 62


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """One line of the plan with everything that speaks for and against it.

    `seen` is what the gate would say of a dose now, None when no daemon looked lately;
    `bypasses` are interlocks left aside for it, whose holds are not among `holds`;
    `ahead_s` how long it is until the next one is due; `unanswered_ms` for how long
    caps still count what nobody said was dosed before the ledger was made; `room_s` how
    long until no cap refuses it, 0 where none does, None where no day ends that;
    `skipped` are doses before `following` that somebody asked to leave out.
    """

    rule: LineRule
    pump: Pump
    tank: Tank
    following: DueDose | None
    ahead_s: float
    holds: tuple[HoldRaised, ...]
    seen: PumpGlimpse | None
    accounts: tuple[Account, ...]
    bypasses: tuple[BypassGranted, ...] = ()
    unanswered_ms: int = 0
    room_s: float | None = 0.0
    skipped: tuple[DueDose, ...] = ()

    @property
    def name(self) -> str:
        """The line, `TANK/LINE`."""
        return f"{self.rule.line.tank}/{self.rule.line.id}"

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why it would not run, besides holds and what is over before it is due."""
        refused = self._unanswered if self.seen is None else self.seen.refused
        return tuple(one for one in refused if not self._passes(one))

    @property
    def passing(self) -> tuple[Reason, ...]:
        """Gaps and the like that end before the next dose is due."""
        refused = () if self.seen is None else self.seen.refused
        return tuple(one for one in refused if self._passes(one))

    def _passes(self, reason: Reason) -> bool:
        if reason.code not in OF_TIME:
            return _left_s(reason) <= self.ahead_s
        return self.room_s is not None and self.room_s <= self.ahead_s

    @property
    def _unanswered(self) -> tuple[Reason, ...]:
        """What the ledger alone tells where no daemon looked: caps are used up."""
        if not self.unanswered_ms:
            return ()
        cap_ul = self.pump.per_day_ul
        asked_ul = 0 if self.following is None else self.following.volume_ul
        return (
            because(
                Code.CAP_ROLLING, charged_ul=cap_ul, asked_ul=asked_ul, cap_ul=cap_ul
            ),
        )

    @property
    def word(self) -> str:
        """What a dose would do now, in one word."""
        if self.holds or self.reasons:
            return "held"
        if self.seen is None:
            return "unknown"
        return "shortened" if self.seen.volume_ul < self.seen.asked_ul else "allowed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """What a why tells, of every line or some."""

    found: Opened
    approved: Approved | None
    is_here: bool | None
    glimpse: Glimpse | None
    lines: tuple[Ground, ...] = ()

    @property
    def state(self) -> State:
        """The folded ledger."""
        return self.found.state

    @property
    def age(self) -> timedelta | None:
        """How old the glimpse is; None when there is none."""
        return None if self.glimpse is None else self.found.now.utc - self.glimpse.at

    @property
    def alarms(self) -> list[StandingAlarm]:
        """What stands, the most pressing first."""
        alarms = self.state.alarms.values()
        return by_pressure(one for one in alarms if one.is_standing)


def _left_s(reason: Reason) -> float:
    """How long a reason lasts at most, endless unless it is known to pass."""
    if reason.code not in PASSING_S:
        return float("inf")
    left = reason.figures.get("left_s", PASSING_S[reason.code])
    return float(left) if isinstance(left, int | float) else float("inf")


def skipping(state: State, dose_id: str) -> str | None:
    """The request by which a dose will be left out; None where nobody asked."""
    skipped = state.skipped
    return skipped.get(dose_id) or skipped.get(without_times(dose_id))


def grounds(found: Opened, state_dir: Path, pump: str = "") -> Grounds:
    """Gather them for all lines, or for those of one pump.

    Raises: the ledger errors of the shadow run's ledger.
    """
    utc = found.now.utc
    approved = approval_at(found.state, utc) or newest_approval(found.state)
    seen = read_glimpse(state_dir)
    gathered = Grounds(
        found=found,
        approved=approved,
        is_here=daemon_is_here(state_dir),
        glimpse=seen,
    )
    if approved is None:
        return gathered
    lived = _lived(found, state_dir)
    fresh = gathered.is_here and gathered.age is not None and gathered.age <= FRESH
    moment = _moment(found, approved)
    lines = tuple(_lines(moment, approved, lived, seen if fresh else None))
    return Grounds(
        found=found,
        approved=approved,
        is_here=gathered.is_here,
        glimpse=seen,
        lines=tuple(one for one in lines if pump in ("", one.pump.id)),
    )


def _lived(found: Opened, state_dir: Path) -> State:
    """Where doses are charged: in the ledger, or in the shadow run's own."""
    path = state_dir / SHADOW_NAME
    if found.state.stage != "shadow" or not path.exists():
        return found.state
    with closing(LedgerFile.open(path, "shadow", writable=False)) as ledger:
        return fold_all(State(), (entry.event for entry in ledger.load().entries))


def _moment(found: Opened, approved: Approved) -> Moment:
    """The approved rules now, with caps that the file holds lower.

    What only the daemon can see is not in it.
    """
    machine = lowered(approved.machine, found.state.lowered)
    return Moment(
        now=found.now,
        proven_ms=found.proven_ms,
        state=found.state,
        sight=Sight(started_boot_s=found.now.boot_s),
        machine=machine,
        rules=rules_for(machine, approved.plan),
        approval=approved.approval,
    )


def _lines(
    moment: Moment, approved: Approved, lived: State, seen: Glimpse | None
) -> Iterator[Ground]:
    timetable = Timetable(approved.plan, approved.machine)
    charges, days = lived.charges, lived.days
    charged = replace(moment, state=replace(moment.state, charges=charges, days=days))
    for name, rule in sorted(moment.rules.lines.items()):
        pump = moment.rules.pumps.get(rule.line.pump)
        tank = moment.machine.tanks.get(rule.line.tank)
        if pump is None or tank is None:
            continue
        # A plan that takes over later doses nothing before, nor what it leaves out.
        begins = max(moment.now.utc, approved.approval.doses_after)
        skipped: list[DueDose] = []
        following = _following(moment, (timetable, rule), begins, skipped)
        line_seen = None if seen is None else seen.lines.get(name)
        due_at = moment.now.utc if following is None else following.due_at
        yield Ground(
            rule=rule,
            pump=pump.pump,
            tank=tank,
            following=following,
            ahead_s=(due_at - moment.now.utc).total_seconds(),
            holds=tuple(_holds(moment, name, pump)),
            bypasses=tuple(
                known
                for one, known in sorted(moment.state.bypasses.items())
                if is_bypassed(moment, one, pump)
            ),
            seen=line_seen,
            accounts=tuple(accounts(moment, lived, pump, tank)),
            unanswered_ms=unanswered_left_ms(moment.state, moment.proven_ms),
            room_s=_room_s(charged, rule, line_seen),
            skipped=tuple(skipped),
        )


def _room_s(moment: Moment, rule: LineRule, seen: PumpGlimpse | None) -> float | None:
    """Until when caps refuse as much as is left of a dose, by what `moment` charges."""
    ask = ask_of(moment, rule)
    if ask is None:
        return 0.0
    volume_ul = ask.dose.volume_ul if seen is None else seen.volume_ul
    left_ms = room_ms(moment, ask, volume_ul or ask.dose.volume_ul)
    return None if left_ms is None else left_ms / 1000


def _following(
    moment: Moment,
    asked: tuple[Timetable, LineRule],
    after: datetime,
    skipped: list[DueDose],
) -> DueDose | None:
    """The next dose that nobody asked to leave out; those before it are `skipped`."""
    timetable, rule = asked
    for days in range(DAYS_SEARCHED):
        begin = after + timedelta(days=days)
        for dose in timetable.between(begin, begin + timedelta(days=1)):
            if (dose.tank, dose.line) != (rule.line.tank, rule.line.id):
                continue
            named = as_named(moment.state, dose)
            if skipping(moment.state, named.id) is None:
                return named
            skipped.append(named)
    return None


def _holds(moment: Moment, line: str, pump: PumpRule) -> Iterator[HoldRaised]:
    for _, hold in sorted(moment.state.holds.items()):
        is_over = hold.until is not None and moment.now.utc >= hold.until
        is_over = is_over or hold_is_left_aside(moment, hold, pump)
        if not is_over and line in stopped_by(moment, hold):
            yield hold
