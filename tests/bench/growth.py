"""A calm year under virtual clocks: how the ledger grows, what is written and kept.

`python -m tests.bench.growth [DAYS]` lives an invented household of a few pumps through
so many days without a fault: the daemon's real loop, its ledger in a real file with a
checkpoint a day. Now and then a keeper renews the approval, and nobody else comes by.

Prints doses, entries and bytes of the file a day, bytes written a day (as proc(5)
counts them in `wchar`, journals included), the state that a checkpoint holds, and how
memory grew after the first quarter. What the bench itself notes of entries, commands
and flows is counted and dropped each day, so that none of it stands in that growth.
"""

import gc
import os
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from slackwater.ledger.codec import dump_state
from tests.bench.rest import resident_mib
from tests.faults.sea import DAY_MS, Sea, embark
from tests.properties.people import approve_again
from tests.properties.play import hush

DAYS, SEED = 365, 18
# Well before an approval of the household's runs out.
RENEWAL_DAYS = 60
KIB = 1024


@dataclass(slots=True, kw_only=True)
class Diary:
    """What is kept of each day: figures alone, day by day."""

    entries: int = 0
    doses: list[int] = field(default_factory=list)
    memory_mib: list[float] = field(default_factory=list)
    state_bytes: list[int] = field(default_factory=list)

    def close_day(self, sea: Sea) -> None:
        """Count what the bench noted, drop it, and look at the daemon."""
        book, posts = sea.book, sea.posts.values()
        self.entries += len(book.entries)
        self.doses.append(sum(len(post.bursts) for post in posts))
        for noted in (book.entries, book.sent, book.stops, sea.told):
            noted.clear()
        for post in posts:
            post.bursts.clear()
        if sea.daemon is not None:
            self.state_bytes.append(len(dump_state(sea.daemon.memory.state)))
        gc.collect()
        self.memory_mib.append(resident_mib(os.getpid()))


def written() -> int:
    """Bytes this process has handed to the system to write."""
    text = Path("/proc/self/io").read_text("ascii")
    return int(text.split("wchar: ")[1].split()[0])


def live(sea: Sea, days: int) -> Diary:
    """So many days in which nobody visits and nothing befalls."""
    sea.later.clear()
    diary = Diary()
    for day in range(1, days + 1):
        sea.run(day * DAY_MS)
        diary.close_day(sea)
        if day % RENEWAL_DAYS == 0:
            approve_again(sea)
            sea.disk.look_anew()
    return diary


def told(diary: Diary, pumps: int, file_bytes: int, written_bytes: int) -> str:
    """Everything there is to say, line by line."""
    days = len(diary.memory_mib)
    then = days // 4
    grown_mib = diary.memory_mib[-1] - diary.memory_mib[then]
    return (
        f"{days} days of {pumps} pumps, {sum(diary.doses)} doses, "
        f"{min(diary.doses)} to {max(diary.doses)} a day\n"
        f"entries       {diary.entries / days:8.1f} a day\n"
        f"file          {file_bytes / days / KIB:8.1f} KiB a day\n"
        f"written       {written_bytes / days / KIB:8.1f} KiB a day\n"
        f"state         {diary.state_bytes[-1] / KIB:8.1f} KiB in a checkpoint, "
        f"{diary.state_bytes[then] / KIB:.1f} after a quarter\n"
        f"memory        {diary.memory_mib[-1]:8.1f} MiB, "
        f"{grown_mib:.1f} more than after a quarter\n"
    )


def main() -> None:
    """Live through the days and print."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else DAYS
    hush()
    with tempfile.TemporaryDirectory() as name:
        sea = embark(SEED, days, Path(name))
        begin, size = written(), sea.disk.path.stat().st_size
        diary = live(sea, days)
        grown = sea.disk.path.stat().st_size - size
        pumps = len(sea.home.plan.lines)
        sys.stdout.write(told(diary, pumps, grown, written() - begin))


if __name__ == "__main__":
    main()
