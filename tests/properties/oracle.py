"""The judge: looks at what the hoses gave and at what was intended, nothing else.

The law broken stands first in each finding; an empty list is what every scenario must
end with.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise

from slackwater.facts.events import (
    ClockConfirmed,
    DoseEnded,
    DoseIntended,
    DoseMissed,
    DoseVoided,
    HoldRaised,
    PlanApproved,
    PlanWithdrawn,
    RequestTakenBack,
)
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import DueDose
from slackwater.facts.reasons import Code
from slackwater.facts.tank import Machine, Pump
from slackwater.outside.approved import machine_from, plan_from
from slackwater.planning.timetable import Timetable
from tests.properties.account import DAY_MS, Account
from tests.properties.outpost import Burst
from tests.properties.shell import Written
from tests.properties.world import World

# Reported amounts are rounded up, windows and gaps to the millisecond.
A_DROP_UL = 1.0
# What a report cannot show, a node without a meter, may be a tenth (common practice).
HIDDEN_FACTOR = 1.1
STOP_AGAIN_MS = 999


@dataclass(slots=True, kw_only=True)
class Approved:
    """An approved plan with the doses that follow from it, laid anew."""

    event: PlanApproved
    machine: Machine
    timetable: Timetable


def findings(world: World, *, honest: bool) -> list[str]:
    """Everything a scenario broke; `honest` says that no node lied."""
    return [
        *_intents(world),
        *_commands(world),
        *_runs(world),
        *_flows(world),
        *_gaps(world),
        *_refolded(world),
        *_stops(world),
        *(_slander(world) if honest else ()),
    ]


def bursts_of(world: World) -> list[Burst]:
    """Every burst of every hose that this daemon answers for, in order of time."""
    all_bursts = [
        burst
        for post in world.posts.values()
        for burst in post.bursts
        if burst.attempt not in world.foreign
    ]
    return sorted(all_bursts, key=lambda burst: burst.begin_ms)


def _intents(world: World) -> Iterator[str]:
    """I1, I4, I5, I7, I9: each intent against the entries before it."""
    account = Account()
    plans: dict[int, Approved] = {}
    gone: set[str] = set()
    for written in world.book.entries:
        event = written.event
        account.take(event)
        if isinstance(event, PlanApproved):
            machine, plan = machine_from(event.machine), plan_from(event.plan)
            plans[event.approval.serial] = Approved(
                event=event, machine=machine, timetable=Timetable(plan, machine)
            )
        elif isinstance(event, PlanWithdrawn):
            plans.pop(event.serial, None)
        elif isinstance(event, DoseIntended):
            yield from _intent(world, written, event, (account, plans))
        if isinstance(event, DoseIntended | DoseMissed):
            if event.dose.id in gone:
                yield f"I4 {event.dose.id} was missed or intended before"
            gone.add(event.dose.id)
        if isinstance(event, RequestTakenBack):
            if event.request in gone:
                yield f"H55 {event.request} was missed or intended before"
            gone.add(event.request)


def _intent(
    world: World,
    written: Written,
    intent: DoseIntended,
    known: tuple[Account, dict[int, Approved]],
) -> Iterator[str]:
    account, plans = known
    dose = intent.dose
    force = _in_force(plans, intent.at)
    machine = plans[max(plans)].machine if force is None else force.machine
    for above in account.over_caps(intent, machine):
        yield f"I1 {dose.id}: {above}"
    for soon in account.too_soon(intent, machine):
        yield f"H46 {dose.id}: {soon}"
    if not dose.due_at <= intent.at <= dose.latest_at:
        yield f"I4 {dose.id} at {intent.at}, due {dose.due_at} to {dose.latest_at}"
    if not 0 < intent.command.ul <= dose.volume_ul:
        yield f"I4 {dose.id}: {intent.command.ul} of {dose.volume_ul} µL"
    if intent.dose_kind == "plan":
        asked = _asked(_in_force(plans, dose.due_at), dose)
        if asked is None or replace(asked, id=dose.id) != dose:
            yield f"I9 {dose.id} is not what was approved: {asked}"
    yield from _unproven(world, written, intent)


def _in_force(plans: Mapping[int, Approved], utc: datetime) -> Approved | None:
    """The latest approval of those that have taken over by then."""
    taken = [n for n, plan in plans.items() if plan.event.approval.takes_over_at <= utc]
    return plans[max(taken)] if taken else None


def _asked(plan: Approved | None, dose: DueDose) -> DueDose | None:
    """The dose of that identity in the approved plan, if it has one there."""
    if plan is None:
        return None
    left_out = plan.event.approval.left_out_until
    for asked in plan.timetable.day(dose.tank, dose.local_day).doses:
        # A day that a clock gave ahead is lived again, under names with its number.
        same = dose.id == asked.id or dose.id.startswith(f"{asked.id}.")
        if same and (left_out is None or asked.due_at >= left_out):
            return asked
    return None


def _unproven(world: World, written: Written, intent: DoseIntended) -> Iterator[str]:
    """I7: the clock vouched for and in order, the node heard a moment ago."""
    confirmed = written.now.synchronised or any(
        isinstance(earlier.event, ClockConfirmed)
        and earlier.event.boot_id == written.now.boot_id
        for earlier in world.book.entries
        if earlier.t_ms <= written.t_ms
    )
    if not confirmed:
        yield f"I7 {intent.dose.id}: nobody vouched for the clock"
    heard_ms = written.heard_ms.get(intent.command.node)
    fresh_ms = 1000 * world.home.machine.timing.beat_fresh_s
    if heard_ms is None or written.t_ms - heard_ms > fresh_ms:
        yield f"I7 {intent.dose.id}: the node was not heard"


def _commands(world: World) -> Iterator[str]:
    """I3: nothing leaves whose intent is not durable; I5: nothing leaves twice."""
    times = Counter(command.attempt for _, command in world.book.sent)
    yield from (f"I5 {name} sent {n} times" for name, n in times.items() if n > 1)
    intended: dict[RunPump, int] = {}
    for at, written in enumerate(world.book.entries):
        if isinstance(written.event, DoseIntended):
            intended.setdefault(written.event.command, at)
    for durable, command in world.book.sent:
        if intended.get(command, durable) >= durable:
            yield f"I3 {command.attempt} left before its intent was durable"


def _runs(world: World) -> Iterator[str]:
    """I2: at most one burst per dose; I5: what was voided never flowed."""
    intents = {
        event.command.attempt: event
        for event in world.book.events()
        if isinstance(event, DoseIntended)
    }
    written_ms = {
        one.event.command.attempt: one.t_ms
        for one in world.book.entries
        if isinstance(one.event, DoseIntended)
    }
    voided = {e.attempt for e in world.book.events() if isinstance(e, DoseVoided)}
    doses: Counter[str] = Counter()
    for burst in bursts_of(world):
        intent = intents.get(burst.attempt)
        if intent is None:
            yield f"I2 {burst.attempt} flowed and was never intended"
            continue
        doses[intent.dose.id] += 1
        yield from _late(world, burst, written_ms[burst.attempt])
        if burst.attempt in voided:
            yield f"I5 {intent.dose.id} was voided and flowed"
    yield from (f"I2 {dose} flowed {n} times" for dose, n in doses.items() if n > 1)


def _late(world: World, burst: Burst, intended_ms: int) -> Iterator[str]:
    """H12: no run begins after the command's deadline, however late it came.

    The node's clock is true here, so the deadline it is given can only be too early.
    """
    machines = (world.home.machine, world.home.other_machine)
    deadline_ms = max(machine.timing.deadline_s for machine in machines) * 1000
    late_ms = burst.begin_ms - intended_ms
    if late_ms > deadline_ms:
        yield f"H12 {burst.attempt} began {late_ms} ms after its intent"


def _flows(world: World) -> Iterator[str]:
    """I10: water against charges, dose by dose, and in any true day against the cap."""
    account = Account()
    told = set()
    for event in world.book.events():
        account.take(event)
        if isinstance(event, DoseEnded) and event.source != "asked":
            told.add(event.attempt)
    charged_ul = {name: each.total_ul() for name, each in account.charges.items()}
    bursts = bursts_of(world)
    for burst in bursts:
        over_ul = burst.volume_ul - charged_ul.get(burst.attempt, 0)
        if burst.metered and burst.attempt in told and over_ul > A_DROP_UL:
            yield f"I10 {burst.attempt}: {over_ul} µL more than was charged"
    for pump in world.home.machine.pumps.values():
        amounts = [
            (burst.volume_ul, charged_ul.get(burst.attempt, 0))
            for burst in bursts
            if burst.pump == pump.id
            and (burst.attempt in told or burst.factor <= HIDDEN_FACTOR)
        ]
        yield from _windows(pump, amounts)
        yield from _days(world, pump.id)


def _windows(pump: Pump, amounts: list[tuple[float, int]]) -> Iterator[str]:
    """Water against charges over every stretch of bursts."""
    for first in range(len(amounts)):
        water_ul = charged_ul = 0.0
        for burst_ul, its_charge_ul in amounts[first:]:
            water_ul += burst_ul
            charged_ul += its_charge_ul
            if water_ul > charged_ul * HIDDEN_FACTOR + pump.smallest_dose_ul:
                yield f"I10 {pump.id}: {water_ul} µL of {charged_ul} µL charged"


def _days(world: World, pump: str) -> Iterator[str]:
    """Any 24 true hours of one hose, as far as its truth can be known in time."""
    machines = (world.home.machine, world.home.other_machine)
    caps_ul = [m.pumps[pump].per_day_ul for m in machines if pump in m.pumps]
    shots_ul = world.home.machine.pumps[pump].per_calibration_ul * 24
    smallest_ul = world.home.machine.pumps[pump].smallest_dose_ul
    flowed = [burst for burst in bursts_of(world) if burst.pump == pump]
    if any(burst.factor > HIDDEN_FACTOR for burst in flowed):
        return
    in_cylinder = {
        event.command.attempt
        for event in world.book.events()
        if isinstance(event, DoseIntended) and not event.in_water
    }
    for last in flowed:
        since_ms = last.end_ms - DAY_MS
        window = [b for b in flowed if since_ms < b.begin_ms <= last.begin_ms]
        water_ul = sum(b.volume_ul for b in window if b.attempt not in in_cylinder)
        if water_ul > max(caps_ul) * HIDDEN_FACTOR + smallest_ul:
            yield f"I10 {pump}: {water_ul} µL in 24 h of {caps_ul}"
        if sum(b.volume_ul for b in window) - water_ul > shots_ul * HIDDEN_FACTOR:
            yield f"I10 {pump}: too much into the cylinder"


def _gaps(world: World) -> Iterator[str]:
    """H46: what is kept apart stays apart in the water, by true time."""
    machines = (world.home.machine, world.home.other_machine)
    apart_ms = min(machine.timing.apart_gap_s for machine in machines) * 1000
    same_ms = min(machine.timing.same_pump_gap_s for machine in machines) * 1000
    bursts = bursts_of(world)
    shots = {
        event.command.attempt
        for event in world.book.events()
        if isinstance(event, DoseIntended) and event.dose_kind == "calibrate"
    }
    for pump in world.home.machine.pumps:
        own = [burst for burst in bursts if burst.pump == pump]
        for two in pairwise(own):
            # Into a cylinder nothing has to mix first.
            if two[1].attempt not in shots:
                yield from _too_close(two, same_ms)
    poured = {
        event.command.attempt: event.solution
        for event in world.book.events()
        if isinstance(event, DoseIntended) and event.in_water
    }
    pair = ("carbonate", "calcium")
    salts = [burst for burst in bursts if poured.get(burst.attempt) in pair]
    for two in pairwise(salts):
        if poured[two[0].attempt] != poured[two[1].attempt]:
            yield from _too_close(two, apart_ms)


def _too_close(bursts: Sequence[Burst], gap_ms: float) -> Iterator[str]:
    for earlier, later in pairwise(bursts):
        between_ms = later.begin_ms - earlier.end_ms
        if between_ms < gap_ms:
            yield f"H46 {later.attempt} {between_ms} ms after {earlier.pump}"


def _refolded(world: World) -> Iterator[str]:
    """The state that decides is the fold of the entries and nothing else."""
    daemon = world.daemon
    if daemon is not None and daemon.rig.memory.state != daemon.memory.refolded():
        yield "the living state is not what a start would fold"


def _stops(world: World) -> Iterator[str]:
    """H62: a stop is repeated by the second, not with every beat that answers it."""
    last_ms: dict[str, int] = {}
    for at_ms, place in world.book.stops:
        if at_ms - last_ms.get(place, -DAY_MS) < STOP_AGAIN_MS:
            yield f"H62 {place} was told to stop twice within a second"
        last_ms[place] = at_ms


def _slander(world: World) -> Iterator[str]:
    """A node that only lost, repeated or delayed things is not called a liar."""
    for event in world.book.events():
        if isinstance(event, HoldRaised) and event.reason.code is Code.NODE_IMPOSSIBLE:
            yield f"an honest node was latched: {dict(event.reason.figures)}"
