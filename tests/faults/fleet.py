"""Many voyages on all cores, added up: pump-years, faults by class, what they met."""

import multiprocessing
import os
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial

from tests.faults.disk import KINDS
from tests.faults.voyage import YEAR_DAYS, Voyage, sail
from tests.faults.weather import CLASSES, every_fault

SHOWN = 10
# Counted message by message, and write by write.
MESSAGES = ("message lost", "message doubled", "message late")
WRITES = tuple(f"disk {kind}" for kind in KINDS)
CONSEQUENCES = ("ended by the ledger", "start refused", "ledger restored")


@dataclass(slots=True, kw_only=True)
class Fleet:
    """The sum of many voyages; `broken` are those that broke something."""

    voyages: int = 0
    pump_years: float = 0.0
    doses: int = 0
    processor_s: float = 0.0
    met: Counter[str] = field(default_factory=Counter)
    reached: Counter[str] = field(default_factory=Counter)
    broken: list[Voyage] = field(default_factory=list)

    @property
    def is_broken(self) -> bool:
        """Whether any voyage broke a law."""
        return bool(self.broken)

    @property
    def faults(self) -> int:
        """Everything that befell: faults, spoiled messages, failed writes."""
        return sum(n for name, n in self.met.items() if name not in CONSEQUENCES)

    def never(self) -> set[str]:
        """Faults and ways of a disk or a wire to fail that befell nobody."""
        return {*every_fault(), *MESSAGES, *WRITES} - self.met.keys()

    def take(self, one: Voyage) -> None:
        """Add a voyage."""
        self.voyages += 1
        self.pump_years += one.pump_days / YEAR_DAYS
        self.doses += one.doses
        self.processor_s += one.processor_s
        self.met += one.met
        self.reached += one.reached
        if one.broken:
            self.broken.append(one)


def fleet(first: int, count: int, days: float) -> Fleet:
    """So many voyages, from a first seed on, on all cores."""
    sailed, seeds = Fleet(), range(first, first + count)
    one = partial(sail, days=days)
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(os.cpu_count() or 1, count), fresh) as pool:
        for voyage in pool.map(one, seeds, chunksize=max(1, min(8, count // 8))):
            sailed.take(voyage)
    return sailed


def report(sailed: Fleet) -> Iterator[str]:
    """The sum for people: totals, classes, what the disk and the wire did."""
    yield (
        f"{sailed.voyages} voyages, {sailed.pump_years:.1f} pump-years, "
        f"{sailed.doses} flows, {sailed.faults} faults, "
        f"{len(sailed.broken)} voyages broke a law"
    )
    seconds = max(sailed.processor_s, 1.0)
    yield (
        f"  in {seconds:.0f} processor seconds: {sailed.pump_years / seconds:.2f} "
        f"pump-years and {sailed.faults / seconds:.0f} faults in each"
    )
    for name, (_, those) in CLASSES.items():
        names = {one.__name__ for one in those}
        total = sum(sailed.met[one] for one in names)
        parts = ", ".join(f"{one} {sailed.met[one]}" for one in sorted(names))
        yield f"  {name:8} {total:7}  {parts}"
    for name, kinds in (("messages", MESSAGES), ("writes", WRITES)):
        parts = ", ".join(f"{kind.split()[1]} {sailed.met[kind]}" for kind in kinds)
        yield f"  {name:8} {sum(sailed.met[kind] for kind in kinds):7}  {parts}"
    parts = ", ".join(f"{kind} {sailed.met[kind]}" for kind in CONSEQUENCES)
    yield f"  and so           {parts}"
    yield f"  reached          {len(sailed.reached)} reasons, ends and kinds of entry"
    yield from (f"  never            {name}" for name in sorted(sailed.never()))
    yield from (str(one) for one in sailed.broken[:SHOWN])
