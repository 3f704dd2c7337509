"""A household that is lived in for weeks under virtual clocks, and its keeper.

`World` moves everything, second by second where something may happen; here the hours
in which nothing is due pass at once, the ledger lies in a real file, and somebody
comes by now and then who mends what a person can mend.
"""

from collections import Counter, deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from pathlib import Path
from random import Random

from slackwater.errors import (
    LedgerBusyError,
    LedgerDamagedError,
    LedgerError,
    LedgerMovedError,
)
from slackwater.facts.now import proven_ms
from slackwater.facts.reasons import Code
from tests.faults.disk import DiskBook, DiskMemory
from tests.faults.estates import draw_estate
from tests.faults.homes import READING_S, draw_long_home
from tests.properties.bus import Bus
from tests.properties.outpost import HOUR_MS, Outpost, Told
from tests.properties.people import approve_again, confirm_clock, enable_pumps, released
from tests.properties.shell import CrashError, Daemon, Times, trap
from tests.properties.world import MINUTE_MS, UP_HOURS, World, boot_ids, past, spoken

SECOND_MS = 1000
DAY_MS = 24 * HOUR_MS
# Everybody is heard for so long before a dose is due: three beats of a node.
AWAKE_MS = 45 * SECOND_MS
# Where there are many pumps, for two beats: as late as a daemon can begin to listen.
WIDE_AWAKE_MS = 26 * SECOND_MS
# A daemon that waits for something looks less and less often when nothing comes.
SLOWEST_MS = 10 * MINUTE_MS
VISIT_MS = 4 * HOUR_MS
KEPT_MESSAGES = 12
START_AGAIN_MS = 60 * SECOND_MS
# Of so many voyages one has a small household; the others have up to 32 pumps.
SMALL_OF, SMALL_AT = 8, 2
APPROVED_DEVICE = "virtual-1"
# What a pass takes on boards of all kinds; what comes meanwhile waits for the next.
PASSES_MS = (1, 40, 250, 250, 800)


