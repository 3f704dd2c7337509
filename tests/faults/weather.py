"""What befalls a household in weeks: classes of faults by weight, and in bursts.

A calm hour brings little; a storm brings many faults within minutes, most of them
around the moment at which a dose is due, where they do most harm.
"""

from collections.abc import Callable, Mapping
from functools import partial

from slackwater.errors import LedgerError
from slackwater.facts.reasons import Code
from slackwater.outside.wire import run_bytes
from tests.faults.disk import KINDS
from tests.faults.sea import DAY_MS, SECOND_MS, Sea
from tests.properties import faults, people
from tests.properties.bus import Habits
from tests.properties.faults import HOUR_MS, MINUTE_MS
from tests.properties.outpost import Outpost
from tests.properties.shell import trap
from tests.service.launch import Wish

YEAR_MS = 365 * DAY_MS
# Clock steps: a second to a century, both ways.
STEPS_MS = (
    SECOND_MS,
    2 * SECOND_MS,
    MINUTE_MS,
    HOUR_MS,
    DAY_MS,
    30 * DAY_MS,
    YEAR_MS,
    100 * YEAR_MS,
)
# Requests that nobody may make from afar, and words that are none.
FORBIDDEN = (
    b'{"v":1,"id":"00000000000000000000000000000001","act":"approve","serial":1}',
    b'{"v":1,"act":"enable"}',
    b'{"v":1,"act":"release","hold":"clock-jumped"}',
    b'{"v":1,"act":"raise","cap":1e400}',
    b'{"v":1,"act":"hold","act":"release"}',
    b'{"v":1,"act":"dose","pump":"carbonate","ul":9000}',
    b"\xff\xfe not words",
    b"[" * 3000,
)


def disk_fails(sea: Sea) -> None:
    """The next write of the daemon fails in one of the ways of a disk."""
    sea.disk.wrong = sea.chance.choice(KINDS)


def disk_stays_bad(sea: Sea) -> None:
    """The disk is full, or can only be read, for minutes."""
    sea.disk.wrong, sea.disk.lasts = sea.chance.choice(("readonly", "error")), True
    sea.after(sea.chance.randrange(1, 20) * MINUTE_MS, partial(_mend_disk, sea))


def _mend_disk(sea: Sea) -> None:
    sea.disk.wrong, sea.disk.lasts = "", False


def file_put_back(sea: Sea) -> None:
    """An older copy of the ledger takes its place; the witness remembers more."""
    if sea.disk.backups:
        sea.kill(5 * SECOND_MS)
        sea.disk.put_back(sea.chance.choice(sea.disk.backups), witness=False)


def box_put_back(sea: Sea) -> None:
    """The whole machine is put back, its witness too: only the nodes remember."""
    if sea.disk.backups:
        sea.kill(5 * SECOND_MS)
        sea.disk.put_back(sea.chance.choice(sea.disk.backups), witness=True)


def stale_queue(sea: Sea) -> None:
    """The broker comes back with what it had kept, commands and results alike."""
    now_ms = sea.times.t_ms
    late_ms = sea.chance.choice((0, 5 * SECOND_MS, 9 * MINUTE_MS, HOUR_MS))
    for _, command in sea.book.sent[-6:]:
        sea.after(
            late_ms,
            partial(sea.bus.to_node, command.node, run_bytes(command, None), now_ms),
        )
    for parcel in tuple(sea.stale):
        sea.after(late_ms, partial(_say_again, sea, parcel))


def _say_again(sea: Sea, parcel: tuple[str, bytes]) -> None:
    sea.bus.to_daemon(parcel, sea.times.t_ms)


def twin_node(sea: Sea) -> None:
    """A second device answers to the name of a node, with hoses in the same tank."""
    first = faults.post_of(sea)
    twin = Outpost(
        name=first.name,
        pumps=first.pumps,
        day_ul=first.day_ul,
        powered_ms=sea.times.t_ms - HOUR_MS,
        boot_ids=first.boot_ids,
        metered=first.metered,
    )
    twin.beat_at_ms = sea.times.t_ms + sea.chance.randrange(12 * SECOND_MS)
    sea.twins.append(twin)
    sea.after(10 * MINUTE_MS, partial(_unplug, sea, twin))


