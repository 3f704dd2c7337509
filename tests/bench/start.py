"""How long a start reads, with a short ledger and with one of millions of entries.

`python -m tests.bench.start [ENTRIES] [FOLDER]` builds a ledger of so many entries in
bulk, kept in the folder if one is given, and one of a thousand; both end with the daily
checkpoint and some hundred entries after it, as a running daemon leaves them. Prints
seconds to open, prove and fold each, the best of some turns taken in turn, the floor
(opening the same files with SQLite alone) and their sizes.
"""

import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import chain, islice
from pathlib import Path

from slackwater.facts.events import AnyEvent
from slackwater.facts.fold import fold_all
from slackwater.facts.state import State
from slackwater.ledger.birth import INSERT
from slackwater.ledger.chain import link
from slackwater.ledger.codec import dump_state
from slackwater.ledger.store import LedgerFile
from slackwater.ledger.witness import path_for
from slackwater.service.memory import LIVE_NAME, Memory
from tests.ledger.samples import checkpoint, kept, made, new_ledger

FEW, MANY = 1_000, 5_000_000
SINCE, AT_A_TIME, TURNS = 300, 20_000, 7
EVERY_S, DAY = 600, 144


def build(folder: Path, entries: int) -> Path:
    """A ledger of so many entries, made if it is not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / LIVE_NAME
    if path.exists():
        return folder
    new_ledger(path).close()
    middle, count = entries - SINCE - 2, EVERY_S * entries
    newest = [_reading(number) for number in range(max(0, middle - DAY), middle)]
    state = fold_all(State(), [made(), *newest])
    last = [_reading(entries + number) for number in range(SINCE)]
    _fill(
        path,
        chain(
            map(_reading, range(middle)), [checkpoint(dump_state(state), count)], last
        ),
    )
    return folder


def _reading(number: int) -> AnyEvent:
    """A reading each ten minutes, as a probe gives them for years."""
    return kept(EVERY_S * number)


def _fill(path: Path, events: Iterator[AnyEvent]) -> None:
    """Append in bulk, in one transaction that waits for no disk."""
    with LedgerFile.open(path) as ledger:
        head = ledger.head
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN IMMEDIATE")
        while part := list(islice(events, AT_A_TIME)):
            rows = link(head, part)
            connection.executemany(INSERT, rows)
            head = rows[-1].head
        connection.execute("COMMIT")
    # It knows of the first entry alone, and is written anew at the next close.
    path_for(path, None).unlink()


def start(folder: Path) -> None:
    """What a daemon does before its first decision."""
    memory = Memory(folder, "live")
    memory.open()
    memory.close()


def floor(folder: Path) -> None:
    """The least that opening a file and reading its newest row can take."""
    place = folder / LIVE_NAME
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        connection.execute("SELECT * FROM entries ORDER BY seq DESC LIMIT 1").fetchall()


def spent_s(work: Callable[[Path], None], folder: Path) -> float:
    """Seconds by the clock of one turn."""
    begin_s = time.perf_counter()
    work(folder)
    return time.perf_counter() - begin_s


def main() -> None:
    """Build both, start both in turn, print."""
    entries = int(sys.argv[1]) if len(sys.argv) > 1 else MANY
    with tempfile.TemporaryDirectory() as name:
        place = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(name)
        few, many = build(place / "few", FEW), build(place / f"many-{entries}", entries)
        best = {
            (work.__name__, folder): min(spent_s(work, folder) for _ in range(TURNS))
            for work in (start, floor)
            for folder in (few, many)
        }
        for folder, count in ((few, FEW), (many, entries)):
            size_mib = (folder / LIVE_NAME).stat().st_size / 2**20
            sys.stdout.write(
                f"{count:9} entries, {size_mib:8.1f} MiB: start "
                f"{1000 * best['start', folder]:7.1f} ms, SQLite alone "
                f"{1000 * best['floor', folder]:.2f} ms\n"
            )
        ratio = best["start", many] / best["start", few]
        sys.stdout.write(f"a start with many takes {ratio:.2f} times as long\n")


if __name__ == "__main__":
    main()
