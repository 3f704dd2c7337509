"""A calm year under virtual clocks: how the ledger grows, what is written and kept.

`python -m tests.bench.growth [DAYS]` lives an invented household of a few pumps through
so many days without a fault: the daemon's real loop, its ledger in a real file with a
checkpoint a day. Prints entries and bytes of the file a day, bytes written a day (as
proc(5) counts them in `wchar`, journals included), and how memory grew after the first
quarter.
"""

import os
import sys
import tempfile
from pathlib import Path

from tests.bench.rest import resident_mib
from tests.faults.sea import DAY_MS, embark
from tests.faults.voyage import flows_of
from tests.properties.play import hush

DAYS, SEED = 365, 18


def written() -> int:
    """Bytes this process has handed to the system to write."""
    text = Path("/proc/self/io").read_text("ascii")
    return int(text.split("wchar: ")[1].split()[0])


def main() -> None:
    """Live through the days and print."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else DAYS
    hush()
    with tempfile.TemporaryDirectory() as name:
        sea = embark(SEED, days, Path(name))
        # Nobody visits and nothing befalls.
        sea.later.clear()
        begin, sizes = written(), [sea.disk.path.stat().st_size]
        memory_mib = []
        for day in range(1, days + 1):
            sea.run(day * DAY_MS)
            sizes.append(sea.disk.path.stat().st_size)
            memory_mib.append(resident_mib(os.getpid()))
        entries, flows = len(sea.book.entries), len(flows_of(sea))
        quarter = memory_mib[len(memory_mib) // 4]
        sys.stdout.write(
            f"{days} days of {len(sea.home.plan.lines)} pumps, {flows} doses\n"
            f"entries       {entries / days:8.1f} a day\n"
            f"file          {(sizes[-1] - sizes[0]) / days / 1024:8.1f} KiB a day\n"
            f"written       {(written() - begin) / days / 1024:8.1f} KiB a day\n"
            f"memory        {memory_mib[-1] - quarter:8.1f} MiB more than after a "
            f"quarter, with the bench's own record of it all\n"
        )


if __name__ == "__main__":
    main()
