"""Five years of a well-equipped tank: how long its history takes to read and judge.

`python -m tests.bench.history [YEARS] [FOLDER]` builds the ledger once (eight pumps of
48 doses a day, two probes kept every half hour, a test a day and a water change a
week), through the store's own append, reads it by its day sums, and assesses the tank
from it. What is there already is used again.
"""

import sys
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

from slackwater.facts.events import (
    AnyEvent,
    Checkpoint,
    LedgerMade,
    PumpsEnabled,
    Started,
)
from slackwater.facts.waters import MeasurementKept, WaterChanged
from slackwater.ledger.connection import Footing
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.summing import next_sums
from slackwater.service.assessing import LOOK_BACK_DAYS, LookBack, assessed
from tests.assessment.past import machine
from tests.ledger.years import (
    DAY,
    FIRST_DAY,
    PER_UL,
    Household,
    begin_of,
    day_of,
    stamped,
)

YEAR_DAYS = 365
HOUSEHOLD = Household(pumps=tuple(PER_UL), doses=48, probes=("kh", "spare"))
TEST_AT = timedelta(hours=19)
SUM_AT = timedelta(days=1, hours=3, minutes=10)
AGAIN = 5
NAME = "live.ledger"


def first() -> Iterator[AnyEvent]:
    """The beginning of the ledger: made, and a daemon that doses."""
    clocks = stamped(begin_of(FIRST_DAY))
    yield Started(**clocks, version="0", boot_id="b", fence=1, mode="live")
    yield PumpsEnabled(**clocks, by="bench", serial=1)


def tested(day: date) -> Iterator[AnyEvent]:
    """A test of each of five parameters in turn, and a water change on each seventh."""
    at, number = begin_of(day) + TEST_AT, (day - FIRST_DAY).days
    levels = {"alkalinity": 2.85, "calcium": 418.0, "magnesium": 1310.0, "nitrate": 5.0}
    for parameter, value in levels.items():
        if parameter == "alkalinity" or number % 7 == len(parameter) % 7:
            yield MeasurementKept(
                **stamped(at),
                id=f"m-{number:05}-{parameter}",
                tank="reef",
                parameter=parameter,
                value=value,
                typed=f"{value}",
                taken_at=at - timedelta(minutes=5),
                provenance="hand",
                by="bench",
                method="drops",
            )
    if number % 7 == 0:
        yield WaterChanged(
            **stamped(at),
            id=f"w-{number:05}",
            tank="reef",
            changed_at=at,
            volume_ul=40_000_000,
            by="bench",
            steps={"alkalinity": 0.05},
        )


def say(line: str) -> None:
    """One line of figures."""
    sys.stdout.write(line + "\n")


def build(path: Path, days: int) -> None:
    """Write the years, a day in one append, each day's sum when it is due."""
    clocks = stamped(begin_of(FIRST_DAY))
    made = LedgerMade(
        **clocks, ledger_id="bench", boot_id="b", answered=True, by="bench"
    )
    with LedgerFile.create(path, made, "live", Footing()) as ledger:
        ledger.append(list(first()))
        for number in range(days):
            day = FIRST_DAY + number * DAY
            wanted = [*day_of(HOUSEHOLD, day), *tested(day)]
            ledger.append(sorted(wanted, key=lambda event: event.at))
            due = stamped(begin_of(day) + SUM_AT)
            ledger.append(next_sums(ledger, ["reef"], due))
            ledger.append([Checkpoint(**due, state="{}")])


def measure(path: Path, days: int) -> None:
    """Read the whole history and the last four weeks, and print what it took."""
    end = begin_of(FIRST_DAY + days * DAY) + timedelta(hours=4)
    with LedgerFile.open(path, writable=False) as ledger:
        say(f"{ledger.head.seq} entries, {path.stat().st_size / 2**20:.0f} MiB")
        for name, span in (("all", days * DAY), ("28 days", 28 * DAY)):
            took = []
            for _ in range(AGAIN):
                begin_s = time.perf_counter()
                history = read_history(ledger, "reef", end - span, end)
                took.append(time.perf_counter() - begin_s)
            say(
                f"{name}: {min(took):.3f} s to {max(took):.3f} s; "
                f"{len(history.deliveries)} hours, {len(history.measurements)} tests, "
                f"{len(history.probe_days)} probe days"
            )
        measure_assessing(ledger, end)
        tracemalloc.start()
        kept = read_history(ledger, "reef", end - days * DAY, end)
        size, peak = tracemalloc.get_traced_memory()
        say(
            f"memory of {len(kept.deliveries)} hours: {size / 2**20:.0f} MiB, "
            f"peak {peak / 2**20:.0f} MiB"
        )


def measure_assessing(ledger: LedgerFile, end: datetime) -> None:
    """Assess the tank at the end, from what is usually read and from a whole year."""
    made = machine()
    for days in (LOOK_BACK_DAYS, YEAR_DAYS):
        took, of_processor = [], []
        for _ in range(AGAIN):
            begin_s, begin_processor_s = time.perf_counter(), time.process_time()
            found = assessed(
                ledger, made, "reef", end, LookBack(taken_over={}, days=days)
            )
            took.append(time.perf_counter() - begin_s)
            of_processor.append(time.process_time() - begin_processor_s)
        say(
            f"assess, {days} days: {min(took):.3f} s to {max(took):.3f} s, "
            f"{min(of_processor):.3f} s of processor; "
            f"{len(found.standings)} standings, {len(found.uptakes)} uptakes"
        )


def main() -> None:
    """Build where nothing is yet, then measure."""
    years = float(sys.argv[1]) if len(sys.argv) > 1 else 5.0
    folder = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(tempfile.gettempdir())
    days = int(years * YEAR_DAYS)
    place = folder / f"slackwater-bench-{days}"
    if not place.exists():
        begin_s = time.perf_counter()
        # Under its name only when it is whole: a build that was cut off starts anew.
        draft = Path(tempfile.mkdtemp(dir=folder))
        build(draft / NAME, days)
        draft.rename(place)
        say(f"built in {time.perf_counter() - begin_s:.0f} s")
    measure(place / NAME, days)


if __name__ == "__main__":
    main()
