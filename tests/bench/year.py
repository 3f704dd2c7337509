"""A year of doses rehearsed, beside a bare heap loop with dataclasses and zones.

`python -m tests.bench.year [DAYS]` prints both, measured in turn, by the clock and in
processor time, which other programs disturb less: the rehearsal in one process, and its
two parts in two of them side by side. Eight pumps, 48 doses a day each, two tanks, each
with its own bottles, two solutions of each tank kept apart; the virtual node answers
when asked, no probe. As in `slackwater rehearse`, rings are not searched for meanwhile.
Each rehearsal has fresh processes; their memory is the sum of all peaks, so what two of
them share counts twice.

One round of the bare loop takes a frozen dataclass off the heap, converts one aware
datetime through zoneinfo, makes the next dataclass and puts it onto the heap; nothing
else.

Two ratios are printed. Dose for dose a whole dose stands beside one round of the bare
loop, which knows no pump that answers. Event for event like stands beside like: an
event is what a loop takes up next, here each dose that falls due and each answer of a
node, there each thing taken off the heap. So a dose that runs is two events, one that
never does is one; how many turns the daemon needs for them is its own affair. The
second is told twice: of processor time, one process beside one; and by the clock, the
rehearsal in two processes, as `slackwater rehearse` does it on two cores, beside the
bare loop in one. Only the first says what the work costs.
"""

import gc
import hashlib
import heapq
import multiprocessing
import resource
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from slackwater.cli.spreading import cores, side_by_side
from slackwater.facts.plan import Plan, PlanLine, Window
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
from slackwater.planning.ceilings import check
from slackwater.rehearsal.found import Found
from slackwater.rehearsal.parts import Part
from slackwater.rehearsal.rehearsal import rehearse_by

Spent = tuple[float, float]

DOSES = 48
ROUNDS = 3
SOLUTIONS: tuple[tuple[str, str, dict[str, int]], ...] = (
    ("a", "carbonate", {"alkalinity": 1_887_010}),
    ("b", "calcium", {"calcium": 136_310_000}),
    ("c", "trace", {}),
    ("d", "other", {}),
)


def house() -> tuple[Machine, Plan]:
    """Two invented tanks of 300 L with four pumps each, and their plan."""
    tanks, pumps, lines = {}, {}, []
    for tank in ("one", "two"):
        plenty = EffectCap(gross=10**15)
        tanks[tank] = Tank(
            id=tank,
            name=tank,
            net_ul=300_000_000,
            zone="Europe/Berlin",
            caps={"alkalinity": plenty, "calcium": plenty},
        )
        for channel, solution, _ in SOLUTIONS:
            pump = f"{tank}-{solution}"
            pumps[pump] = _pump(pump, tank, channel, solution)
            lines.append(_line(pump, tank, solution))
    machine = Machine(
        site="bench",
        tanks=tanks,
        solutions={
            name: Solution(id=name, name=name, effects=effects)
            for _, name, effects in SOLUTIONS
        },
        reservoirs={pump: Reservoir(id=pump, content_ul=10**10) for pump in pumps},
        nodes={
            tank: Node(id=tank, day_limit_ul=250_000, cut_limit_ms=60_000)
            for tank in tanks
        },
        pumps=pumps,
        apart={"carbonate": ("calcium",), "calcium": ("carbonate",)},
        timing=Timing(apart_gap_s=600.0),
    )
    return machine, Plan(name="bench", starts=date(2026, 1, 1), lines=tuple(lines))


def _pump(pump: str, tank: str, channel: str, solution: str) -> Pump:
    return Pump(
        id=pump,
        tank=tank,
        node=tank,
        channel=channel,
        solution=solution,
        reservoir=pump,
        rate_nl_per_s=1_000_000,
        smallest_dose_ul=300,
        per_dose_ul=3000,
        per_day_ul=80_000,
    )


def _line(pump: str, tank: str, solution: str) -> PlanLine:
    return PlanLine(
        id=solution,
        tank=tank,
        solution=solution,
        pump=pump,
        per_day_ul=1000 * DOSES,
        count=DOSES,
        windows=(Window(start_minute=0, end_minute=1440),),
    )


@dataclass(frozen=True, slots=True, order=True)
class BareDose:
    """The least a dose is: when, which, how much."""

    due_at: datetime
    pump: int
    day: date
    volume_ul: int