@dataclass(kw_only=True)
class Sea(World):
    """A long scenario.

    `twins` are nodes that answer to the name of another, `gone` those that did. `met`
    counts what befell it, `told` says it in words with its true time; `stale` are the
    newest messages of nodes, as a broker might have kept them.
    """

    disk: DiskBook
    twins: list[Outpost] = field(default_factory=list)
    gone: list[Outpost] = field(default_factory=list)
    met: Counter[str] = field(default_factory=Counter)
    told: list[tuple[int, str]] = field(default_factory=list)
    stale: deque[tuple[str, bytes]] = field(
        default_factory=lambda: deque(maxlen=KEPT_MESSAGES)
    )
    waits_ms: int = SECOND_MS
    entries_then: int = 0
    ends_ms: int = 0
    checkpoint_ms: int = DAY_MS
    witness_ms: int = HOUR_MS
    pass_ms: int = 0

    def say(self, kind: str, words: str = "") -> None:
        """Note what befalls, for the count and for the story."""
        self.met[kind] += 1
        self.told.append((self.times.t_ms, f"{kind} {words}".rstrip()))

    def everyone(self) -> Sequence[Outpost]:
        """All nodes, and those that stand in for one."""
        return (*self.posts.values(), *self.twins)

    def after(self, span_ms: int, call: Callable[[], None]) -> None:
        """Let something happen later; what the ledger forbids then is left undone."""
        super().after(span_ms, partial(_tried, call))

    def step(self) -> None:
        """What is due now; afterwards pass over the hours in which nothing is."""
        super().step()
        self._pass_over()

    def _pass_over(self) -> None:
        """Nobody needs to speak until shortly before the next thing happens."""
        now_ms, daemon = self.times.t_ms, self.daemon
        busy = any(p.node.starting or _runs(p) for p in self.everyone())
        if busy or self.bus.outbound or (self.bus.inbound and daemon is not None):
            return
        if daemon is not None:
            next_ms = daemon.wake_ms
        elif self.starts_at_ms is not None:
            next_ms = self.starts_at_ms
        else:
            next_ms = now_ms + HOUR_MS
        if self.later:
            next_ms = min(next_ms, self.later[0][0])
        awake_ms = WIDE_AWAKE_MS if self.pass_ms else AWAKE_MS
        span_ms = min(next_ms, self.ends_ms) - awake_ms - now_ms
        if span_ms > awake_ms:
            for post in self.everyone():
                post.beat_at_ms = max(post.beat_at_ms, now_ms + span_ms)

    def _start(self) -> None:
        """Begin a life of the daemon; a disk or a ledger that refuses ends it."""
        self.starts_at_ms = None
        self.bus.arrived(self.times.t_ms)
        try:
            super()._start()
        except LedgerDamagedError:
            self.say("start refused", "the ledger is not the one that was there")
            self.after(START_AGAIN_MS, self._restore)
        except LedgerError as error:
            self.met["ended by the ledger"] += 1
            self.told.append((self.times.t_ms, f"no start: {type(error).__name__}"))
            self.kill(START_AGAIN_MS)
        self.waits_ms = SECOND_MS

    def _restore(self) -> None:
        """A person finds that the file is an old one, and goes on from a backup."""
        if self.disk.backups:
            if self.pass_ms:
                # Who looks at entries by their time looks at a clock first.
                self.times.shift_ms = 0
            self.disk.go_on_from(self.disk.backups[-1])
            self.say("ledger restored")
        self.kill(SECOND_MS)

    def _live(self) -> None:
        """A pass; an error of the ledger ends the process, as it does in the field."""
        daemon = self.daemon
        if daemon is None:
            return
        before_ms = daemon.wake_ms
        try:
            super()._live()
        except CrashError:
            # Also where the rim reads a message, or the shell looks around.
            self.kill(self.down_for_ms)
            return
        except LedgerMovedError:
            # Nobody else writes that often: this decision stands there already, and
            # only the ledger stood between it and a second dose.
            raise
        except LedgerError as error:
            self.met["ended by the ledger"] += 1
            self.told.append((self.times.t_ms, f"ended: {type(error).__name__}"))
            self.kill(self.chance.choice((SECOND_MS, START_AGAIN_MS)))
            return
        self.frozen_until_ms = max(self.frozen_until_ms, self.times.t_ms + self.pass_ms)
        if self.daemon is daemon and daemon.wake_ms != before_ms:
            self._grow_patient(daemon)

    def _grow_patient(self, daemon: Daemon) -> None:
        """Where passes bring nothing the next one comes later, as on a slow machine."""
        entries = len(self.book.entries)
        if entries != self.entries_then:
            self.entries_then, self.waits_ms = entries, SECOND_MS
        now_ms = self.times.t_ms
        if now_ms >= self.witness_ms and isinstance(daemon.memory, DiskMemory):
            self.witness_ms = now_ms + HOUR_MS
            self._witness(daemon.memory)
        if now_ms >= self.checkpoint_ms:
            self.checkpoint_ms = now_ms + DAY_MS
            self._checkpoint(daemon)
        if daemon.wake_ms - now_ms <= 8 * SECOND_MS:
            self.waits_ms = min(self.waits_ms * 2, SLOWEST_MS)
            daemon.wake_ms = max(daemon.wake_ms, now_ms + self.waits_ms)

    def _witness(self, memory: DiskMemory) -> None:
        """What remembers the newest entry; refused by the disk it ends the life."""
        try:
            memory.witness()
        except LedgerError:
            self.met["ended by the ledger"] += 1
            self.kill(SECOND_MS)

    def _checkpoint(self, daemon: Daemon) -> None:
        """The daily entry of the whole state; refused by the disk it ends the life."""
        memory, state = daemon.memory, daemon.rig.memory.state
        now = self.times.now()
        if not isinstance(memory, DiskMemory) or state.mark is None:
            return
        proven = proven_ms(state.mark, now)
        try:
            memory.checkpoint(
                {"at": now.utc, "boot_s": now.boot_s, "proven_ms": proven}
            )
        except LedgerError:
            self.met["ended by the ledger"] += 1
            self.kill(SECOND_MS)

    def _tell(self, post: Outpost, told: Told) -> None:
        """Send it; a broker may keep its results for later."""
        super()._tell(post, told)
        for suffix, payload in told:
            if suffix == "result":
                self.stale.append((f"node/{post.name}/{suffix}", spoken(payload)))

    def _read(self) -> None:
        """Probes speak once an hour here."""
        due = self.times.t_ms >= self.reading_at_ms
        super()._read()
        if due:
            self.reading_at_ms = self.times.t_ms + int(READING_S * 1000)


def _tried(call: Callable[[], None]) -> None:
    with suppress(LedgerError):
        call()


def _runs(post: Outpost) -> bool:
    return any(head.run is not None for head in post.node.heads.values())


