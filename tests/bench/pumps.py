"""What a dose costs the daemon with one pump, and with a thousand.

`python -m tests.bench.pumps [HOURS]` lets invented nodes of eight pumps each beat and
dose under virtual clocks: the daemon's real loop and its rules, on a ledger in memory.
Every pump has two doses an hour and every node a beat each twelve seconds, so that a
dose has as many messages behind it however many pumps there are. Prints processor time
of the daemon alone a dose, and memory a pump; the virtual nodes' own is left out.
"""

import gc
import resource
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from random import Random

from slackwater.facts.events import DoseIntended, LedgerMade, PumpsEnabled
from slackwater.facts.plan import Approval, Plan, PlanLine, Window
from slackwater.facts.tank import (
    EffectCap,
    Machine,
    Node,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Timing,
)
from tests.properties.bus import Bus
from tests.properties.households import Home
from tests.properties.outpost import HOUR_MS, Outpost
from tests.properties.play import hush
from tests.properties.shell import Book, Times
from tests.properties.world import UP_HOURS, World, approved, boot_ids, stamp

COUNTS = (1, 8, 10, 100, 1000)
PER_NODE, PER_TANK, PER_DAY = 8, 50, 48
HOURS = 1.0
DOSE_UL = 1000
BEGIN = datetime(2026, 5, 3, 6, 0, tzinfo=UTC)
FEW, ALL = 8, 1000


@dataclass(kw_only=True)
class Watched(World):
    """A world that adds up what the daemon alone spends."""

    spent_s: float = 0.0

    def _live(self) -> None:
        begin_s = time.process_time()
        super()._live()
        self.spent_s += time.process_time() - begin_s


def machine(count: int) -> Machine:
    """So many pumps, eight on a node and fifty on a tank."""
    tanks = {f"tank-{n}" for n in range(-(-count // PER_TANK))}
    nodes = {f"node-{n}" for n in range(-(-count // PER_NODE))}
    return Machine(
        site="home",
        tanks={
            name: Tank(
                id=name,
                name=name,
                net_ul=500_000_000,
                zone="UTC",
                caps={"alkalinity": EffectCap(gross=10**18)},
            )
            for name in sorted(tanks)
        },
        solutions={"trace": Solution(id="trace", name="trace")},
        reservoirs={"one": Reservoir(id="one", content_ul=10**9)},
        nodes={
            name: Node(id=name, day_limit_ul=5_000_000, cut_limit_ms=20_000)
            for name in sorted(nodes)
        },
        pumps={f"pump-{n}": _pump(n) for n in range(count)},
        timing=Timing(beat_fresh_s=20.0, start_hold_off_s=1.0, start_beats=1),
    )


def _pump(number: int) -> Pump:
    return Pump(
        id=f"pump-{number}",
        tank=f"tank-{number // PER_TANK}",
        node=f"node-{number // PER_NODE}",
        channel=f"c{number % PER_NODE}",
        solution="trace",
        reservoir="one",
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=100,
        per_dose_ul=2 * DOSE_UL,
        per_day_ul=100 * DOSE_UL,
    )


def plan(made: Machine) -> Plan:
    """Two doses an hour of each pump, none with another of its node or tank."""
    lines = tuple(
        PlanLine(
            id=pump.id,
            tank=pump.tank,
            solution=pump.solution,
            pump=pump.id,
            per_day_ul=PER_DAY * DOSE_UL,
            count=PER_DAY,
            windows=_windows(number * 3 % 30),
        )
        for number, pump in enumerate(made.pumps.values())
    )
    return Plan(name="bench", starts=date(2026, 5, 1), lines=lines)


def _windows(after: int) -> tuple[Window, ...]:
    """The whole day, begun so many minutes late."""
    return (Window(start_minute=after, end_minute=1440 - 30 + after),)


def house(count: int) -> Watched:
    """A world of so many pumps with its plan in force."""
    made = machine(count)
    wanted = plan(made)
    times = Times(begin=BEGIN)
    boots = boot_ids(count)
    posts = {
        name: Outpost(
            name=name,
            pumps={p.channel: p.id for p in made.pumps.values() if p.node == name},
            day_ul=5_000_000,
            powered_ms=-UP_HOURS * HOUR_MS,
            boot_ids=boots,
        )
        for name in made.nodes
    }
    for number, post in enumerate(posts.values()):
        # As nodes that were plugged in one by one.
        post.beat_at_ms = number * 96 % 12_000
    world = Watched(
        home=Home(
            begin=BEGIN,
            machine=made,
            other_machine=made,
            plan=wanted,
            other_plan=wanted,
            dose_ul=DOSE_UL,
            narrow="",
        ),
        chance=Random(1),  # noqa: S311 -- to be repeated, not to be secret
        times=times,
        book=Book(times=times),
        bus=Bus(chance=Random(2)),  # noqa: S311 -- as above
        posts=posts,
    )
    approval = Approval(
        serial=1,
        digest="1" * 64,
        takes_over_at=BEGIN - timedelta(days=1),
        expires_at=BEGIN + timedelta(days=100),
        by="bench",
        highest_daily_ul=0,
    )
    before = stamp(world, -26 * 3600)
    world.book.append(
        [
            LedgerMade(
                **before, ledger_id="bench", boot_id="boot-1", answered=True, by="bench"
            ),
            approved(approval, (made, wanted), before),
            PumpsEnabled(**before, by="bench", serial=1),
        ]
    )
    return world


def measure(counts: Sequence[int], hours: float) -> dict[int, float]:
    """Microseconds of the daemon a dose, by how many pumps there are."""
    found = {}
    for count in counts:
        gc.collect()
        world = house(count)
        begin_mib = peak_mib()
        # The first doses pay for the day that is laid out.
        world.run(int(HOUR_MS / 10))
        world.spent_s = 0.0
        before = doses(world)
        world.run(int(HOUR_MS * (hours + 0.1)))
        given = doses(world) - before
        found[count] = world.spent_s / given * 1e6
        sys.stdout.write(
            f"{count:5} pumps: {given:5} doses, {found[count]:7.0f} µs of the daemon "
            f"each, {(peak_mib() - begin_mib) * 1024 / count:6.0f} KiB a pump at most\n"
        )
        sys.stdout.flush()
    return found


def doses(world: World) -> int:
    """How many were intended so far."""
    return sum(isinstance(event, DoseIntended) for event in world.book.events())


def peak_mib() -> float:
    """The most memory this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Measure from one pump to a thousand, print the ratio that is promised."""
    hush()
    found = measure(COUNTS, float(sys.argv[1]) if len(sys.argv) > 1 else HOURS)
    ratio = found[ALL] / found[FEW]
    sys.stdout.write(f"a dose costs {ratio:.2f} times as much at {ALL} as at {FEW}\n")


if __name__ == "__main__":
    main()
