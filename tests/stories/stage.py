"""The stage of a story: the real loop, demo nodes and true water, virtual time.

It is the world of `tests.properties`, on a wire without faults; nodes beat shortly
before the daemon looks instead of all the time, so that weeks pass in seconds.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from demo.reef.water import Hose, Tank, Uptake
from slackwater.cli.checked import check_files
from slackwater.cli.consent import Consent, entries, proposal_for
from slackwater.cli.opening import approval_at, newest_approval
from slackwater.cli.reading import Files, digest_of, read_files
from slackwater.cli.takeover import Swap, swap_for
from slackwater.errors import RefusedError
from slackwater.facts.events import LedgerMade, PumpsEnabled
from slackwater.facts.now import proven_ms
from slackwater.facts.plan import Plan
from slackwater.facts.tank import Machine
from slackwater.pump.outcome import Stamp
from tests.properties.bus import Bus
from tests.properties.households import Home
from tests.properties.outpost import HOUR_MS, Outpost
from tests.properties.shell import SLOW_TICK_MS, Book, Times, trap
from tests.properties.world import UP_HOURS, World, boot_ids
from tests.stories.story import Story, Table, house_of, write_files

SECOND_MS, MINUTE_MS = 1_000, 60_000
# The daemon takes charge so long before the story begins.
LEAD = timedelta(minutes=10)
# Once it has started, and while a run is under way, nodes beat so often.
BEAT_MS, CHATTY_MS = 5 * SECOND_MS, 3 * MINUTE_MS
BEFORE_MS = 200
# A dose that waits is looked at again after this; the daemon would each second.
PATIENCE_MS = MINUTE_MS
READING_STEPS = (0, 1, -1)


class SteadyTank(Tank):
    """Corals that take up the same whatever the alkalinity is."""

    def live(self, span_ms: float) -> None:
        """Take off what a day takes, in proportion to the time."""
        self.alkalinity_dkh -= self.uptake.dkh_per_day * span_ms / (24 * HOUR_MS)


class Hosed(Outpost):
    """A node whose hoses end in the water of the story; `fresh` is not mixed in yet."""

    fresh: dict[str, float]

    def _pour(self, chan: str, attempt: str, span: tuple[int, int]) -> float:
        volume_ul = super()._pour(chan, attempt, span)
        pump = self.pumps[chan]
        self.fresh[pump] = self.fresh.get(pump, 0.0) + volume_ul
        return volume_ul


class Stage(World):
    """A story under way; `course` holds the water at every moment looked at.

    `shown_dkh` is what the probe shows instead of the truth.
    """

    def __init__(self, story: Story, folder: Path) -> None:
        """Read the house and make ready; nothing runs yet.

        Raises: InputError or RefusedError when the house is not to be run.
        """
        self.story, self.folder, self.versions = story, folder, 0
        files = self.files_of({}, {})
        zone = ZoneInfo(files.machine.tanks["reef"].zone)
        self.begins = story.begins.replace(tzinfo=zone).astimezone(UTC)
        times = Times(begin=self.begins - LEAD)
        self.hosed = _posts(files.machine)
        super().__init__(
            home=_home(self.begins, files),
            chance=Random(0),  # noqa: S311 -- a story has no chance in it
            times=times,
            book=Book(times=times),
            bus=Bus(chance=Random(0)),  # noqa: S311 -- only milliseconds
            posts={post.name: post for post in self.hosed},
        )
        trap().wish = None
        self.water, self.hoses = _water(house_of(story, "water"))
        self.water_ms = self.chatty_until_ms = 0
        self.course: list[tuple[datetime, float]] = []
        self.shown_dkh: float | None = None
        self.number = 0
        self._make_ledger(files)

    @property
    def zone(self) -> ZoneInfo:
        """Where the tank stands."""
        return ZoneInfo(self.home.machine.tanks["reef"].zone)

    def utc(self, local: datetime) -> datetime:
        """A wall time at the tank as an instant."""
        return local.replace(tzinfo=self.zone).astimezone(UTC)

    def moment_ms(self, local: datetime) -> int:
        """A wall time at the tank in true milliseconds."""
        return self.times.true_ms(self.utc(local))

    def play(self) -> None:
        """Let the whole story pass; what is due at its very end is not in it."""
        self.run((LEAD + self.story.lasts) // timedelta(milliseconds=1) - 1)

    def files_of(self, machine: Table, plan: Table) -> Files:
        """The house with something more laid over it, read and checked as by a person.

        Raises: InputError or RefusedError.
        """
        self.versions += 1
        place = write_files(
            self.folder / f"config-{self.versions}",
            house_of(self.story, "machine", machine),
            house_of(self.story, "plan", plan),
        )
        files = read_files(place)
        if not self.story.unchecked and (found := check_files(files).findings):
            raise RefusedError(found)
        return files

    def approve(self, files: Files, wish: str) -> None:
        """A person approves; `wish` as on the command line, "" for midnight."""
        state, now = self.book.folded(), self.times.now()
        swap = swap_for(files, approval_at(state, now.utc), now.utc, wish)
        self._consent(files, swap)
        self.home = replace(self.home, other_machine=files.machine)

    def step(self) -> None:
        """Everything that is due, then the water, then when to beat next."""
        was_here = self.daemon is not None
        super().step()
        now_ms, daemon = self.times.t_ms, self.daemon
        self._mix(now_ms)
        if daemon is None:
            return
        if not was_here:
            self.chatty_until_ms = now_ms + CHATTY_MS
        if daemon.wake_ms == now_ms + SLOW_TICK_MS:
            daemon.wake_ms = self._soon_ms(daemon.silence.wake_utc)
        due_ms = daemon.wake_ms - BEFORE_MS
        if now_ms < self.chatty_until_ms or daemon.memory.state.open:
            due_ms = min(due_ms, now_ms + BEAT_MS)
        for post in self.posts.values():
            post.beat_at_ms = due_ms if due_ms > now_ms else now_ms + BEAT_MS

    def _soon_ms(self, wake: datetime | None) -> int:
        """When to look again: at a due time near by, else after some patience."""
        now_ms = self.times.t_ms
        wake_ms = now_ms if wake is None else self.times.true_ms(wake)
        is_due = now_ms < wake_ms < now_ms + SECOND_MS
        return wake_ms if is_due else now_ms + PATIENCE_MS

    def _make_ledger(self, files: Files) -> None:
        now = self.times.now()
        stamp: Stamp = {"at": now.utc, "boot_s": now.boot_s, "proven_ms": 0}
        made = LedgerMade(
            **stamp,
            ledger_id="story",
            boot_id=now.boot_id,
            answered=True,
            dosed_ul={},
            by="keeper",
        )
        # Nothing ran for longer than any gap: a ledger without a past would count it.
        self.book.append([replace(made, proven_ms=24 * HOUR_MS)])
        self._consent(files, Swap(at=self.begins))
        self.book.sign(lambda _, stamp: PumpsEnabled(**stamp, by="keeper", serial=1))

    def _consent(self, files: Files, swap: Swap) -> None:
        state, now = self.book.folded(), self.times.now()
        passed = 0 if state.mark is None else proven_ms(state.mark, now)
        stamp: Stamp = {"at": now.utc, "boot_s": now.boot_s, "proven_ms": passed}
        before = newest_approval(state)
        proposal = proposal_for(files, digest_of(files), {}, before)
        consent = Consent(proposal=proposal, by="keeper", swap=swap)
        self.book.append(entries(consent, state, stamp))

    def _mix(self, now_ms: int) -> None:
        for tank in self.water.values():
            tank.live(now_ms - self.water_ms)
        self.water_ms = now_ms
        for post in self.hosed:
            for pump, volume_ul in post.fresh.items():
                hose = self.hoses[pump]
                self.water[hose.tank].receive(volume_ul, hose)
            post.fresh = {}
        self.course.append((self.times.now().utc, self.water["reef"].alkalinity_dkh))

    def _wake_ms(self) -> int:
        """The next moment at which anything can be; nodes beat for the daemon alone."""
        if self.daemon is not None:
            return super()._wake_ms()
        moments = [self.reading_at_ms, self.starts_at_ms or self.reading_at_ms]
        moments += [heap[0][0] for heap in (self.bus.outbound, self.later) if heap]
        for post in self.posts.values():
            due_ms = post.node.next_ms()
            moments += [] if due_ms is None else [post.powered_ms + due_ms]
        return max(min(moments), self.times.t_ms + 1)

    def _read(self) -> None:
        """Let each probe show the water, up and down by one step."""
        now_ms, machine = self.times.t_ms, self.home.machine
        if now_ms < self.reading_at_ms:
            return
        period_s = min((p.period_s for p in machine.probes.values()), default=3600.0)
        self.reading_at_ms = now_ms + int(period_s * 1000)
        if self.swim.silent:
            return
        self.number += 1
        for probe in machine.probes:
            shown_dkh = self.shown_dkh or self.water["reef"].alkalinity_dkh
            shown_dkh += READING_STEPS[self.number % 3] * 0.01
            self.bus.to_daemon(self.reading(probe, shown_dkh, now_ms), now_ms)


def _home(begin: datetime, files: Files) -> Home:
    machine: Machine = files.machine
    plan: Plan = files.plan
    return Home(
        begin=begin,
        machine=machine,
        other_machine=machine,
        plan=plan,
        other_plan=plan,
        dose_ul=0,
        narrow="",
    )


def _posts(machine: Machine) -> list[Hosed]:
    boots = boot_ids(1)
    posts = []
    for node in machine.nodes.values():
        pumps = {p.channel: p.id for p in machine.pumps.values() if p.node == node.id}
        post = Hosed(
            name=node.id,
            pumps=pumps,
            day_ul=node.day_limit_ul,
            powered_ms=-UP_HOURS * HOUR_MS,
            boot_ids=boots,
        )
        post.fresh = {}
        posts.append(post)
    return posts


def _water(table: Table) -> tuple[dict[str, Tank], dict[str, Hose]]:
    hoses = {
        pump: Hose(rate_ul_per_s=1000.0, **hose)
        for pump, hose in table.pop("hose").items()
    }
    tanks: dict[str, Tank] = {}
    for name, tank in table.items():
        made = {"steady": SteadyTank, "sinks": Tank}[tank["uptake"]]
        tanks[name] = made(
            litres=tank["litres"],
            alkalinity_dkh=tank["alkalinity_dkh"],
            calcium_mg_per_l=420.0,
            uptake=Uptake(dkh_per_day=tank["uptake_dkh_per_day"], at_dkh=8.0),
        )
    return tanks, hoses
