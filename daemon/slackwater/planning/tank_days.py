"""The days of one tank, in UTC.

Floor 3. One subject: a tank's local day as doses. Laws here: a layout is worked out
once for each succession of day shapes and used again; a dose may begin late by a
share of the gap to the next dose of its line, across midnight too, never more than
the machine's lateness; a day depends on the day before it as that day is laid out by
itself, so that no day depends on the whole past.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import lru_cache
from itertools import zip_longest
from typing import NamedTuple

from slackwater.errors import Finding
from slackwater.facts.making import maker
from slackwater.facts.plan import Day, DueDose, Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.planning.days import ONE_DAY, doses_on
from slackwater.planning.faults import place
from slackwater.planning.layout import (
    NOWHERE,
    Laid,
    Layout,
    Lost,
    Shape,
    Slot,
    Span,
    stream_of,
)
from slackwater.planning.wall import (
    EPOCH,
    exists,
    reached_s,
    zone_named,
)

# Kept, so that memory stays small in a daemon that runs for years.
DAYS_KEPT = 128
# A gap this long lets a dose be as late as any machine allows.
LONGEST_LOOK_DAYS = 31
LAYOUTS_KEPT = 128
NOTHING = Laid()

_due_dose = maker(DueDose)


class _Timed(NamedTuple):
    """A dose of a layout, ready for any day; without `latest` it is its line's last."""

    due: timedelta
    latest: timedelta | None
    order: int
    ordinal: int
    suffix: str
    volume_ul: int


