"""Lines that an old doser gives until a person takes them over, one by one.

Floor 3. One subject: who gives a line. Laws here: a line has one giver at any time; a
dose due before a line was taken over is never given by us; what the old doser gave in
the last 24 h counts against the caps on effects until it has grown old.
"""

from collections.abc import Iterable
from datetime import datetime

from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import State


def is_old_dosers(state: State, line: str, due_at: datetime) -> bool:
    """Whether a dose of a line, `TANK/LINE`, due then is the old doser's."""
    if line in state.left_to_old:
        return True
    taken = state.taken_over.get(line)
    return taken is not None and due_at <= taken.at


def old_part(state: State, proven_ms: int, old: Iterable[tuple[str, int]]) -> int:
    """What old dosers added in the last 24 h, by the day's amount of each line.

    Units: as the amounts. The whole while a line is theirs; after that what is not
    older than a day, rounded up; nothing of a line that was ours from the start.
    """
    total = 0
    for line, per_day in old:
        taken = state.taken_over.get(line)
        if line in state.left_to_old:
            total += per_day
        elif taken is not None:
            left_ms = DAY_MS - max(proven_ms - taken.proven_ms, 0)
            total += -(-per_day * max(left_ms, 0) // DAY_MS)
    return total