def _unplug(sea: Sea, twin: Outpost) -> None:
    if twin in sea.twins:
        sea.twins.remove(twin)
        sea.gone.append(twin)


def asked_from_afar(sea: Sea) -> None:
    """Somebody asks for what nobody may ask for from afar."""
    payload = sea.chance.choice(FORBIDDEN)
    sea.bus.to_daemon(("tank/reef/request", payload), sea.times.t_ms)


def garbage(sea: Sea) -> None:
    """A node's own words with bytes of them changed."""
    if sea.stale:
        place, payload = sea.chance.choice(tuple(sea.stale))
        spoiled = bytearray(payload)
        for _ in range(sea.chance.randint(1, 4)):
            spoiled[sea.chance.randrange(len(spoiled))] = sea.chance.randrange(256)
        sea.bus.to_daemon((place, bytes(spoiled)), sea.times.t_ms)


def clock_leap(sea: Sea) -> None:
    """The wall clock steps by a second, or a century, or anything between."""
    sign = sea.chance.choice((-1, 1))
    shift_ms = sea.times.shift_ms + sign * sea.chance.choice(STEPS_MS)
    if abs(shift_ms) <= 101 * YEAR_MS:
        sea.times.shift_ms = shift_ms


def boot_in_1970(sea: Sea) -> None:
    """A board without a clock of its own begins where all clocks begin."""
    sea.kill(10 * SECOND_MS)
    times = sea.times
    times.boots += 1
    times.booted_ms = times.t_ms + 5 * SECOND_MS
    before_ms = times.shift_ms
    since = times.now().utc.timestamp()
    times.synchronised = False
    times.shift_ms -= int(since * 1000)
    late_ms = sea.chance.choice((MINUTE_MS, 5 * MINUTE_MS, HOUR_MS))
    sea.after(late_ms, partial(_right, sea, before_ms))


def _right(sea: Sea, shift_ms: int) -> None:
    sea.times.shift_ms, sea.times.synchronised = shift_ms, True


def plan_withdrawn(sea: Sea) -> None:
    """A person takes the newest approval back."""
    people.withdraw_plan(sea)
    sea.disk.look_anew()


def release_all(sea: Sea) -> None:
    """A person lets go of every hold but that of a ledger which forgot.

    Whoever ends that one at once says that nothing was given, and it is left to them.
    """
    for hold_id in tuple(sea.disk.folded().holds):
        if hold_id != Code.LEDGER_FORGETS:
            sea.disk.sign(partial(people.released, hold_id))


def killed_in_writing(sea: Sea) -> None:
    """The daemon dies between an entry and its commit."""
    sea.down_for_ms = sea.chance.choice((100, 2 * SECOND_MS, MINUTE_MS))
    trap().wish = Wish("before_append:dose_intended>before_commit")


# The part of all faults that a class has, and what it may bring.
CLASSES: Mapping[str, tuple[int, tuple[Callable[..., None], ...]]] = {
    "process": (
        5,
        (
            faults.crash_at_point,
            faults.crash_at_point,
            killed_in_writing,
            faults.kill,
            faults.crash_loop,
            faults.stall,
            faults.sleep,
        ),
    ),
    "wire": (
        6,
        (
            faults.wire_spoiled,
            faults.wire_spoiled,
            faults.results_lost,
            faults.broker_away,
            stale_queue,
            faults.taken_over,
            faults.retained_command,
            garbage,
        ),
    ),
    "node": (
        5,
        (
            faults.node_reboot,
            faults.node_reboot,
            faults.node_hangs,
            faults.node_breaks,
            faults.node_held,
            faults.node_exchanged,
            faults.node_lies,
            faults.hose_off,
            twin_node,
        ),
    ),
    "disk": (4, (disk_fails, disk_fails, disk_stays_bad, faults.disk_fills)),
    "past": (1, (file_put_back, box_put_back)),
    "clock": (
        2,
        (
            faults.clock_step,
            faults.clock_adrift,
            clock_leap,
            boot_in_1970,
            faults.box_reboot,
        ),
    ),
    "second": (1, (faults.second_daemon, faults.node_stolen)),
    "water": (1, (faults.water_swings, faults.probe_fails)),
    "people": (
        3,
        (
            people.request_from_afar,
            people.swap_plans,
            people.swap_while_waiting,
            plan_withdrawn,
            people.disable_pumps,
            people.calibrate,
            people.ask_for_shots,
            people.ask_and_take_back,
            people.add_by_hand,
            people.change_water,
            people.confirm_clock,
            release_all,
        ),
    ),
    "afar": (1, (asked_from_afar,)),
}
STORMS_PER_DAY = 1.0
# How many faults come in the minutes around a due moment, and what the wire is then.
STRIKES = (0, 1, 1, 2, 4, 8, 16)
BAD_WIRE_SHARE = 0.8
WIRES = (
    Habits(loss=0.1, double=0.2, slow=0.2),
    Habits(loss=0.4, double=0.5, slow=0.5, slowest_ms=2 * SECOND_MS),
    Habits(double=0.9, slow=0.9),
    Habits(loss=0.7),
)


