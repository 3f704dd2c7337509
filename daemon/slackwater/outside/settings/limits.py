"""Turns interlock tables into limits beside those on alkalinity.

Floor 6. One subject: thresholds on what else is watched. Laws here: every tank has
limits whether they were written or not; none is outside its bounds; the milder one of
two is never beyond the harder one.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial

from slackwater.facts.limits import WaterLimits
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.limit_model import LIMIT_BOUNDS, RISING, WatchTable
from slackwater.outside.settings.tables import Findings, shown


def limits_from(
    tables: Mapping[str, WatchTable], tanks: Iterable[str], findings: Findings
) -> dict[str, WaterLimits]:
    """The limits of each tank; a tank is left out when something was noted."""
    found = {}
    for tank in sorted({*tanks, *tables}):
        reader = _LimitReader(
            tank=tank, table=tables.get(tank, WatchTable()), findings=findings
        )
        limits = reader.limits()
        if limits is not None:
            found[tank] = limits
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _LimitReader:
    tank: str
    table: WatchTable
    findings: Findings

    def limits(self) -> WaterLimits | None:
        """The limits, or None with everything wrong noted."""
        values: dict[str, float] = {}
        for key in LIMIT_BOUNDS:
            value = self.findings.judge(partial(self._bounded, key))
            if value is not None:
                values[key] = value
        for lower, upper in RISING:
            if {lower, upper} <= values.keys():
                self._check_order(lower, upper, values)
        if len(values) < len(LIMIT_BOUNDS):
            return None
        table = self.table
        return self.findings.judge(
            lambda: WaterLimits(
                **values,
                good_readings=table.good_readings,
                hold_at_least_s=table.hold_at_least,
                top_off_factor=table.top_off_factor,
                calibration_ends_s=table.calibration_ends,
                drift_stops=table.drift_stops,
            )
        )

    def _bounded(self, key: str) -> float | None:
        parameter, kind, low_text, high_text = LIMIT_BOUNDS[key]
        amounts = Amounts(parameter=parameter, findings=self.findings)
        read = amounts.level if kind == "level" else amounts.span
        place = f"[interlock.{self.tank}] {key}"
        text: str = getattr(self.table, key)
        value, low, high = read(place, text), read("", low_text), read("", high_text)
        if value is None or low is None or high is None:
            return None
        if low <= value <= high:
            return value
        self.findings.add(
            place,
            f"{shown(text)} is outside the bounds",
            f"{low_text} to {high_text}",
            "Check the figure and its unit.",
        )
        return None

    def _check_order(self, lower: str, upper: str, values: Mapping[str, float]) -> None:
        if values[lower] <= values[upper]:
            return
        self.findings.add(
            f"[interlock.{self.tank}] {lower}",
            f"{lower} {shown(getattr(self.table, lower))} is above "
            f"{upper} {shown(getattr(self.table, upper))}",
            f"{lower} at most {upper}",
            "Swap the two or mend one.",
        )
