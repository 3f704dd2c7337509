"""The same turn under a virtual clock, virtual nodes and a throw-away memory.

Floor 6. One subject: running a plan ahead of time. Laws here: the decisions are
those of `turn` and of nothing else; there is no clock, wire or disk to reach; equal
inputs give equal outputs, whatever machine, time or locale.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from heapq import heappop, heappush

from slackwater.facts.events import AnyEvent, DoseEnded, DoseIntended, DoseMissed
from slackwater.facts.fold import fold, fold_all
from slackwater.facts.making import maker
from slackwater.facts.messages import Effect, Message, Result, RunPump
from slackwater.facts.now import Mark, Now
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.sight import Inbox, Sight, see
from slackwater.facts.stages import HalfBegan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.waters import WaterChanged
from slackwater.planning.timetable import Timetable, timetable_of
from slackwater.pump.command import LENGTHS_KEPT
from slackwater.pump.outcome import Stamp
from slackwater.rehearsal.approaches import approach
from slackwater.rehearsal.exchanges import looked_after, prepared
from slackwater.rehearsal.found import (
    Found,
    Spread,
    all_doses,
    all_nearest,
    found_in,
)
from slackwater.rehearsal.parts import Part, parted
from slackwater.rehearsal.record import Nearest, Rehearsal, RehearsedDose, empty_days
from slackwater.rehearsal.relays import tried_out
from slackwater.rehearsal.tape import Tape
from slackwater.rehearsal.virtual_node import VirtualNode
from slackwater.rehearsal.virtual_probe import VirtualProbes, watched
from slackwater.rehearsal.virtual_switch import show_switches
from slackwater.rehearsal.virtual_tank import VirtualTank, midnight
from slackwater.turn.setup import Setup, Turn, make_setup
from slackwater.turn.step import TICK, turn

BOOT_ID = "rehearsal"
FENCE = 1
# Boot-time clock at the start: any figure beyond every hold-off will do.
BEGIN_S = 1_000_000.0
# A quiet machine before the first day: no window reaches back to it.
BEFORE = timedelta(days=3)
HOUR = timedelta(hours=1)
PATIENCE = timedelta(seconds=30)
# How often a virtual node beats (contract: 5 s).
BEAT_S = 5.0

MILLISECOND = timedelta(milliseconds=1)

# Looks at an entry before it is folded: the state and sight it was decided on.
Watch = Callable[[AnyEvent, State, Sight], None]

Doses = list[RehearsedDose] | Tape
Taped = tuple[Tape, tuple[Nearest, ...]]

_now = maker(Now)
_inbox = maker(Inbox)
_rehearsed = maker(RehearsedDose)


@dataclass(slots=True)
class _World:
    """Everything that moves while a rehearsal runs."""

    setup: Setup
    state: State
    sight: Sight
    quiet: Inbox
    nodes: dict[str, VirtualNode]
    begin: datetime
    next_hour: datetime
    waters: dict[str, VirtualTank]
    probes: VirtualProbes
    watch: Watch | None = None
    answers: list[tuple[datetime, int, Result]] = field(default_factory=list)
    doses: Doses = field(default_factory=list)
    nearest: dict[tuple[str, str], Nearest] = field(default_factory=dict)
    sent: int = 0
    shown_s: float = 0.0
    # Equal volumes of a pump add the same: a year of doses shares a few records.
    effects: dict[tuple[str, int], Mapping[str, int]] = field(default_factory=dict)


def rehearse(
    machine: Machine,
    plan: Plan,
    first: date,
    days: int,
    watch: Watch | None = None,
) -> Rehearsal:
    """Run the plan from one local date for so many days, part by part.

    Range: days 1 to 3660. The plan must pass `planning.ceilings.check`; one that does
    not is rehearsed all the same, and its refusals show. Watched are all entries of a
    part, in order of time, then those of the next.
    Raises: InputError for lines that cannot be laid out.
    """

    def here(parts: Sequence[Part]) -> list[Found]:
        return [run_part(part, watch) for part in parts]

    return rehearse_by(here, machine, plan, first, days)


def rehearse_by(
    spread: Spread, machine: Machine, plan: Plan, first: date, days: int
) -> Rehearsal:
    """As `rehearse`, with parts done by `spread`; who does them changes nothing."""
    timetable = timetable_of(plan, machine)
    begin, end = _span(machine, first, days)
    last = first + timedelta(days=days - 1)
    whole = Part(
        machine=machine, plan=plan, first=first, until=last, begin=begin, end=end
    )
    found = spread(parted(whole))
    doses = all_doses(found)
    return Rehearsal(
        first=first,
        until=last,
        doses=doses,
        nearest=all_nearest(found),
        left_out=_left_out(timetable, first, days),
        empty_on=empty_days(machine, doses),
        ended_at=end,
    )


def run_part(part: Part, watch: Watch | None = None) -> Found:
    """Run one part by itself."""
    doses: list[RehearsedDose] = []
    nearest = _run(part, doses, watch)
    return found_in(part, doses, nearest)


def tape_part(part: Part) -> Taped:
    """The same in few bytes, for whoever runs a part in another process."""
    tape = Tape()
    return tape, _run(part, tape)


def untaped(part: Part, taped: Taped) -> Found:
    """What `run_part` would have given here."""
    return found_in(part, *taped)


def _run(part: Part, doses: Doses, watch: Watch | None = None) -> tuple[Nearest, ...]:
    world = _begin(part.machine, part.plan, part.begin, part.end)
    world.doses, world.watch = doses, watch
    utc = part.begin
    while utc < part.end:
        utc = _step(world, utc, part.end)
    return tuple(world.nearest.values())


def _span(machine: Machine, first: date, days: int) -> tuple[datetime, datetime]:
    """From the earliest local midnight to the last one over all tanks, in UTC."""
    zones = {tank.zone for tank in machine.tanks.values()}
    starts = [midnight(first, zone) for zone in zones]
    ends = [midnight(first + timedelta(days=days), zone) for zone in zones]
    # Late starts of the last day may reach over midnight.
    late = timedelta(seconds=machine.timing.lateness_s)
    return min(starts), max(ends) + late


def _begin(machine: Machine, plan: Plan, begin: datetime, end: datetime) -> _World:
    approval = Approval(
        serial=1,
        digest="",
        takes_over_at=begin,
        expires_at=end + HOUR,
        by="rehearsal",
        highest_daily_ul=0,
    )
    before = begin - BEFORE
    before_s = BEFORE.total_seconds()
    state = State(ledger_id=BOOT_ID, fence=FENCE, stage="live", decided_at=before)
    state.relay_checks = tried_out(machine, before, end + HOUR)
    state.mark = Mark(
        utc=before, boot_s=BEGIN_S - before_s, boot_id=BOOT_ID, proven_ms=0
    )
    stamp: Stamp = {"at": before, "boot_s": BEGIN_S - before_s, "proven_ms": 0}
    fold_all(state, prepared(machine, stamp))
    if machine.timing.half_stage_s > 0:
        fold(state, _halved(machine, begin))
    sight = Sight(started_boot_s=0.0, observe_up=True, actuate_up=True)
    sight.scanned_until = begin - timedelta(microseconds=1)
    nodes = {
        node.id: VirtualNode(
            node.id,
            {
                pump.channel: node.day_limit_ul
                for pump in machine.pumps.values()
                if pump.node == node.id
            },
            BEGIN_S,
            FENCE,
        )
        for node in machine.nodes.values()
    }
    waters = watched(machine, begin)
    return _World(
        setup=make_setup(machine, {1: (approval, plan)}),
        state=state,
        sight=sight,
        quiet=Inbox(sight=sight),
        nodes=nodes,
        begin=begin,
        next_hour=begin,
        waters=waters,
        probes=VirtualProbes(machine, waters, begin),
    )


def _halved(machine: Machine, begin: datetime) -> HalfBegan:
    """Half doses from the beginning on, as enabling writes it."""
    return HalfBegan(
        at=begin,
        boot_s=BEGIN_S,
        proven_ms=int(BEFORE.total_seconds() * 1000),
        scope="all",
        from_at=begin,
        lasts_s=machine.timing.half_stage_s,
        why="pumps were just enabled",
        by="rehearsal",
    )


def _step(world: _World, utc: datetime, end: datetime) -> datetime:
    """All turns of one instant; gives the next instant at which anything can be."""
    boot_s = BEGIN_S + (utc - world.begin).total_seconds()
    now = _now(utc=utc, boot_s=boot_s, boot_id=BOOT_ID, synchronised=True)
    _show_nodes(world, utc, boot_s)
    state, sight, setup = world.state, world.sight, world.setup
    inbox = _inbox_at(world, utc, boot_s)
    watch = world.watch
    while True:
        done = turn(now, state, inbox, setup)
        sight.scanned_until = done.scanned_until
        for event in done.events:
            if watch is not None:
                watch(event, state, sight)
            fold(state, event)
            # Half of all entries: what a dose came to was written down with its intent.
            if not isinstance(event, DoseEnded):
                _note(world, event)
        for effect in done.effects:
            _act(world, effect, now)
        wake_at = done.wake_at
        if wake_at is None or wake_at > utc:
            break
        inbox = world.quiet
    sight.previous = now
    return _next(world, done, (utc, end))


def _show_nodes(world: _World, utc: datetime, boot_s: float) -> None:
    if utc >= world.next_hour:
        world.next_hour = world.begin + ((utc - world.begin) // HOUR + 1) * HOUR
        for node in world.nodes.values():
            node.turn_hour(boot_s)
    # A beat stays fresh for a while; numbers and budgets in it are kept up to date.
    if boot_s - world.shown_s >= BEAT_S:
        world.shown_s = boot_s
        for name, node in world.nodes.items():
            world.sight.nodes[name] = node.show(boot_s)


def _inbox_at(world: _World, utc: datetime, boot_s: float) -> Inbox:
    """What the world says at one instant: answers that are due, then readings."""
    answers, machine = world.answers, world.setup.machine
    messages: list[Message] = []
    while answers and answers[0][0] <= utc:
        messages.append(heappop(answers)[2])
    if machine.probes:
        readings = world.probes.until(utc)
        for reading in readings:
            see(world.sight, reading)
        messages += readings
    if machine.switches:
        show_switches(machine, world.sight, boot_s)
    if not messages:
        return world.quiet
    return _inbox(sight=world.sight, messages=tuple(messages))


def _next(world: _World, done: Turn, span: tuple[datetime, datetime]) -> datetime:
    """The next wake-up; a run that is under way is waited for, not polled.

    A dose that waits for anything else is looked at again after half a minute, or
    when the next one is due: whatever opens a gate within that time opens it then.
    """
    utc, end = span
    wake_at = done.wake_at or end
    if wake_at <= utc + TICK:
        timetable = world.setup.forces[0].timetable
        due_at = timetable.next_after(utc) or end
        wake_at = min(utc + PATIENCE, due_at)
    if world.answers:
        answer_at = world.answers[0][0]
        return min(wake_at, answer_at)
    return max(wake_at, utc + MILLISECOND)


def _act(world: _World, effect: Effect, now: Now) -> None:
    if not isinstance(effect, RunPump):
        return
    result = world.nodes[effect.node].run(effect, now.boot_s)
    world.sent += 1
    heappush(world.answers, (now.utc + _lasting(effect.ms), world.sent, result))


# A plan has few volumes, and a span takes longer to make than to find.
@lru_cache(LENGTHS_KEPT)
def _lasting(ms: int) -> timedelta:
    return ms * MILLISECOND


def _note(world: _World, event: AnyEvent) -> None:
    """Write down what became of a dose, and how near it came to the caps."""
    if isinstance(event, DoseIntended):
        dose, command = event.dose, event.command
        world.doses.append(
            _rehearsed(
                dose=dose,
                solution=event.solution,
                verdict=event.verdict,
                volume_ul=command.ul,
                reasons=event.reasons,
                effects=world.effects.setdefault(
                    (dose.pump, command.ul), event.effects
                ),
                run_ms=command.ms,
                begun_at=event.at,
            )
        )
        approach(world.nearest, world.state, world.setup.forces[0].rules, event)
        water = world.waters.get(dose.tank) if world.waters else None
        if water is not None:
            water.advance(event.at)
            water.pour(event.effects)
    elif isinstance(event, DoseMissed):
        world.doses.append(
            RehearsedDose(
                dose=event.dose,
                solution=world.setup.machine.pumps[event.dose.pump].solution,
                verdict="missed",
                volume_ul=0,
                reasons=event.reasons,
            )
        )
    elif isinstance(event, WaterChanged):
        after = looked_after(world.setup.machine, world.state, event)
        fold_all(world.state, after)


def _left_out(timetable: Timetable, first: date, days: int) -> tuple[str, ...]:
    return tuple(
        text
        for tank in timetable.tanks
        for offset in range(days)
        for text in timetable.left_out(tank, first + timedelta(days=offset))
    )
