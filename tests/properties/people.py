"""What people do to a household: on the machine, and from afar."""

from datetime import datetime, time, timedelta
from functools import partial
from zoneinfo import ZoneInfo

from slackwater.facts.events import (
    AnyEvent,
    ClockConfirmed,
    HoldReleased,
    PlanWithdrawn,
    PumpsDisabled,
    PumpsEnabled,
    RequestTakenBack,
    ShotRequested,
)
from slackwater.facts.lives import decided_ahead
from slackwater.facts.messages import Request
from slackwater.facts.plan import Approval, Plan
from slackwater.facts.staging import fold_withdrawn
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.waters import AddedByHand, WaterChanged
from slackwater.pump.outcome import Stamp
from tests.properties.faults import MINUTE_MS, Fault
from tests.properties.world import World, approved, calibrated


def release_all(world: World) -> None:
    """A person looks at every hold and releases it."""
    for hold_id in tuple(world.book.folded().holds):
        world.book.sign(partial(released, hold_id))


def released(hold_id: str, _state: State, stamp: Stamp) -> AnyEvent:
    """The release of one hold."""
    return HoldReleased(**stamp, hold_id=hold_id, by="keeper", why="looked at it")


def confirm_clock(world: World) -> None:
    """A person vouches for the clock, and lets go of what the clock had held."""
    boot_id = world.times.now().boot_id
    if world.chance.random() < 0.7:
        # People look at a watch; what they confirm is right.
        world.times.shift_ms = 0

    def confirmed(state: State, stamp: Stamp) -> AnyEvent:
        until = decided_ahead(state, stamp["at"])
        return ClockConfirmed(**stamp, boot_id=boot_id, by="keeper", again_until=until)

    world.book.sign(confirmed)
    # Setting the clock was a jump itself, which the daemon notes first.
    world.after(10_000, partial(_release_jump, world))


def _release_jump(world: World) -> None:
    if "clock-jumped" in world.book.folded().holds:
        world.book.sign(partial(released, "clock-jumped"))


def swap_plans(world: World) -> None:
    """A person approves another plan: for midnight, a named moment or at once."""
    home, chance, now = world.home, world.chance, world.times.now().utc
    first, second = (home.machine, home.plan), (home.other_machine, home.other_plan)
    takes_over = chance.choice((now, now, now + timedelta(minutes=3), _midnight(world)))
    at_once = takes_over == now and chance.random() < 0.8
    what = chance.choice((first, second, second))
    _approve(world, what, takes_over, at_once=at_once)


def approve_again(world: World) -> None:
    """A person approves the first plan anew, for this moment on."""
    home = world.home
    what = (home.machine, home.plan)
    _approve(world, what, world.times.now().utc, at_once=True)


def _approve(
    world: World, what: tuple[Machine, Plan], takes_over: datetime, *, at_once: bool
) -> None:
    now = world.times.now().utc

    def made(state: State, stamp: Stamp) -> AnyEvent:
        approval = Approval(
            serial=state.last_serial + 1,
            digest=f"{state.last_serial + 1:064x}",
            takes_over_at=takes_over,
            expires_at=now + timedelta(days=180),
            by="keeper",
            highest_daily_ul=0,
            left_out_until=now + timedelta(seconds=90) if at_once else None,
        )
        return approved(approval, what, stamp)

    world.book.sign(made)


def swap_while_waiting(world: World) -> None:
    """Doses wait for the end of a pause; then a person approves another plan."""
    pause = Request(tank="reef", id=f"p{world.times.t_ms}", act="pause", minutes=1)
    world.bus.to_daemon(pause, world.times.t_ms)
    home, now = world.home, world.times.now().utc
    swap = partial(_approve, world, (home.other_machine, home.other_plan))
    world.after(58_000, partial(swap, now + timedelta(seconds=58), at_once=False))


def _midnight(world: World) -> datetime:
    zone = ZoneInfo(world.home.machine.tanks["reef"].zone)
    tomorrow = world.times.now().utc.astimezone(zone).date() + timedelta(days=1)
    return datetime.combine(tomorrow, time(), zone).astimezone(world.home.begin.tzinfo)


def withdraw_plan(world: World) -> None:
    """A person takes the newest approval back."""
    serial = world.book.folded().last_serial

    def withdrawn(_state: State, stamp: Stamp) -> AnyEvent:
        return PlanWithdrawn(**stamp, serial=serial, by="keeper")

    # Without any plan left the daemon would read the machine's file.
    left = world.book.folded()
    at = world.times.now().utc
    gone = PlanWithdrawn(at=at, boot_s=0.0, proven_ms=0, serial=serial, by="keeper")
    fold_withdrawn(left, gone)
    if left.approvals:
        world.book.sign(withdrawn)


def disable_pumps(world: World) -> None:
    """A person takes the pumps away for a while."""

    def disabled(_state: State, stamp: Stamp) -> AnyEvent:
        return PumpsDisabled(**stamp, by="keeper")

    world.down_for_ms = MINUTE_MS + 500
    world.book.sign(disabled)
    world.after(MINUTE_MS, partial(enable_pumps, world))