class TankDays:
    """The local days of one tank; the lines of the plan have no fault."""

    def __init__(self, plan: Plan, machine: Machine, tank: str) -> None:
        self.zone = zone_named(machine.tanks[tank].zone)
        self._tank = tank
        self._starts = plan.starts
        self._timing = machine.timing
        self._streams = {
            order: stream_of(order, line, machine)
            for order, line in enumerate(plan.lines)
            if line.tank == tank
        }
        self._layout = Layout(self._streams, machine)
        self.day = lru_cache(DAYS_KEPT)(self._day)
        self.midnight_s = lru_cache(DAYS_KEPT)(self._midnight_s)
        self._shape = lru_cache(DAYS_KEPT)(self._work_out_shape)
        self._alone = lru_cache(LAYOUTS_KEPT)(self._lay_alone)
        self._laid = lru_cache(LAYOUTS_KEPT)(self._lay_after)
        self._timed = lru_cache(LAYOUTS_KEPT)(self._time)

    def conflicts(self, local_day: date) -> tuple[Finding, ...]:
        """The doses of a day that the plan asks for and gaps do not allow."""
        laid = self._laid_on(local_day)
        findings = [
            self._conflict(lost, local_day)
            for lost in laid.lost
            if lost.why != "calendar"
        ]
        if self._is_pushed(local_day, laid):
            findings.append(self._pushed(local_day))
        return tuple(findings)

    def _is_pushed(self, local_day: date, laid: Laid) -> bool:
        """Whether the day would be another had the day before it been pushed."""
        before = self._laid_on(local_day - ONE_DAY)
        if before == self._alone(self._shape(local_day - ONE_DAY)):
            return False
        return self._layout.lay(self._shape(local_day), before) != laid

    def _day(self, local_day: date) -> Day:
        shapes = self._shape(local_day - ONE_DAY), self._shape(local_day)
        return Day(
            local_day=local_day,
            doses=tuple(self._doses(local_day, self._timed(*shapes))),
            left_out=self.left_out(local_day),
        )

    def left_out(self, local_day: date) -> tuple[str, ...]:
        """What of a day the calendar took away or has no place for."""
        lost = self._laid_on(local_day).lost
        return tuple(self._left_out(each, local_day) for each in lost)

    def _doses(self, local_day: date, timed: tuple[_Timed, ...]) -> Iterator[DueDose]:
        midnight = EPOCH + timedelta(seconds=self.midnight_s(local_day))
        lines = {
            order: (stream.line, self._name(stream.line, local_day) + "#")
            for order, stream in self._streams.items()
        }
        for due, latest, order, ordinal, suffix, volume_ul in timed:
            line, name = lines[order]
            due_at = midnight + due
            yield _due_dose(
                id=name + suffix,
                line=line.id,
                tank=line.tank,
                pump=line.pump,
                local_day=local_day,
                ordinal=ordinal,
                due_at=due_at,
                latest_at=midnight + latest
                if latest is not None
                else due_at + self._last_lateness(order, local_day, due_at),
                volume_ul=volume_ul,
            )

    def _time(self, before: Shape, shape: Shape) -> tuple[_Timed, ...]:
        """The doses of a layout in order of time, then of the file."""
        return tuple(
            sorted(
                (
                    timed
                    for order, slots in self._laid(before, shape).placed.items()
                    for timed in self._line_times(order, slots)
                ),
                key=lambda timed: (timed.due, timed.order),
            )
        )

    def _line_times(self, order: int, slots: tuple[Slot, ...]) -> Iterator[_Timed]:
        for slot, following in zip_longest(slots, slots[1:]):
            latest = None
            if following is not None:
                late_s = self._lateness_s(following.at_s - slot.at_s)
                latest = timedelta(seconds=slot.at_s + late_s)
            yield _Timed(
                due=timedelta(seconds=slot.at_s),
                latest=latest,
                order=order,
                ordinal=slot.ordinal,
                suffix=f"{slot.ordinal:02d}",
                volume_ul=slot.volume_ul,
            )

    def _lateness_s(self, gap_s: float) -> int:
        return int(min(self._timing.lateness_share * gap_s, self._timing.lateness_s))

    def _last_lateness(
        self, order: int, local_day: date, due_at: datetime
    ) -> timedelta:
        """How late the last dose of a line's day may begin."""
        due_s = int((due_at - EPOCH).total_seconds())
        most_s = int(self._timing.lateness_s)
        late_s = 0
        for ahead in range(1, LONGEST_LOOK_DAYS + 1):
            day = local_day + ahead * ONE_DAY
            gap_s = self.midnight_s(day) - due_s
            late_s = self._lateness_s(gap_s)
            slots = () if late_s == most_s else self._laid_on(day).placed.get(order)
            if slots:
                late_s = self._lateness_s(gap_s + slots[0].at_s)
            if slots or late_s == most_s:
                break
        return timedelta(seconds=late_s)

    def _laid_on(self, local_day: date) -> Laid:
        return self._laid(self._shape(local_day - ONE_DAY), self._shape(local_day))

    def _lay_alone(self, shape: Shape) -> Laid:
        return self._layout.lay(shape, NOTHING)

    def _lay_after(self, before: Shape, shape: Shape) -> Laid:
        return self._layout.lay(shape, self._alone(before))

    def _midnight_s(self, local_day: date) -> int:
        return reached_s(self.zone, local_day, 0)

    def _work_out_shape(self, local_day: date) -> Shape:
        midnight_s = self.midnight_s(local_day)
        return Shape(
            length_s=self.midnight_s(local_day + ONE_DAY) - midnight_s,
            spans=tuple(
                (order, tuple(self._spans(stream.line, local_day, midnight_s)))
                for order, stream in self._streams.items()
                if doses_on(stream.line, self._starts, local_day)
            ),
        )

    def _spans(
        self, line: PlanLine, local_day: date, midnight_s: int
    ) -> Iterator[Span]:
        for minute in line.times_minute:
            if exists(self.zone, local_day, minute):
                at_s = reached_s(self.zone, local_day, minute) - midnight_s
                yield at_s, at_s + 1
            else:
                yield NOWHERE
        for window in line.windows:
            yield (
                reached_s(self.zone, local_day, window.start_minute) - midnight_s,
                reached_s(self.zone, local_day, window.end_minute) - midnight_s,
            )

    def _name(self, line: PlanLine, local_day: date) -> str:
        return f"{self._tank}/{line.id}@{local_day.isoformat()}"

    def _left_out(self, lost: Lost, local_day: date) -> str:
        name = self._name(self._streams[lost.order].line, local_day)
        numbered = f"{name}#{lost.ordinal:02d}" if lost.ordinal else name
        return f"{numbered}: {self._why(lost)}"

    def _why(self, lost: Lost) -> str:
        line = self._streams[lost.order].line
        if lost.why == "calendar":
            if not lost.ordinal:
                return "its windows do not exist on this day"
            hour, minute = divmod(line.times_minute[lost.ordinal - 1], 60)
            return f"{hour:02d}:{minute:02d} does not exist on this day"
        other = self._streams[lost.other].line
        if lost.why == "pump":
            return f"{line.pump} has not rested since its dose of {other.id}"
        return f"no time in its share keeps the gap to {other.solution} ({other.id})"

    def _conflict(self, lost: Lost, local_day: date) -> Finding:
        line = self._streams[lost.order].line
        if lost.why == "pump":
            pause_s = self._streams[lost.order].pause_s
            expected = f"{pause_s} s from one dose of {line.pump} to its next"
            advice = "Give fewer doses, or widen the windows; mend a doubled line."
        else:
            other = self._streams[lost.other]
            gap_s = self._layout.gap_s(lost.order, lost.other) + other.flow_s
            expected = f"{gap_s} s after a dose of {other.line.id} has begun"
            advice = f"Give fewer doses of one of the two, or move {line.id} away."
        return Finding(
            what=self._left_out(lost, local_day),
            where=place(line),
            expected=expected,
            do=advice,
        )

    def _pushed(self, local_day: date) -> Finding:
        return Finding(
            what=f"doses push each other from day to day up to {local_day}",
            where=f"tank {self._tank}",
            expected="a pause each night in which what was moved is caught up with",
            do="Give fewer doses, or leave out the hours around midnight.",
        )