def visit(sea: Sea) -> None:
    """The keeper comes by, mends what can be mended, lets go, and backs up."""
    times, disk = sea.times, sea.disk
    sea.after(sea.chance.randrange(VISIT_MS // 2, VISIT_MS * 2), lambda: visit(sea))
    disk.wrong, disk.lasts = "", False
    for post in sea.everyone():
        post.factors.clear()
        if any(head.broken for head in post.node.heads.values()):
            post.power_up(times.t_ms)
    if sea.pass_ms:
        with suppress(LedgerError):
            _look_after(sea)
    set_hoses(sea)
    sea.gone += sea.twins
    sea.twins.clear()
    sea.swim.frozen, sea.swim.apart_dkh, sea.swim.silent = False, 0.0, False
    sea.swim.dkh, sea.swim.per_reading_dkh = 8.0, 0.0
    if sea.daemon is not None:
        sea.daemon.rig.sight.free_bytes = 10**12
    with suppress(LedgerBusyError, LedgerDamagedError):
        astray = bool(times.shift_ms) or not times.synchronised
        times.shift_ms, times.synchronised = 0, True
        # Who keeps many pumps vouches for the clock only where it was wrong.
        if astray or not sea.pass_ms:
            confirm_clock(sea)
        sea.after(20 * SECOND_MS, lambda: _let_go(sea))
        sea.after(25 * SECOND_MS, lambda: _give_back(sea))
        if sea.chance.random() < 0.5:
            disk.back_up()


def _look_after(sea: Sea) -> None:
    """Who keeps many pumps brings the device that was approved, and a plan in force.

    A node that heeds another daemon forgets it when its plug is pulled.
    """
    heeds_another = any(
        hold.reason.code is Code.SECOND_DAEMON
        for hold in sea.disk.folded().holds.values()
    )
    for post in sea.posts.values():
        if heeds_another or post.hardware != APPROVED_DEVICE:
            post.hardware = APPROVED_DEVICE
            post.power_up(sea.times.t_ms)
    sea.after(30 * SECOND_MS, lambda: _approve_where_none(sea))


def _approve_where_none(sea: Sea) -> None:
    state, now = sea.disk.folded(), sea.times.now().utc
    newest = state.approvals[-1].approval if state.approvals else None
    if newest is None or newest.expires_at < now:
        approve_again(sea)
        sea.disk.look_anew()


def _let_go(sea: Sea) -> None:
    """Look at every hold and release it.

    Where nodes counted runs that the ledger does not know, nobody can say how much that
    was: it is left for a day, as the sentence of the hold asks for.
    """
    with suppress(LedgerError):
        holds = sea.disk.folded().holds
        for hold_id, hold in tuple(holds.items()):
            age = sea.times.now().utc - hold.at
            if hold_id != Code.LEDGER_FORGETS or age > timedelta(hours=25):
                sea.disk.sign(partial(released, hold_id))


def _give_back(sea: Sea) -> None:
    """Enable the pumps where somebody could not: the ledger refused it then."""
    if sea.disk.folded().stage == "shadow":
        enable_pumps(sea)


def is_small(seed: int) -> bool:
    """Whether the household of this seed is a small one."""
    return seed % SMALL_OF == SMALL_AT


def embark(seed: int, days: float, folder: Path) -> Sea:
    """A household with a plan in force, its past, and a daemon about to start."""
    trap().wish = None
    chance = Random(seed)  # noqa: S311 -- to be repeated, not to be secret
    home = draw_long_home(chance) if is_small(seed) else draw_estate(chance)
    times = Times(begin=home.begin)
    boots, metered = boot_ids(seed), chance.random() < 0.7
    posts = {
        name: Outpost(
            name=name,
            pumps={
                pump.channel: pump.id
                for pump in home.machine.pumps.values()
                if pump.node == name
            },
            day_ul=home.machine.nodes[name].day_limit_ul,
            powered_ms=-UP_HOURS * HOUR_MS,
            boot_ids=boots,
            metered=metered,
        )
        for name in ("shelf", "rack")
    }
    for post in posts.values():
        post.beat_at_ms = 0
    disk = DiskBook(times=times, folder=folder)
    sea = Sea(
        home=home,
        chance=chance,
        times=times,
        book=disk,
        disk=disk,
        bus=Bus(chance=chance),
        posts=posts,
    )
    set_hoses(sea)
    if not is_small(seed):
        sea.pass_ms = chance.choice(PASSES_MS)
    sea.ends_ms = int(days * DAY_MS)
    disk.append(list(past(sea)))
    sea.after(chance.randrange(VISIT_MS), lambda: visit(sea))
    return sea


def set_hoses(sea: Sea) -> None:
    """One pump may have been measured as slow, and so it is."""
    if sea.home.narrow == "limit":
        sea.posts["shelf"].factors["a"] = 0.8
