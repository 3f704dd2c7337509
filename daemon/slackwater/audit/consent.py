"""What a person approved, read from the approved bytes.

Floor 3. One subject: an approval as the audit understands it. Laws here: it is read
from the text that stands in the ledger and from nothing else, by code that neither the
timetable nor the gate knows; a text without what is needed is an error, never a guess.
Units: volumes in microlitres, times of the day in minutes since local midnight.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeAlias, cast
from zoneinfo import ZoneInfo

from slackwater.errors import Finding, InputError
from slackwater.facts.events import PlanApproved
from slackwater.facts.plan import Approval

Tree: TypeAlias = Mapping[str, "Tree"] | Sequence["Tree"] | str | bool | None
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the plan; either `windows` or `times`."""

    id: str
    tank: str
    pump: str
    solution: str
    per_day_ul: int
    count: int
    windows: tuple[tuple[int, int], ...]
    times: tuple[int, ...]
    every_days: int
    weekdays: tuple[str, ...]
    first_day: date
    last_day: date
    is_correction: bool

    def doses_on(self, day: date, starts: date) -> bool:
        """Whether the line asks for doses on a local day of a plan that so starts."""
        if not max(self.first_day, starts) <= day <= self.last_day:
            return False
        if self.weekdays:
            return WEEK[day.weekday()] in self.weekdays
        return (day - starts).days % self.every_days == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """One pump as it was approved, with its place at a node.

    `hardware_id` and `config_id` are those the file names, empty where it names none;
    `always_ms` is the only length of run there is, behind a relay that knows no other;
    0 for none.
    """

    id: str
    tank: str
    node: str
    channel: str
    solution: str
    rate_nl_per_s: int
    cut_limit_ms: int
    per_calibration_ul: int
    hardware_id: str
    config_id: str
    always_ms: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Consent:
    """One approval with what it says; `lines` by `TANK/LINE`, `zones` by tank.

    Units: `lateness_s` is the most by which any dose may begin late, in seconds.
    """

    approval: Approval
    starts: date
    lines: Mapping[str, Line]
    heads: Mapping[str, Head]
    zones: Mapping[str, ZoneInfo]
    lateness_s: float

    def ends_at(self, line: Line) -> datetime:
        """From here on nothing is dosed for a line."""
        grace, ends = self.approval.grace_until, self.approval.expires_at
        return ends if line.is_correction or grace is None else max(ends, grace)


def consent_of(entry: PlanApproved) -> Consent:
    """The approval of an entry.

    Raises: InputError when its text does not say what it must.
    """
    try:
        machine, plan = json.loads(entry.machine), json.loads(entry.plan)
        return Consent(
            approval=entry.approval,
            starts=date.fromisoformat(plan["starts"]),
            lines={f"{one['tank']}/{one['id']}": _line(one) for one in plan["lines"]},
            heads={name: _head(one, machine) for name, one in machine["pumps"].items()},
            zones={
                name: ZoneInfo(one["zone"]) for name, one in machine["tanks"].items()
            },
            lateness_s=float(machine["timing"]["lateness_s"]),
        )
    except (LookupError, TypeError, ValueError) as error:
        raise InputError(
            Finding(
                what=f"its text cannot be read ({type(error).__name__}: {error})",
                where=f"approval {entry.approval.serial}",
                expected="the machine and the plan that were approved",
                do="Run `slackwater ledger verify`; approve the plan again.",
            )
        ) from error


def _line(said: Mapping[str, Tree]) -> Line:
    first, last = cast("str | None", said["first_day"]), said["last_day"]
    windows = cast("Sequence[Mapping[str, str]]", said["windows"])
    return Line(
        id=str(said["id"]),
        tank=str(said["tank"]),
        pump=str(said["pump"]),
        solution=str(said["solution"]),
        per_day_ul=_whole(said["per_day_ul"]),
        count=_whole(said["count"]),
        windows=tuple(
            (int(one["start_minute"]), int(one["end_minute"])) for one in windows
        ),
        times=tuple(map(_whole, cast("Sequence[Tree]", said["times_minute"]))),
        every_days=_whole(said["every_days"]),
        weekdays=tuple(map(str, cast("Sequence[Tree]", said["weekdays"]))),
        first_day=date.min if first is None else date.fromisoformat(first),
        last_day=date.max if last is None else date.fromisoformat(str(last)),
        is_correction=said["purpose"] == "correction",
    )


def _head(
    said: Mapping[str, Tree], machine: Mapping[str, Mapping[str, Mapping[str, Tree]]]
) -> Head:
    node = machine["nodes"][str(said["node"])]
    relay = cast("Mapping[str, Tree]", node.get("relay") or {})
    return Head(
        id=str(said["id"]),
        tank=str(said["tank"]),
        node=str(said["node"]),
        channel=str(said["channel"]),
        solution=str(said["solution"]),
        rate_nl_per_s=_whole(said["rate_nl_per_s"]),
        cut_limit_ms=_whole(node["cut_limit_ms"]),
        per_calibration_ul=_whole(said["per_calibration_ul"]),
        hardware_id=str(node.get("hardware_id") or ""),
        config_id=str(node.get("config_id") or ""),
        always_ms=_whole(relay.get("always_ms") or "0"),
    )


def _whole(value: Tree) -> int:
    """A whole number; every number of an approved text is written as a string."""
    return int(cast("str", value))