def bare_loop(days: int) -> int:
    """A heap of bare doses with local dates: the floor; gives the total volume."""
    zone = ZoneInfo("Europe/Berlin")
    start = datetime(2026, 1, 1, tzinfo=UTC)
    every = timedelta(days=1) / DOSES
    heap = [BareDose(start, pump, start.date(), 1000) for pump in range(8)]
    heapq.heapify(heap)
    end = start + timedelta(days=days)
    total = 0
    while heap[0].due_at < end:
        dose = heapq.heappop(heap)
        total += dose.volume_ul
        due_at = dose.due_at + every
        day = due_at.astimezone(zone).date()
        heapq.heappush(heap, BareDose(due_at, dose.pump, day, 1000))
    return total


def main() -> None:
    """Print all loops, of three rounds taken in turn."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 365
    machine, plan = house()
    findings = check(plan, machine)
    if findings:
        raise SystemExit(str(findings[0]))
    gc.disable()
    bare: list[Spent] = []
    alone: list[Measured] = []
    both: list[Measured] = []
    for _ in range(ROUNDS):
        bare.append(spent(lambda: bare_loop(days)))
        alone.append(apart(days, 1))
        both.append(apart(days, 2))
    count, events = alone[0].doses, alone[0].events
    full, two = [each.spent for each in alone], [each.spent for each in both]
    faster = min(full)[0] / min(two)[0]
    ratio = best(full) / best(bare)
    by_clock = min(two)[0] / min(bare)[0] * count / events
    sys.stdout.write(
        f"doses            {count} in {days} days, {alone[0].verdicts}\n"
        f"{'':16s} best by the clock, of the processor; median of both\n"
        f"bare heap loop   {words(bare, count)}\n"
        f"one process      {words(full, count)}; {peak_mib(alone):.0f} MiB\n"
        f"two side by side {words(two, count)}; {peak_mib(both):.0f} MiB\n"
        f"ratio            {ratio:.1f} of processor time, dose for dose\n"
        f"                 {ratio * count / events:.1f}, event for event; "
        f"{events / best(full):,.0f} events a second beside {count / best(bare):,.0f}\n"
        f"side by side     {faster:.2f} times as fast by the clock, {cores()} cores\n"
        f"                 {by_clock:.1f} by the clock, event for event\n"
        f"same records     {len({each.digest for each in (*alone, *both)}) == 1}\n"
    )


@dataclass(frozen=True, slots=True)
class Measured:
    """One rehearsal: what it took of all its processes, and what came out."""

    spent: Spent
    doses: int
    events: int
    verdicts: dict[str, int]
    digest: str
    peak_mib: float


def apart(days: int, processes: int) -> Measured:
    """Rehearse in a process of its own, so that nothing from before counts."""
    fork = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(1, fork) as pool:
        return pool.submit(measure, days, processes).result()


def measure(days: int, processes: int) -> Measured:
    """Rehearse the house in so many processes."""

    def spread(parts: Sequence[Part]) -> list[Found]:
        return side_by_side(parts, processes)

    machine, plan = house()
    begin, others_s = clocks(), children_s()
    done = rehearse_by(spread, machine, plan, plan.starts, days)
    clock_s, own_s = since(begin)
    peaks = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return Measured(
        spent=(clock_s, own_s + children_s() - others_s),
        doses=len(done.doses),
        events=len(done.doses) + sum(each.volume_ul > 0 for each in done.doses),
        verdicts=dict(Counter(each.verdict for each in done.doses)),
        peak_mib=sum(resource.getrusage(who).ru_maxrss for who in peaks) / 1024,
        digest=hashlib.sha256(repr(done).encode()).hexdigest(),
    )


def children_s() -> float:
    """Processor seconds of processes that this one began and that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def peak_mib(rounds: list[Measured]) -> float:
    """The most memory of any round."""
    return max(each.peak_mib for each in rounds)


def clocks() -> Spent:
    """Both clocks now, in seconds."""
    return time.perf_counter(), time.process_time()


def since(begin: Spent) -> Spent:
    """What passed on both clocks."""
    clock, processor = clocks()
    return clock - begin[0], processor - begin[1]


def spent(work: Callable[[], object]) -> Spent:
    """What one piece of work takes on both clocks."""
    begin = clocks()
    work()
    return since(begin)


def best(rounds: list[Spent]) -> float:
    """The least processor time of all rounds."""
    return min(processor for _, processor in rounds)


def words(rounds: list[Spent], count: int) -> str:
    """Best and median on both clocks, and what a dose takes at best."""
    clock, processor = (sorted(each) for each in zip(*rounds, strict=True))
    middle = len(rounds) // 2
    return (
        f"{clock[0]:5.2f} s, {processor[0]:5.2f} s; "
        f"{clock[middle]:5.2f} s, {processor[middle]:5.2f} s; "
        f"{processor[0] / count * 1e6:.1f} µs a dose"
    )


if __name__ == "__main__":
    main()
