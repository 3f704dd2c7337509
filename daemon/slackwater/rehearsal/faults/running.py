"""Runs fault cases and reckons up what came of them.

Floor 6. One subject: one house for each case, from a day before the strike to a day
after it. Laws here: what counts as safe is asked of the real gate; what was carried
over, doubled or beyond a cap is looked for in entries and water, not assumed.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from slackwater.facts.events import (
    AnyEvent,
    DoseHeld,
    DoseIntended,
    DoseMissed,
    DoseSealed,
    DoseVoided,
    HoldRaised,
)
from slackwater.facts.fold import fold_all
from slackwater.facts.now import Mark
from slackwater.facts.plan import Approval, DueDose, Plan
from slackwater.facts.reasons import Code
from slackwater.facts.sight import NodeSight, Sight
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.gate.moment import Ask
from slackwater.gate.resuming import WHOLE
from slackwater.gate.shortening import Share, share_of
from slackwater.gate.verdict import Granted, Verdict, may_dose
from slackwater.planning.timetable import Timetable, timetable_of
from slackwater.pump.command import run_ms
from slackwater.pump.outcome import Stamp
from slackwater.rehearsal.clock_changes import next_changes
from slackwater.rehearsal.exchanges import prepared
from slackwater.rehearsal.faults.accounts import carried, highest, over_caps
from slackwater.rehearsal.faults.case import (
    Answer,
    Case,
    FaultRun,
    NotTried,
    Target,
    Tried,
)
from slackwater.rehearsal.faults.house import (
    BOOT,
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    House,
    Times,
)
from slackwater.rehearsal.faults.node import CONFIGURATION, HARDWARE, Head, Node
from slackwater.rehearsal.relays import tried_out
from slackwater.rehearsal.virtual_probe import VirtualProbes, watched
from slackwater.rehearsal.virtual_tank import midnight
from slackwater.turn.setup import make_setup
from slackwater.turn.step import moment_at

# So long goes by before a fault strikes, and after it: every 24 h are full then.
BEFORE = timedelta(hours=26)
AFTER_MS = 26 * HOUR_MS
UP_MS = 30 * HOUR_MS
# Looked at each second for so long, then each minute, until the house is safe.
EACH_SECOND_MS = 10 * MINUTE_MS
QUIET = timedelta(days=3)
LASTS = timedelta(days=60)
# A pump's next dose is mostly near; a weekday's is within eight days.
LOOKED_AHEAD_DAYS = (1, 8)
MILLISECOND = timedelta(milliseconds=1)
# Beats are heard as they come for so long before a fault strikes.
FRESH_MS = 30 * SECOND_MS
# What a node has counted before, so that a number may go back ahead of any dose.
RUNS_BEFORE = 1_000
# What was due within the last hours may still begin.
LATEST = timedelta(hours=2)


def run_cases(
    machine: Machine, plan: Plan, first: date, cases: Sequence[Case]
) -> FaultRun:
    """Try every case on its own.

    Shape: cases keep their order; one that cannot be tried on this machine says why.
    """
    usual = target_of(machine, plan, first)
    tried: list[Tried] = []
    not_tried: list[NotTried] = []
    for case in cases:
        found = _target_for((machine, plan), first, case, usual)
        if isinstance(found, str):
            not_tried.append(NotTried(case=case.id, why=found))
        else:
            tried.append(_try(machine, plan, found, case))
    return FaultRun(cases=tuple(cases), tried=tuple(tried), not_tried=tuple(not_tried))


def _target_for(
    what: tuple[Machine, Plan], first: date, case: Case, usual: Target | None
) -> Target | str:
    """The dose a case strikes, or why there is none."""
    machine, plan = what
    target = usual
    if target is None:
        return "the plan doses nothing"
    if case.day is not None:
        zone = machine.tanks[target.tank].zone
        changed = next_changes(zone, first).get(case.day)
        if changed is None:
            return f"the clocks of {zone} never go {case.day}"
        target = target_of(machine, plan, changed - timedelta(days=1)) or target
    return case.unfit(machine, target) or target


def target_of(machine: Machine, plan: Plan, first: date) -> Target | None:
    """The dose that faults strike: of the pump that can do most, a day after the start.

    Most means most alkalinity, or most volume where no line adds any.
    """
    zones = {tank.zone for tank in machine.tanks.values()}
    begin = min(midnight(first, zone) for zone in zones)
    timetable = timetable_of(plan, machine)
    days = timetable.between(begin + BEFORE, begin + BEFORE + timedelta(days=8))
    if not days:
        return None
    pump = max(sorted({dose.pump for dose in days}), key=_Weight(machine, days))
    dose = next(dose for dose in days if dose.pump == pump)
    known = machine.pumps[pump]
    return Target(
        dose=dose,
        due_ms=BEFORE // MILLISECOND,
        node=known.node,
        channel=known.channel,
        run_ms=run_ms(dose.volume_ul, known.rate_nl_per_s),
    )


class _Weight:
    """How much a pump can do, to be compared."""

    def __init__(self, machine: Machine, doses: Iterable[DueDose]) -> None:
        self._machine = machine
        self._volumes = Counter[str]()
        for dose in doses:
            self._volumes[dose.pump] += dose.volume_ul

    def __call__(self, pump_id: str) -> tuple[float, int]:
        pump = self._machine.pumps[pump_id]
        effects = self._machine.solutions[pump.solution].effects
        litres = self._machine.tanks[pump.tank].net_ul
        volume_ul = self._volumes[pump_id]
        return effects.get("alkalinity", 0) * volume_ul / litres, volume_ul


def build(machine: Machine, plan: Plan, target: Target) -> House:
    """A house in order, a day before its dose is due."""
    begin = target.dose.due_at - BEFORE
    times = Times(begin=begin)
    approval = Approval(
        serial=1,
        digest="",
        # Nothing was due before the house began: an earlier dose is not missed.
        takes_over_at=begin,
        expires_at=begin + LASTS,
        by="rehearsal",
        highest_daily_ul=0,
        hardware=dict.fromkeys(machine.nodes, (HARDWARE, CONFIGURATION)),
    )
    now = times.now()
    before = now.utc - QUIET
    state = State(ledger_id="faults", fence=1, stage="live", decided_at=before)
    state.running = True
    state.relay_checks = tried_out(machine, before, begin + LASTS)
    boot_s = now.boot_s - QUIET.total_seconds()
    state.mark = Mark(utc=before, boot_s=boot_s, boot_id=f"{BOOT}-1", proven_ms=0)
    quiet: Stamp = {"at": before, "boot_s": boot_s, "proven_ms": 0}
    fold_all(state, prepared(machine, quiet))
    nodes = {name: Node(name, _heads(machine, name), UP_MS) for name in machine.nodes}
    sight = Sight(started_boot_s=boot_s, observe_up=True, actuate_up=True)
    for name, node in nodes.items():
        sight.nodes[name] = NodeSight(
            beat=node.beat(0, now.boot_s), first_heard_boot_s=boot_s, beats=100
        )
    waters = watched(machine, begin)
    return House(
        setup=make_setup(machine, {1: (approval, plan)}),
        state=state,
        sight=sight,
        times=times,
        nodes=nodes,
        waters=waters,
        probes=VirtualProbes(machine, waters, begin),
    )


def _heads(machine: Machine, node: str) -> Mapping[str, Head]:
    limit_ul = machine.nodes[node].day_limit_ul
    return {
        pump.channel: Head(pump=pump.id, day_limit_ul=limit_ul, n=RUNS_BEFORE)
        for pump in machine.pumps.values()
        if pump.node == node
    }


def _try(machine: Machine, plan: Plan, target: Target, case: Case) -> Tried:
    house = build(machine, plan, target)
    case.strike(house, target)
    struck_ms = target.due_ms + int(case.begins_s * SECOND_MS)
    house.at(struck_ms - FRESH_MS, lambda: house.look_closely(EACH_SECOND_MS))
    seen = Seen(struck_ms=struck_ms)
    until_ms = struck_ms + AFTER_MS
    while house.times.t_ms < until_ms:
        t_ms = house.times.t_ms
        house.step(until_ms)
        if seen.safe_ms is None and t_ms >= struck_ms:
            _look(house, case, target, (t_ms, seen))
            if t_ms >= house.close_until_ms:
                house.times.t_ms = min(house.times.t_ms, t_ms + MINUTE_MS)
    return _reckon(house, case, seen)


@dataclass(slots=True)
class Seen:
    """When the house was safe, which reason stood then, and what pumps would do."""

    struck_ms: int
    safe_ms: int | None = None
    raised: tuple[Code, ...] = ()
    answers: Mapping[str, Answer] = field(default_factory=dict)


def _look(house: House, case: Case, target: Target, now: tuple[int, Seen]) -> None:
    """Whether nothing flows or is on its way, and what must stand does."""
    t_ms, seen = now
    flowing = any(True for _ in house.nodes[target.node].flowing(t_ms))
    if flowing or house.wire.outbound:
        return
    if case.expects:
        codes = _standing(house, target) if house.decides(t_ms) else []
        seen.raised = tuple(code for code in codes if code in case.expects)
        if not seen.raised:
            return
    elif house.decides(t_ms) and house.state.open:
        return
    seen.safe_ms, seen.answers = t_ms, _answers(house, case.expects)
    house.close_until_ms = min(house.close_until_ms, t_ms + MINUTE_MS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the gate would say to the next dose of a pump, and which share it leaves."""

    verdict: Verdict
    share: Share

    @property
    def codes(self) -> list[Code]:
        """Every reason against the whole dose."""
        reasons = (*self.verdict.reasons, *self.share.reasons)
        return [reason.code for reason in reasons]

    def answer(self, expects: Collection[Code]) -> Answer:
        """What the pump would do because of the fault alone."""
        refused = {reason.code for reason in self.verdict.reasons}
        granted = isinstance(self.verdict, Granted)
        if not granted and not refused.isdisjoint({*expects, Code.GROUP}):
            return "stops"
        return "shortens" if self.share.ppm < WHOLE else "runs"


