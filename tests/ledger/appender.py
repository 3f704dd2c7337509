"""A process of its own that appends to a ledger as fast as it may.

Run as `python -m tests.ledger.appender LEDGER NAME COUNT`; says `ready`, begins when
a line comes in, says how often it had to decide anew.
"""

import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from slackwater.errors import LedgerBusyError, LedgerMovedError
from slackwater.facts.events import AnyEvent
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from tests.ledger.samples import kept

# So short that whoever has to wait tries again at once: the writers take turns.
EAGER = Footing(busy_ms=2)


def append_all(ledger: LedgerFile, name: str, count: int) -> int:
    """Append so many entries of this name, one by one; gives how often it lost."""
    lost = 0
    for number in range(count):
        while not append_one(ledger, replace(kept(number), probe=name)):
            lost += 1
    return lost


def append_one(ledger: LedgerFile, event: AnyEvent) -> bool:
    """Whether the entry was written; if not, the news were read."""
    try:
        ledger.append([event])
    except (LedgerMovedError, LedgerBusyError):
        hear(ledger)
        return False
    return True


def hear(ledger: LedgerFile) -> None:
    """Move on to the newest entry; a lock in the way is waited for next time."""
    with suppress(LedgerBusyError):
        ledger.news()


def main(arguments: list[str]) -> None:
    """Open, wait for the word, append, report."""
    path, name, count = arguments
    # Opened while nobody writes yet, so the short wait is enough.
    with LedgerFile.open(Path(path), footing=EAGER) as ledger:
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        sys.stdin.readline()
        lost = append_all(ledger, name, int(count))
    sys.stdout.write(f"{lost}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
