"""Open tasks with how long they have.

Floor 8. One subject: what is due. Laws here: a task is overdue when the tank's own date
is past its day; the longest overdue comes first, and of one day the one that was set
first, which an assessment finds the most urgent.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.facts.waters import TaskSet
from slackwater.planning.wall import zone_named

UTC_ZONE = "UTC"
CALIBRATION_DUE, CALIBRATION_LATE = timedelta(days=75), timedelta(days=90)


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """An open task; `days` until its day, below 0 when it is overdue."""

    task: TaskSet
    days: int

    @property
    def is_overdue(self) -> bool:
        """Whether its day is past."""
        return self.days < 0

    @property
    def words(self) -> str:
        """How long it has, for people."""
        if not self.days:
            return "today"
        count = f"{abs(self.days)} day{'s' if abs(self.days) > 1 else ''}"
        return f"{count} overdue" if self.is_overdue else f"in {count}"

    @property
    def document(self) -> dict[str, object]:
        """The task for a document."""
        return {
            "id": self.task.task,
            "tank": self.task.tank,
            "remedy": self.task.remedy,
            "parameter": self.task.parameter,
            "text": self.task.text,
            "due_on": self.task.due_on.isoformat(),
            "overdue": self.is_overdue,
            "by": self.task.by,
        }


def open_tasks(state: State, utc: datetime, machine: Machine | None) -> list[Due]:
    """All open tasks, the longest overdue first."""
    zones: Mapping[str, str] = (
        {} if machine is None else {t.id: t.zone for t in machine.tanks.values()}
    )
    found = []
    for task in state.tasks.values():
        zone = zone_named(zones.get(task.tank, UTC_ZONE))
        today = utc.astimezone(zone).date()
        found.append(Due(task=task, days=(task.due_on - today).days))
    return sorted(found, key=lambda due: due.task.due_on)


def calibrations_due(state: State, utc: datetime, machine: Machine | None) -> list[Due]:
    """A task for each pump that nobody measured for 75 days; a calibration ends it.

    It is due on the 90th day, when its alarm grows more pressing; common practice, no
    source.
    """
    pumps = {} if machine is None else machine.pumps
    found = []
    for name, pump in sorted(pumps.items()):
        known = state.calibrations.get(name)
        if machine is None or known is None or utc - known.at < CALIBRATION_DUE:
            continue
        zone = zone_named(machine.tanks[pump.tank].zone)
        due_on = (known.at + CALIBRATION_LATE).astimezone(zone).date()
        task = TaskSet(
            at=known.at,
            boot_s=known.boot_s,
            proven_ms=known.proven_ms,
            task=f"calibrate-{name}",
            tank=pump.tank,
            remedy="other",
            parameter="",
            text=f"Measure the pump {name} again: `slackwater calibrate {name}`.",
            due_on=due_on,
            by="daemon",
        )
        days = (due_on - utc.astimezone(zone).date()).days
        found.append(Due(task=task, days=days))
    return found