def enable_pumps(world: World) -> None:
    """A person gives them back, and the daemon takes charge."""

    def enabled(_state: State, stamp: Stamp) -> AnyEvent:
        return PumpsEnabled(**stamp, by="keeper", serial=1)

    world.book.sign(enabled)
    if world.starts_at_ms is not None:
        world.starts_at_ms = min(world.starts_at_ms, world.times.t_ms + 500)


def calibrate(world: World) -> None:
    """A measurement enters that no approval names."""
    world.book.sign(lambda _state, stamp: calibrated("0ca11b01", 1_000_000, stamp))


def ask_for_shots(world: World) -> None:
    """A person asks for runs into a cylinder; now and then nobody can."""
    minutes = world.chance.choice((-1, 2, 20))
    pump = world.chance.choice(("carbonate", "trace"))
    for number in range(world.chance.choice((1, 4))):
        world.after(number * 20_000, partial(_ask, world, (pump, minutes, number)))


def _ask(world: World, what: tuple[str, int, int]) -> None:
    pump, minutes, number = what

    def asked(_state: State, stamp: Stamp) -> AnyEvent:
        return ShotRequested(
            **stamp,
            request=f"shot-{world.times.t_ms}-{number}",
            pump=pump,
            volume_ul=world.home.dose_ul,
            until=stamp["at"] + timedelta(minutes=minutes),
            by="keeper",
        )

    world.book.sign(asked)


def ask_and_take_back(world: World) -> None:
    """A person asks for runs, and soon takes back what of them still waits."""
    ask_for_shots(world)
    for late_ms in world.chance.sample((0, 300, 1_000, 15_000, 61_000), 2):
        world.after(late_ms, partial(take_back, world))


def take_back(world: World) -> None:
    """A person takes back all that waits, as `slackwater take-back` writes it."""
    for request in tuple(world.book.folded().requests.values()):
        world.book.sign(partial(_taken_back, request))


def _taken_back(request: ShotRequested, _state: State, stamp: Stamp) -> AnyEvent:
    return RequestTakenBack(
        **stamp,
        request=request.request,
        pump=request.pump,
        volume_ul=request.volume_ul,
        by="keeper",
    )


def request_from_afar(world: World) -> None:
    """Somebody entitled asks for a hold, a pause, a stop or to skip, maybe twice."""
    act = world.chance.choice(("hold", "pause", "pause", "stop", "skip", "skip"))
    asked = Request(
        tank="reef",
        id=f"r{world.times.t_ms}",
        act=act,  # type: ignore[arg-type]  # one of the words above
        minutes=2,
        dose=_next_dose(world),
    )
    for _ in range(world.chance.choice((1, 2))):
        world.bus.to_daemon(asked, world.times.t_ms)


def _next_dose(world: World) -> str:
    now = world.times.now().utc
    if world.daemon is None:
        return ""
    for force in world.daemon.rig.setup.forces[-1:]:
        for dose in force.timetable.between(now, now + timedelta(minutes=5)):
            return dose.id
    return ""


def add_by_hand(world: World) -> None:
    """A person pours in a few doses' worth and says so, at once or hours later."""
    machine, chance = world.home.machine, world.chance
    solution = machine.solutions[chance.choice(("carbonate", "carbonate", "calcium"))]
    volume_ul = chance.randint(1, 3) * world.home.dose_ul
    late = timedelta(seconds=chance.choice((0, 0, 30, 5_000, 90_000)))
    zone = ZoneInfo(machine.tanks["reef"].zone)

    def poured(_state: State, stamp: Stamp) -> AnyEvent:
        given_at = stamp["at"] - late
        return AddedByHand(
            **stamp,
            id=f"a-{world.times.t_ms}",
            tank="reef",
            given_at=given_at,
            local_day=given_at.astimezone(zone).date(),
            by="keeper",
            solution=solution.id,
            volume_ul=volume_ul,
            effects={name: n * volume_ul for name, n in solution.effects.items()},
        )

    world.book.sign(poured)


def change_water(world: World) -> None:
    """A person changes water, or says that it will be changed in a minute."""
    ahead = timedelta(minutes=world.chance.choice((-1, 0, 1)))

    def changed(_state: State, stamp: Stamp) -> AnyEvent:
        return WaterChanged(
            **stamp,
            id=f"w-{world.times.t_ms}",
            tank="reef",
            changed_at=stamp["at"] + ahead,
            volume_ul=20_000_000,
            by="keeper",
            steps={"alkalinity": world.chance.choice((-0.1, 0.1, 0.4))},
        )

    world.book.sign(changed)


PEOPLE: tuple[Fault, ...] = (
    *(release_all,) * 4,
    *(request_from_afar,) * 4,
    *(swap_plans,) * 3,
    swap_while_waiting,
    confirm_clock,
    withdraw_plan,
    disable_pumps,
    calibrate,
    ask_for_shots,
    ask_and_take_back,
    *(add_by_hand,) * 4,
    change_water,
)
