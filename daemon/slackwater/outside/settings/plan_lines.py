"""Turns one `[[line]]` of the plan file into a PlanLine.

Floor 6. One subject: one dose line. Laws here: what a line leaves open is resolved to
one meaning or refused; an amount is the exact total of a dosing day; each check asks
for no more than it judges, so that a key that was refused hides no other.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from itertools import pairwise

from slackwater.facts.plan import PlanLine, Window
from slackwater.outside.settings.offered import Offered, Use
from slackwater.outside.settings.plan_model import MINUTES_A_DAY, LineTable
from slackwater.outside.settings.tables import Findings, listed, shown, suggestion
from slackwater.water.show import show_volume

WHOLE_DAY = (Window(start_minute=0, end_minute=MINUTES_A_DAY),)

# A longer ramp is a guess about a tank nobody has looked at: common practice, no
# source.
LONGEST_CORRECTION_DAYS = 60

# Of each two keys a line may have one.
_CHOICES = (("windows", "times"), ("doses", "times"), ("weekdays", "every_days"))


def place_of(number: int, raw: object) -> str:
    """How findings call a line: its number in the file and its id if it has one."""
    identity = raw.get("id") if isinstance(raw, dict) else None
    named = f" ({shown(identity)})" if isinstance(identity, str) else ""
    return f"[[line]] {number}{named}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadLine:
    """One table of the file; `line` is None where something is wrong or not known.

    `per_day_ul` is None where the amount could not be read.
    """

    place: str
    table: LineTable
    line: PlanLine | None
    per_day_ul: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReader:
    """Reads lines against what a machine offers and notes what is wrong with them."""

    offered: Offered
    starts: date | None
    findings: Findings

    def read(self, place: str, table: LineTable) -> ReadLine:
        """The line with everything wrong noted, each check by itself."""
        before, judge = self.findings.count, self.findings.judge
        pump = judge(partial(self._pump, place, table))
        count = judge(partial(self._count, place, table))
        per_day_ul = judge(partial(self._per_day_ul, place, table, count))
        windows = judge(partial(self._windows, place, table))
        for choice in _CHOICES:
            judge(partial(self._check_choice, place, table, choice))
        for key in ("times", "weekdays"):
            judge(partial(self._check_repeats, place, table, key))
        for check in (self._check_given_end, self._check_end, self._check_ramp):
            judge(partial(check, place, table))
        line = None
        is_sound = self.findings.count == before
        if is_sound and pump and count and per_day_ul and windows is not None:
            line = judge(partial(_line, table, pump, (count, per_day_ul), windows))
        return ReadLine(place=place, table=table, line=line, per_day_ul=per_day_ul)

    def _pump(self, place: str, table: LineTable) -> str | None:
        """The pump that is meant; None where that is wrong, told, or not known."""
        names = {
            kind: self.findings.judge(partial(self._known, place, kind, table))
            for kind in ("tank", "solution", "pump")
        }
        tank, solution = names["tank"], names["solution"]
        named, pumps = table.pump, self.offered.pumps
        if tank is None or solution is None or pumps is None:
            return None
        if named is not None and names["pump"] is None:
            return None
        uses = {name: pumps[name] for name in pumps if named in (None, name)}
        wanted = Use(tank=tank, solution=solution)
        fitting = sorted(name for name, use in uses.items() if use == wanted)
        if len(fitting) == 1:
            return fitting[0]
        # A pump at fault may be the one that is meant.
        if fitting or not any(use.fits(tank, solution) for use in uses.values()):
            self._note_pumps(place, table, fitting)
        return None

    def _note_pumps(self, place: str, table: LineTable, fitting: Sequence[str]) -> None:
        use = f"{table.solution} to {table.tank}"
        if fitting:
            names = listed(fitting)
            what, advice = f"several pumps give {use}: {names}", "Add a line pump = …"
        elif table.pump is not None:
            what = f"the pump {table.pump} does not give {use}"
            advice = "Name the pump that does, or leave pump out."
        else:
            what = f"no pump gives {use}"
            advice = "Mend tank or solution, or add the pump to slackwater.toml."
        self.findings.add(f"{place} pump", what, f"one pump that gives {use}", advice)

    def _known(self, place: str, kind: str, table: LineTable) -> str | None:
        """The name that stands under a key, when there is such a thing."""
        identity: str | None = getattr(table, kind)
        names: Collection[str] | None = getattr(self.offered, f"{kind}s")
        if identity is None or names is None or identity in names:
            return identity
        self.findings.add(
            f"{place} {kind}",
            f'there is no {kind} "{identity}" in slackwater.toml',
            f"one of {listed(sorted(names))}",
            f"{suggestion(identity, names)}Use an id from slackwater.toml.",
        )
        return None

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

    def _per_day_ul(
        self, place: str, table: LineTable, count: int | None
    ) -> int | None:
        if (table.per_day is None) == (table.per_dose is None):
            both = table.per_day is not None
            self.findings.add(
                f"{place} per_day",
                "per_day and per_dose are both given" if both else "no amount is given",
                "either per_day or per_dose",
                "Remove one of the two." if both else 'Add  per_day = "42 mL".',
            )
            return None
        if table.per_dose is not None:
            return None if count is None else table.per_dose * count
        per_day_ul = table.per_day or 0
        if count is not None and per_day_ul < count:
            self.findings.add(
                f"{place} per_day",
                f"{show_volume(per_day_ul)} cannot be split into {count} doses",
                "at least 1 µL for each dose",
                "Raise the amount or give fewer doses.",
            )
        return per_day_ul

    def _windows(self, place: str, table: LineTable) -> tuple[Window, ...]:
        windows = sorted(
            (window for part in table.windows or () for window in part),
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
        if table.times is not None:
            return ()
        return tuple(windows) or WHOLE_DAY

    def _check_choice(
        self, place: str, table: LineTable, choice: tuple[str, str]
    ) -> None:
        key, other = choice
        if getattr(table, key) is not None and getattr(table, other) is not None:
            self.findings.add(
                f"{place} {key}",
                f"{key} and {other} are both given",
                f"either {key} or {other}",
                "Remove one of the two.",
            )

    def _check_repeats(self, place: str, table: LineTable, key: str) -> None:
        values = getattr(table, key) or []
        if len(set(values)) < len(values):
            self.findings.add(
                f"{place} {key}",
                "an entry stands there twice",
                "each entry once",
                "Remove one of the two: it would be dosed twice.",
            )

    def _check_given_end(self, place: str, table: LineTable) -> None:
        if table.purpose == "correction" and table.last is None:
            self.findings.add(
                f"{place} last",
                "a correction has no last day",
                "the day the correction ends",
                "Add a line like  last = 2026-05-20.",
            )

    def _check_end(self, place: str, table: LineTable) -> None:
        starts = self.starts
        first = table.first or starts
        if table.last is None or first is None:
            return
        if table.last < first or (starts is not None and table.last < starts):
            self.findings.add(
                f"{place} last",
                f"the last day {table.last} is before the first, {first}",
                "a last day on or after the first",
                "Mend one of the two dates.",
            )

    def _check_ramp(self, place: str, table: LineTable) -> None:
        first = table.first or self.starts
        if table.last is None or first is None:
            return
        ramp = timedelta(days=LONGEST_CORRECTION_DAYS)
        if table.purpose == "correction" and table.last - first >= ramp:
            self.findings.add(
                f"{place} last",
                f"the correction lasts {(table.last - first).days + 1} days",
                f"at most {LONGEST_CORRECTION_DAYS} days",
                "End it earlier, test, and plan the rest anew.",
            )


def _line(
    table: LineTable, pump: str, amount: tuple[int, int], windows: tuple[Window, ...]
) -> PlanLine:
    count, per_day_ul = amount
    return PlanLine(
        id=table.id,
        tank=table.tank,
        solution=table.solution,
        pump=pump,
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
