"""The three clocks of one turn, and how much time they prove together.

Floor 2. One subject: the moment. Laws here: proven time is the smallest difference
any trusted clock shows, so it can only lag behind the truth; every entry is stamped
with all three.
"""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Now:
    """What the clocks say at one turn.

    `utc` aware wall time; `boot_s` seconds since the machine booted, suspend
    included; `boot_id` which boot that was; `synchronised` whether a time service
    vouches for the wall clock.
    """

    utc: datetime
    boot_s: float
    boot_id: str
    synchronised: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """What all entries carry: wall time, boot-time seconds, proven milliseconds."""

    at: datetime
    boot_s: float
    proven_ms: int


@dataclass(slots=True, kw_only=True)
class Mark:
    """The clocks at the newest ledger entry, with the proven time reached there.

    `utc` is the latest of all entries since a person vouched for the clock: one that
    was put back, or began in the past, proves nothing until it is there again.
    `taken_back` is the latest time that a person said had not come yet.
    Written by `facts.fold` alone.
    """

    utc: datetime
    boot_s: float
    boot_id: str
    proven_ms: int
    taken_back: datetime | None = None


def proven_ms(mark: Mark, now: Now) -> int:
    """Proven time at `now`, in milliseconds since the ledger was made.

    The smaller of the wall-clock and the boot-time difference, never negative; after
    a reboot the boot-time clock starts anew and only the wall clock speaks, or, as
    long as nothing vouches for it, no more than the time since power-up. The same up
    to a time that a person took back: it may have been there before, and was counted.
    """
    # Two turns of one instant are the rule; to tell the seconds takes far longer.
    if now.utc <= mark.utc:
        return mark.proven_ms
    passed_s = (now.utc - mark.utc).total_seconds()
    if now.boot_id == mark.boot_id:
        passed_s = min(passed_s, now.boot_s - mark.boot_s)
    elif not now.synchronised:
        passed_s = min(passed_s, now.boot_s)
    elif mark.taken_back is not None and mark.taken_back > mark.utc:
        beyond_s = (now.utc - mark.taken_back).total_seconds()
        passed_s = min(passed_s, max(beyond_s, now.boot_s))
    if passed_s <= 0.0:
        return mark.proven_ms
    return mark.proven_ms + int(passed_s * 1000)