def ask(house: House, pump_id: str) -> Asked | None:
    """Ask the gate now for the next dose of a pump.

    Shape: None where the pump has no dose within eight days.
    """
    force = house.setup.forces[-1]
    now, utc = house.times.now(), house.times.true_utc()
    dose = _next_dose(force.timetable, pump_id, utc)
    if dose is None:
        return None
    moment = moment_at(now, house.state, house.sight, house.setup)
    asked = Ask(
        dose=dose,
        kind="plan",
        pump=moment.rules.pumps[pump_id],
        line=force.rules.lines.get(f"{dose.tank}/{dose.line}"),
    )
    zone = ZoneInfo(house.machine.tanks[dose.tank].zone)
    day = now.utc.astimezone(zone).date()
    return Asked(verdict=may_dose(moment, asked, day), share=share_of(moment, asked))


def _next_dose(timetable: Timetable, pump: str, utc: datetime) -> DueDose | None:
    for days in LOOKED_AHEAD_DAYS:
        doses = timetable.between(utc, utc + timedelta(days=days))
        dose = next((one for one in doses if one.pump == pump), None)
        if dose is not None:
            return dose
    return None


def _standing(house: House, target: Target) -> list[Code]:
    asked = ask(house, target.pump)
    return [] if asked is None else asked.codes


