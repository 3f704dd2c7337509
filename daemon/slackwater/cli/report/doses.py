"""Every dose with its place in the day, the caps and the bottle.

Floor 8. One subject: the dose table. Laws here: one row for each dose, in order of due
time; the 24 h are those before the dose itself begins, the dose included; shares are
of what the machine allows.
"""

from collections import deque
from collections.abc import Mapping
from zoneinfo import ZoneInfo

from slackwater.cli.rehearsal_document import dose_document
from slackwater.cli.report.made import Report
from slackwater.cli.report.minds import WEEKDAYS
from slackwater.facts.tank import Machine
from slackwater.rehearsal.record import RehearsedDose

DAY_S = 86_400


def dose_rows(report: Report) -> list[dict[str, object]]:
    """A row for each dose."""
    table = _Table(report.machine, report.past.left_ul)
    return [table.row(each) for each in report.done.record.doses]


class _Table:
    """Running sums while the doses are gone through in order."""

    def __init__(self, machine: Machine, left_ul: Mapping[str, int]) -> None:
        self._machine = machine
        self._left_ul = {
            name: left_ul.get(name, one.content_ul)
            for name, one in machine.reservoirs.items()
        }
        self._recent: dict[str, deque[tuple[float, int]]] = {}
        self._total: dict[str, int] = {}
        self._zones = {
            name: ZoneInfo(tank.zone) for name, tank in machine.tanks.items()
        }

    def row(self, each: RehearsedDose) -> dict[str, object]:
        """The dose with what was summed up until it."""
        pump = self._machine.pumps[each.dose.pump]
        rolling_ul = self._roll(each)
        self._left_ul[pump.reservoir] -= each.volume_ul
        local = each.dose.due_at.astimezone(self._zones[each.dose.tank])
        return {
            **dose_document(each),
            "local": f"{local:%Y-%m-%d %H:%M}",
            "weekday": WEEKDAYS[local.weekday()],
            "run_ms": each.run_ms,
            "cut_ms": self._machine.nodes[pump.node].cut_limit_ms,
            "last_24_h_ul": rolling_ul,
            "percent_of_day_cap": _percent(rolling_ul, pump.per_day_ul),
            "percent_of_dose_cap": _percent(each.volume_ul, pump.per_dose_ul),
            "left_ul": max(self._left_ul[pump.reservoir], 0),
        }

    def _roll(self, each: RehearsedDose) -> int:
        pump = each.dose.pump
        at_s = (each.begun_at or each.dose.due_at).timestamp()
        recent = self._recent.setdefault(pump, deque())
        total = self._total.get(pump, 0) + each.volume_ul
        recent.append((at_s, each.volume_ul))
        while recent[0][0] <= at_s - DAY_S:
            total -= recent.popleft()[1]
        self._total[pump] = total
        return total


def _percent(amount: int, cap: int) -> float | None:
    return round(amount * 100 / cap, 1) if cap else None
