"""One life that appends and dies: `python -m tests.faults.life LEDGER` under strace.

What it vouches for it says in a file beside the ledger.
"""

import os
import sys
from pathlib import Path

from tests.faults.power import VOUCHED
from tests.faults.struck import append

if __name__ == "__main__":
    place = Path(sys.argv[1])
    said = os.open(place.with_suffix(VOUCHED), os.O_CREAT | os.O_WRONLY)
    append(place, 1, said)
