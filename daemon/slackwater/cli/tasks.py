"""Open tasks with how long they have.

Floor 8. One subject: what is due. Laws here: a task is overdue when the tank's own date
is past its day; the longest overdue comes first, and of one day the one that was set
first, which an assessment finds the most urgent.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from slackwater.facts.relays import CHECK_ENDING, check_of
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Pump
from slackwater.facts.waters import TaskSet
from slackwater.facts.wear import (
    NEARLY_WORN,
    is_unmeasured,
    measured_share,
    tube_share,
)
from slackwater.planning.wall import zone_named

UTC_ZONE = "UTC"
# The name of the task to measure a pump, before the pump's own.
CALIBRATE = "calibrate-"
CALIBRATION_DUE, CALIBRATION_LATE = timedelta(days=75), timedelta(days=90)
# To get a new tube; common practice, no source.
TUBE_NEAR = timedelta(days=14)


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


def chores_due(state: State, utc: datetime, machine: Machine | None) -> list[Due]:
    """Tasks that follow from the books: what to measure, to swap and to try out.

    A calibration, a swap, or a relay that was tried out ends them; a word does not. A
    pump that nobody measured for 75 days is due on the 90th, when its alarm grows more
    pressing; common practice, no source.
    """
    if machine is None:
        return []
    found = []
    for _, pump in sorted(machine.pumps.items()):
        zone = zone_named(machine.tanks[pump.tank].zone)
        for name, text, due_at in _chores(state, utc, pump):
            due_on = due_at.astimezone(zone).date()
            days = (due_on - utc.astimezone(zone).date()).days
            found.append(Due(task=_chore(pump, name, text, utc, due_on), days=days))
    return [*found, *_relays(state, utc, machine)]


def _relays(state: State, utc: datetime, machine: Machine) -> Iterator[Due]:
    """Relays that count as tried out for a last while, or no more, each once."""
    behind = {pump.node: pump for _, pump in sorted(machine.pumps.items())}
    for node, pump in sorted(behind.items()):
        known = check_of(state.relay_checks, node, machine.nodes[node].relay)
        if known is None or known.until - utc > CHECK_ENDING:
            continue
        zone = zone_named(machine.tanks[pump.tank].zone)
        due_on = known.until.astimezone(zone).date()
        text = f"Try the relay {node} out again: `slackwater check-relay {node}`."
        days = (due_on - utc.astimezone(zone).date()).days
        task = _chore(pump, f"relay-{node}", text, utc, due_on)
        yield Due(task=task, days=days)


def _chores(
    state: State, utc: datetime, pump: Pump
) -> Iterator[tuple[str, str, datetime]]:
    """Name, words and time of what is due at one pump."""
    measure = f"Measure the pump {pump.id} again: `slackwater calibrate {pump.id}`."
    known, share = state.calibrations.get(pump.id), tube_share(state, pump)
    if known is not None:
        if is_unmeasured(state, pump.id) or measured_share(state, pump) >= 1:
            yield f"{CALIBRATE}{pump.id}", measure, utc
        elif utc - known.at >= CALIBRATION_DUE:
            yield f"{CALIBRATE}{pump.id}", measure, known.at + CALIBRATION_LATE
    if share >= NEARLY_WORN:
        text = (
            f"Swap the tube of {pump.id}, which has run {100 * share:.0f} % of its "
            f"life: `slackwater swap-tube {pump.id}`."
        )
        yield f"tube-{pump.id}", text, utc if share >= 1 else utc + TUBE_NEAR


def _chore(pump: Pump, name: str, text: str, utc: datetime, due_on: date) -> TaskSet:
    """It stands in no ledger, so it has no clocks but this moment."""
    return TaskSet(
        at=utc,
        boot_s=0.0,
        proven_ms=0,
        task=name,
        tank=pump.tank,
        remedy="other",
        parameter="",
        text=text,
        due_on=due_on,
        by="daemon",
    )
