"""Doses that wait for each other at a node.

Floor 3. One subject: whether a node gets round to every dose. Laws here: a node runs
one dose at a time; a dose that must wait beyond its latest start is missed for ever,
so a plan that makes it wait so long is refused.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta

from slackwater.errors import Finding
from slackwater.facts.plan import DueDose
from slackwater.planning.amounts import run_s
from slackwater.planning.days import ONE_DAY
from slackwater.planning.timetable import Timetable


def late_starts(timetable: Timetable) -> Iterator[Finding]:
    """For each node the first dose that would be missed because others run."""
    days = {day for tank in timetable.tanks for day in timetable.checked_days(tank)}
    seen = set()
    for day in sorted(days):
        for dose in _missed(timetable, day):
            node = timetable.machine.pumps[dose.pump].node
            if node not in seen:
                seen.add(node)
                yield _finding(dose, node)


def _missed(timetable: Timetable, day: date) -> Iterator[DueDose]:
    """Doses that begin too late around a day, whatever the zone it is a day of."""
    midnight = datetime.combine(day, time(), UTC)
    free_at: dict[str, datetime] = {}
    for dose in timetable.between(midnight - ONE_DAY, midnight + 2 * ONE_DAY):
        pump = timetable.machine.pumps[dose.pump]
        starts_at = max(dose.due_at, free_at.get(pump.node, dose.due_at))
        if starts_at > dose.latest_at:
            yield dose
        else:
            run = timedelta(seconds=run_s(pump, dose.volume_ul))
            free_at[pump.node] = starts_at + run


def _finding(dose: DueDose, node: str) -> Finding:
    late_s = int((dose.latest_at - dose.due_at).total_seconds())
    return Finding(
        what=f"{dose.id} would wait more than {late_s} s for other doses of {node}",
        where=f"line {dose.tank}/{dose.line}",
        expected="run times that the node can fit in one after another",
        do="Give fewer doses, set other windows, or drive the pumps by two nodes.",
    )
