"""Lines that an old doser gives until a person takes them over, one by one.

Floor 3. One subject: who gives a line. Laws here: a line has one giver at any time; a
dose due before a line was taken over is never given by us; what the old doser gave in
the last 24 h counts against the caps on effects until it has grown old.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime

from slackwater.facts.charging import HOUR_S
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.state import State


def is_old_dosers(state: State, line: str, due_at: datetime) -> bool:
    """Whether a dose of a line, `TANK/LINE`, due then is the old doser's."""
    if line in state.left_to_old:
        return True
    taken = state.taken_over.get(line)
    return taken is not None and due_at <= taken.at


def their_hours(state: State, line: str, hours: range) -> Iterator[int]:
    """The hours, counted from 1970, in whose middle a line was the old doser's."""
    taken, ends = state.taken_over.get(line), hours.stop
    if taken is not None:
        ends = min(ends, int(taken.at.timestamp() / HOUR_S + 0.5))
    elif line not in state.left_to_old:
        return
    ours = [
        (span.begins.timestamp(), span.ends.timestamp())
        for span in state.handed_back.get(line, ())
    ]
    for hour in range(hours.start, ends):
        middle_s = hour * HOUR_S + HOUR_S // 2
        if not any(begins < middle_s <= ends for begins, ends in ours):
            yield hour


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