def _answers(house: House, expects: Collection[Code]) -> dict[str, Answer]:
    """What every pump of the plan would do if it were asked now."""
    pumps = {line.pump for line in house.setup.forces[-1].plan.lines}
    asked = {pump: ask(house, pump) for pump in sorted(pumps)}
    return {pump: one.answer(expects) for pump, one in asked.items() if one is not None}


def _reckon(house: House, case: Case, seen: Seen) -> Tried:
    events = [noted.event for noted in house.entries if noted.t_ms >= seen.struck_ms]
    voided = {one.attempt for one in events if isinstance(one, DoseVoided)}
    intended = [one for one in events if isinstance(one, DoseIntended)]
    given = [one for one in intended if one.command.attempt not in voided]
    missed = sum(isinstance(one, DoseMissed) for one in events) + len(voided)
    safe_ms = seen.safe_ms
    return Tried(
        case=case.id,
        given=len(given),
        missed=missed,
        held=sum(isinstance(one, DoseHeld) for one in events),
        shortened=sum(one.verdict == "shortened" for one in given),
        undecided=max(_due(house, seen.struck_ms) - len(given) - missed, 0),
        highest=highest(house),
        safe_after_s=None
        if safe_ms is None
        else (safe_ms - seen.struck_ms) / SECOND_MS,
        reasons=tuple(dict.fromkeys((*seen.raised, *_reasons(events)))),
        answers=seen.answers,
        carried=tuple(carried(house)),
        over_caps=tuple(over_caps(house)),
    )


def _due(house: House, struck_ms: int) -> int:
    """How many doses were due since the strike, by a clock that nobody touched."""
    times = house.times
    struck = times.begin + struck_ms * MILLISECOND
    timetable = house.setup.forces[-1].timetable
    return len(timetable.between(struck - MILLISECOND, times.true_utc() - LATEST))


def _reasons(events: Iterable[AnyEvent]) -> Iterator[Code]:
    """Reasons in the order in which they came up; holds first."""
    for event in events:
        if isinstance(event, HoldRaised):
            yield event.reason.code
    for event in events:
        yield from _codes_of(event)


def _codes_of(event: AnyEvent) -> Iterator[Code]:
    """Why a dose waited, was missed, sealed, voided or shortened."""
    if isinstance(event, DoseIntended) and event.verdict != "shortened":
        return
    if isinstance(event, _TELLING):
        yield from (reason.code for reason in event.reasons)


_TELLING = (DoseHeld, DoseMissed, DoseSealed, DoseVoided, DoseIntended)
