"""One life that appends and dies: `python -m tests.faults.life LEDGER` under strace.

What it vouches for it says in a file beside the ledger.
"""

import os
import sys
from dataclasses import replace
from pathlib import Path

from slackwater.facts.events import AnyEvent
from slackwater.ledger.connection import Footing
from slackwater.ledger.store import LedgerFile
from tests.faults.power import VOUCHED
from tests.ledger.samples import approved, intended

# Each an intent, with an entry of some pages behind it.
BATCHES, BATCH = 2, 2
LARGE = "x" * 9_000
AT_ONCE = Footing(busy_ms=5)


def batch(number: int) -> list[AnyEvent]:
    """What is appended at once."""
    return [intended(1_000_000 + number), replace(approved(), plan=LARGE)]


def main(place: Path) -> None:
    """Open and append; a byte for each batch that is vouched for."""
    said = os.open(place.with_suffix(VOUCHED), os.O_CREAT | os.O_WRONLY)
    ledger = LedgerFile.open(place, footing=AT_ONCE)
    for number in range(BATCHES):
        ledger.append(batch(number))
        os.write(said, b"v")
    # Left open as a dead process leaves it: no witness is written.


if __name__ == "__main__":
    main(Path(sys.argv[1]))
