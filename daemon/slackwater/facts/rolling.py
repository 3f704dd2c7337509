"""Sums over the last stretch of proven time, exact in whole numbers.

Floor 2. One subject: a window of charges. Laws here: an entry counts until it is
older than the window by proven time; removing needs the tag it was added with.
"""

from bisect import insort
from dataclasses import dataclass, field

DAY_MS = 86_400_000
HOUR_MS = 3_600_000
# One hour beyond the longest window, so that pruning never touches what counts.
KEPT_MS = DAY_MS + HOUR_MS


@dataclass(slots=True)
class Rolling:
    """Entries (proven_ms, amount, tag) in order of time, with their total."""

    entries: list[tuple[int, int, str]] = field(default_factory=list)
    total: int = 0

    def add(self, at_ms: int, amount: int, tag: str) -> None:
        """Add one amount and forget what no window can reach any more."""
        entries, total = self.entries, self.total + amount
        if entries and entries[-1][0] > at_ms:
            # Told afterwards: it takes the place its own time gives it.
            insort(entries, (at_ms, amount, tag))
        else:
            entries.append((at_ms, amount, tag))
        oldest_ms = at_ms - KEPT_MS
        # The newest entry is younger than that, so the search always ends.
        while entries[0][0] <= oldest_ms:
            total -= entries.pop(0)[1]
        self.total = total

    def since(self, after_ms: int) -> int:
        """Sum of the entries later than `after_ms`."""
        total = self.total
        for at_ms, amount, _tag in self.entries:
            if at_ms > after_ms:
                break
            total -= amount
        return total

    def remove(self, tag: str) -> None:
        """Take back every entry with this tag."""
        kept = [entry for entry in self.entries if entry[2] != tag]
        self.entries[:] = kept
        self.total = sum(entry[1] for entry in kept)
