"""Many tanks in rows, the one with the least time to its floor first.

Floor 8. One subject: state documents as rows of one page. Laws here: hours are reckoned
on from when they were published, so that an old state is never taken for a young one;
what nobody can say stands last and says so; words from a wire are printed clean.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from slackwater.cli.leaf import Part
from slackwater.cli.render import span
from slackwater.cli.typed import kept_text
from slackwater.ledger.codec import timestamp
from slackwater.outside.wire import TankDocument
from slackwater.water.show import show_volume

# A living daemon publishes each minute; an older state is told with its age.
OLD = timedelta(minutes=10)
_ALKALINITY = "alkalinity"
_HOUR_S, _DAY_S = 3600.0, 86_400.0
# So much of a reason fits into a row or three.
_WHY_AT_MOST = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Refill:
    """A pump whose reservoir is empty before somebody comes again."""

    where: str
    pump: str
    days_left: float
    left_ul: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One tank; `age` is that of what is told, `gone` where its daemon is not there."""

    where: str
    document: TankDocument
    age: timedelta
    gone: bool = False
    refills: tuple[Refill, ...] = field(default=())

    @property
    def hours_to_floor(self) -> float | None:
        """Hours left by now, 0 at least."""
        return self._left(self.document.hours_to_floor.get(_ALKALINITY))

    @property
    def hours_to_ceiling(self) -> float | None:
        """Hours left by now, 0 at least."""
        return self._left(self.document.hours_to_ceiling.get(_ALKALINITY))

    @property
    def word(self) -> str:
        """The state in one word."""
        return "gone" if self.gone else self.document.word or "unknown"

    def _left(self, hours: float | None) -> float | None:
        if hours is None:
            return None
        return max(hours - self.age.total_seconds() / _HOUR_S, 0.0)


def row_of(
    where: str,
    document: TankDocument,
    times: tuple[datetime, datetime],
    *,
    gone: bool = False,
) -> Row:
    """A row; `times` are now and the next visit."""
    now, visit = times
    age = max(now - document.at, timedelta())
    days = (visit - now).total_seconds() / _DAY_S
    refills = tuple(
        Refill(where=where, pump=name, days_left=left, left_ul=pump.left_ul)
        for name, pump in sorted(document.pumps.items())
        if pump.days_left is not None
        and (left := max(pump.days_left - age.total_seconds() / _DAY_S, 0.0)) <= days
    )
    return Row(where=where, document=document, age=age, gone=gone, refills=refills)


def sorted_rows(rows: Iterable[Row]) -> list[Row]:
    """The least time to the floor first; where nobody can say last."""

    def rank(row: Row) -> tuple[bool, float, str]:
        hours = row.hours_to_floor
        return hours is None, 0.0 if hours is None else hours, row.where

    return sorted(rows, key=rank)


def tanks_part(rows: Sequence[Row]) -> Part:
    """The table of tanks."""
    return Part(
        heading="Tanks, the least time to the floor first",
        heads=("tank", "state", ">dKH", ">floor", ">ceiling", "what stands"),
        rows=tuple(_cells(row) for row in rows),
        nothing="No tank is published here.",
    )


def _cells(row: Row) -> tuple[str, ...]:
    level = row.document.alkalinity
    return (
        row.where,
        row.word,
        "-" if level is None else f"{level.dkh:.2f}",
        _hours(row.hours_to_floor),
        _hours(row.hours_to_ceiling),
        "; ".join(_remarks(row)),
    )


def _hours(hours: float | None) -> str:
    return "?" if hours is None else f"{hours:.0f} h"


def _remarks(row: Row) -> Iterator[str]:
    document = row.document
    if row.age > OLD:
        yield f"told {span(row.age)} ago"
    if document.word in ("cut-off", "held", "no-plan", "expired"):
        yield _clean(document.why)
    if document.alarm is not None:
        more = f" and {document.alarms - 1} more" if document.alarms > 1 else ""
        yield f"{document.alarm.priority}: {_clean(document.alarm.alarm)}{more}"
    if document.entered:
        yield f"{len(document.entered)} unconfirmed"
    if document.tasks is not None and document.tasks.due:
        yield f"{document.tasks.due} due"
    if document.hours_from == "target":
        yield "from the target"


def _clean(text: str) -> str:
    """A wire's words without anything a terminal would obey."""
    return kept_text(text, _WHY_AT_MOST).rstrip(".")


def refills_part(rows: Sequence[Row], until: str) -> Part:
    """What must be filled before somebody comes again, the first to end first."""
    due = sorted(
        (one for row in rows for one in row.refills),
        key=lambda one: (one.days_left, one.where, one.pump),
    )
    return Part(
        heading=f"Refill before {until}",
        heads=("tank", "pump", ">lasts", ">left"),
        rows=tuple(
            (
                one.where,
                one.pump,
                f"{one.days_left:.1f} d",
                show_volume(one.left_ul),
            )
            for one in due
        ),
        nothing="Nothing runs out before.",
    )


def row_document(row: Row) -> dict[str, object]:
    """A row for a document."""
    document = row.document
    return {
        "tank": row.where,
        "state": row.word,
        "why": kept_text(document.why),
        "stage": document.stage,
        "told_at": timestamp(document.at),
        "age_s": int(row.age.total_seconds()),
        "gone": row.gone,
        "dkh": None if document.alkalinity is None else document.alkalinity.dkh,
        "hours_to_floor": _tenths(row.hours_to_floor),
        "hours_to_ceiling": _tenths(row.hours_to_ceiling),
        "hours_from": document.hours_from,
        "alarms": document.alarms,
        "problem": document.problem,
        "unconfirmed": len(document.entered),
        "tasks_due": 0 if document.tasks is None else document.tasks.due,
        "refills": [
            {
                "pump": one.pump,
                "days_left": round(one.days_left, 1),
                "left_ul": one.left_ul,
            }
            for one in row.refills
        ],
    }


def _tenths(hours: float | None) -> float | None:
    return None if hours is None else round(hours, 1)