def every_fault() -> set[str]:
    """The names of all there is."""
    return {one.__name__ for _, those in CLASSES.values() for one in those}


def hose_off(sea: Sea) -> None:
    """A hose of any head of a node gives more or less."""
    post = faults.post_of(sea)
    factors = (0.0, 0.5, 0.85, 1.08, 1.5, 3.0) if post.metered else (0.3, 0.9, 1.05)
    post.factors[sea.chance.choice(tuple(post.pumps))] = sea.chance.choice(factors)


def draw(sea: Sea) -> tuple[str, Callable[..., None]]:
    """A class by its weight, and one of its faults."""
    names = list(CLASSES)
    weights = [CLASSES[name][0] for name in names]
    (name,) = sea.chance.choices(names, weights)
    return name, sea.chance.choice(CLASSES[name][1])


def strike(sea: Sea, name: str, fault: Callable[..., None]) -> None:
    """Let a fault happen; what a person cannot do now is left undone."""
    sea.say(fault.__name__, f"({name})")
    try:
        fault(sea)
    except LedgerError as error:
        sea.told.append((sea.times.t_ms, f"  not now: {type(error).__name__}"))


def storms(sea: Sea) -> None:
    """Where many pumps are due at once: a bad wire, and faults by the dozen, then.

    Calm days lie between; what the storm left, the keeper mends.
    """
    chance = sea.chance
    daemon = sea.daemon
    due_ms = sea.times.t_ms if daemon is None else daemon.wake_ms
    first_ms = max(due_ms - sea.times.t_ms - MINUTE_MS, 0)
    for _ in range(chance.choice(STRIKES)):
        name, fault = draw(sea)
        fault = hose_off if fault is faults.hose_off else fault
        late_ms = first_ms + chance.randrange(4 * MINUTE_MS)
        sea.after(late_ms, partial(strike, sea, name, fault))
    if chance.random() < BAD_WIRE_SHARE:
        sea.after(first_ms, partial(_spoil, sea, chance.choice(WIRES)))
        sea.after(first_ms + 6 * MINUTE_MS, partial(_calm, sea))
    wait_ms = int(chance.expovariate(STORMS_PER_DAY) * DAY_MS)
    sea.after(first_ms + max(wait_ms, 10 * MINUTE_MS), partial(storms, sea))


def _spoil(sea: Sea, habits: Habits) -> None:
    sea.bus.habits = habits


def bursts(sea: Sea, per_day: float) -> None:
    """From now on: faults one by one, and many at once around a due dose."""
    chance = sea.chance
    wait_ms = int(chance.expovariate(per_day) * DAY_MS)
    many = chance.choice((1, 1, 2, 4, 8))
    # The next due dose is where the daemon will wake.
    daemon = sea.daemon
    due_ms = sea.times.t_ms if daemon is None else daemon.wake_ms
    for _ in range(many):
        around_ms = (
            due_ms - sea.times.t_ms + chance.randrange(-MINUTE_MS, 3 * MINUTE_MS)
        )
        name, fault = draw(sea)
        sea.after(max(around_ms, 0), partial(strike, sea, name, fault))
    if chance.random() < 0.3:
        sea.bus.habits = Habits(loss=0.1, double=0.2, slow=0.2)
        sea.after(HOUR_MS, partial(_calm, sea))
    sea.after(max(wait_ms, SECOND_MS), partial(bursts, sea, per_day))


def _calm(sea: Sea) -> None:
    sea.bus.habits = Habits()
