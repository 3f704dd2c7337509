"""A process of its own that appends as a busy daemon does, until it is told to stop.

Run as `python -m tests.ledger.steady_appender LEDGER`; says `ready` after its first
entry, ends when its standard input is closed, and says how many entries it wrote.
"""

import select
import sys
from pathlib import Path

from slackwater.ledger.store import LedgerFile
from tests.ledger.appender import append_one
from tests.ledger.samples import PATIENT, kept

# A daemon with many pumps writes some ten entries a second at most.
PAUSE_S = 0.01


def main(path: Path) -> None:
    """Append, look whether somebody closed the input, append again."""
    written = 0
    with LedgerFile.open(path, footing=PATIENT) as ledger:
        while not written or not select.select([sys.stdin], [], [], PAUSE_S)[0]:
            written += append_one(ledger, kept(written))
            if written == 1:
                sys.stdout.write("ready\n")
                sys.stdout.flush()
    sys.stdout.write(f"{written}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
