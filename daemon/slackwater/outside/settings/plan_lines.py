"""Turns one `[[line]]` of the plan file into a PlanLine.

Floor 6. One subject: one dose line. Laws here: what a line leaves open is resolved to
one meaning or refused; an amount is the exact total of a dosing day.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

from slackwater.facts.plan import PlanLine, Window
from slackwater.facts.tank import Machine, Pump
from slackwater.outside.settings.plan_model import MINUTES_A_DAY, LineTable, PlanHead
from slackwater.outside.settings.tables import Findings, listed, shown, suggestion
from slackwater.water.show import show_volume

WHOLE_DAY = (Window(start_minute=0, end_minute=MINUTES_A_DAY),)

# A longer ramp is a guess about a tank nobody has looked at: common practice, no
# source.
LONGEST_CORRECTION_DAYS = 60


def place_of(number: int, raw: object) -> str:
    """How findings call a line: its number in the file and its id if it has one."""
    identity = raw.get("id") if isinstance(raw, dict) else None
    named = f" ({shown(identity)})" if isinstance(identity, str) else ""
    return f"[[line]] {number}{named}"


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReader:
    """Reads lines against one machine and notes what is wrong with them."""

    machine: Machine
    head: PlanHead | None
    findings: Findings

    def line(self, place: str, table: LineTable) -> PlanLine | None:
        """The line, or None with everything wrong noted."""
        before = self.findings.count
        pump = self._pump(place, table)
        count = self._count(place, table)
        per_day_ul = self._per_day_ul(place, table, count)
        windows = self._windows(place, table)
        self._check_choices(place, table)
        self._check_repeats(place, table)
        self._check_days(place, table)
        if pump is None or self.findings.count > before:
            return None
        return PlanLine(
            id=table.id,
            tank=table.tank,
            solution=table.solution,
            pump=pump.id,
            per_day_ul=per_day_ul,
            count=count,
            windows=windows,
            times_minute=tuple(sorted(table.times or ())),
            every_days=table.every_days or 1,
            weekdays=tuple(table.weekdays or ()),
            first_day=table.first,
            last_day=table.last,
            group=table.group or "",
            purpose=table.purpose,
            note=table.note,
        )

    def _pump(self, place: str, table: LineTable) -> Pump | None:
        machine = self.machine
        known = self._known(f"{place} tank", "tank", table.tank, machine.tanks)
        known &= self._known(
            f"{place} solution", "solution", table.solution, machine.solutions
        )
        if table.pump is not None:
            known &= self._known(f"{place} pump", "pump", table.pump, machine.pumps)
        if not known:
            return None
        fitting = [
            pump
            for pump in machine.pumps.values()
            if (pump.tank, pump.solution) == (table.tank, table.solution)
            and table.pump in (None, pump.id)
        ]
        if len(fitting) == 1:
            return fitting[0]
        self._note_pumps(place, table, fitting)
        return None

    def _note_pumps(
        self, place: str, table: LineTable, fitting: Sequence[Pump]
    ) -> None:
        use = f"{table.solution} to {table.tank}"
        if fitting:
            names = listed(sorted(pump.id for pump in fitting))
            what, advice = f"several pumps give {use}: {names}", "Add a line pump = …"
        elif table.pump is not None:
            what = f"the pump {table.pump} does not give {use}"
            advice = "Name the pump that does, or leave pump out."
        else:
            what = f"no pump gives {use}"
            advice = "Mend tank or solution, or add the pump to slackwater.toml."
        self.findings.add(f"{place} pump", what, f"one pump that gives {use}", advice)

    def _known(
        self, place: str, kind: str, identity: str, names: Collection[str]
    ) -> bool:
        if identity in names:
            return True
        self.findings.add(
            place,
            f'there is no {kind} "{identity}" in slackwater.toml',
            f"one of {listed(sorted(names))}",
            f"{suggestion(identity, names)}Use an id from slackwater.toml.",
        )
        return False

    def _count(self, place: str, table: LineTable) -> int:
        if table.times is not None:
            return len(table.times)
        if table.doses is None:
            self.findings.add(
                f"{place} doses",
                "the key is missing",
                "the number of doses on each dosing day, or times",
                "Add a line like  doses = 24.",
            )
        return table.doses or 1

    def _per_day_ul(self, place: str, table: LineTable, count: int) -> int:
        if (table.per_day is None) == (table.per_dose is None):
            both = table.per_day is not None
            self.findings.add(
                f"{place} per_day",
                "per_day and per_dose are both given" if both else "no amount is given",
                "either per_day or per_dose",
                "Remove one of the two." if both else 'Add  per_day = "42 mL".',
            )
            return 0
        if table.per_dose is not None:
            return table.per_dose * count
        per_day_ul = table.per_day or 0
        if per_day_ul < count:
            self.findings.add(
                f"{place} per_day",
                f"{show_volume(per_day_ul)} cannot be split into {count} doses",
                "at least 1 µL for each dose",
                "Raise the amount or give fewer doses.",
            )
        return per_day_ul

    def _windows(self, place: str, table: LineTable) -> tuple[Window, ...]:
        if table.times is not None:
            return ()
        if table.windows is None:
            return WHOLE_DAY
        windows = sorted(
            (window for part in table.windows for window in part),
            key=lambda window: window.start_minute,
        )
        for window, later in pairwise(windows):
            if later.start_minute < window.end_minute:
                self.findings.add(
                    f"{place} windows",
                    "two windows overlap",
                    "windows that share no minute",
                    "Join them, or move one.",
                )
                break
        return tuple(windows)

    def _check_choices(self, place: str, table: LineTable) -> None:
        choices = (
            ("windows", table.windows, "times", table.times),
            ("doses", table.doses, "times", table.times),
            ("weekdays", table.weekdays, "every_days", table.every_days),
        )
        for key, value, other, other_value in choices:
            if value is not None and other_value is not None:
                self.findings.add(
                    f"{place} {key}",
                    f"{key} and {other} are both given",
                    f"either {key} or {other}",
                    "Remove one of the two.",
                )

    def _check_repeats(self, place: str, table: LineTable) -> None:
        for key in ("times", "weekdays"):
            values = getattr(table, key) or []
            if len(set(values)) < len(values):
                self.findings.add(
                    f"{place} {key}",
                    "an entry stands there twice",
                    "each entry once",
                    "Remove one of the two: it would be dosed twice.",
                )

    def _check_days(self, place: str, table: LineTable) -> None:
        starts = self.head.starts if self.head else None
        first = table.first or starts
        if table.purpose == "correction" and table.last is None:
            self.findings.add(
                f"{place} last",
                "a correction has no last day",
                "the day the correction ends",
                "Add a line like  last = 2026-05-20.",
            )
        if table.last is None or first is None:
            return
        if table.last < first or (starts is not None and table.last < starts):
            self.findings.add(
                f"{place} last",
                f"the last day {table.last} is before the first, {first}",
                "a last day on or after the first",
                "Mend one of the two dates.",
            )
        ramp = timedelta(days=LONGEST_CORRECTION_DAYS)
        if table.purpose == "correction" and table.last - first >= ramp:
            self.findings.add(
                f"{place} last",
                f"the correction lasts {(table.last - first).days + 1} days",
                f"at most {LONGEST_CORRECTION_DAYS} days",
                "End it earlier, test, and plan the rest anew.",
            )
