"""Turns interlock tables into guards.

Floor 6. One subject: thresholds on alkalinity. Laws here: a tank whose alkalinity is
aimed at, measured or moved has a guard whether one was written or not; a threshold is
never weaker than its bounds.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from slackwater.facts.tank import AlkalinityGuard, Probe, Tank
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.guard_model import (
    CEILING_ABOVE_TARGET,
    HIGHEST_CEILING,
    THRESHOLD_BOUNDS,
    InterlockTable,
)
from slackwater.outside.settings.tables import Findings, shown

ALKALINITY = "alkalinity"


def guards_from(
    tables: Mapping[str, InterlockTable],
    tanks: Mapping[str, Tank],
    probes: Mapping[str, Probe],
    findings: Findings,
) -> dict[str, AlkalinityGuard]:
    """A guard for each tank that needs one."""
    measured = {
        probe.tank for probe in probes.values() if probe.parameter == ALKALINITY
    }
    guards = {}
    for identity, tank in tanks.items():
        needed = ALKALINITY in {*tank.targets, *tank.caps} or identity in measured
        table = tables.get(identity)
        if table is None and not needed:
            continue
        reader = _GuardReader(
            tank=tank, table=table or InterlockTable(), findings=findings
        )
        guard = reader.guard()
        if guard is not None:
            guards[identity] = guard
    return guards


@dataclass(frozen=True, slots=True, kw_only=True)
class _GuardReader:
    tank: Tank
    table: InterlockTable
    findings: Findings

    @property
    def place(self) -> str:
        return f"[interlock.{self.tank.id}]"

    def guard(self) -> AlkalinityGuard | None:
        """The guard, or None with everything wrong noted."""
        ceiling = self._ceiling()
        floor = self._level("alkalinity_floor")
        spans = [
            self._span(f"alkalinity_{name}")
            for name in ("rise", "fall", "spread", "hysteresis")
        ]
        if ceiling is None or floor is None or None in spans:
            return None
        rise, fall, spread, hysteresis = (span or 0.0 for span in spans)
        self._check_order(floor, ceiling)
        return AlkalinityGuard(
            ceiling=ceiling,
            floor=floor,
            rise=rise,
            fall=fall,
            spread=spread,
            hysteresis=hysteresis,
            good_readings=self.table.good_readings,
            hold_at_least_s=self.table.hold_at_least,
        )

    @property
    def amounts(self) -> Amounts:
        return Amounts(parameter=ALKALINITY, findings=self.findings)

    def _ceiling(self) -> float | None:
        if self.table.alkalinity_ceiling is not None:
            return self._level("alkalinity_ceiling")
        target = self.tank.targets.get(ALKALINITY)
        above = self.amounts.span("", CEILING_ABOVE_TARGET)
        highest = self.amounts.level("", HIGHEST_CEILING)
        if target is None or above is None or highest is None:
            self.findings.add(
                f"{self.place} alkalinity_ceiling",
                "neither a ceiling nor a target for alkalinity is given",
                "a ceiling, or targets.alkalinity in the tank's table",
                f'Add  alkalinity = "8.0 dKH"  to the targets of {self.tank.id}.',
            )
            return None
        return min(target + above, highest)

    def _level(self, key: str) -> float | None:
        return self._bounded(key, self.amounts.level)

    def _span(self, key: str) -> float | None:
        return self._bounded(key, self.amounts.span)

    def _bounded(
        self, key: str, read: Callable[[str, str], float | None]
    ) -> float | None:
        text: str = getattr(self.table, key)
        low_text, high_text = THRESHOLD_BOUNDS[key]
        value = read(f"{self.place} {key}", text)
        low, high = read("", low_text), read("", high_text)
        if value is None or low is None or high is None:
            return None
        if not low <= value <= high:
            self.findings.add(
                f"{self.place} {key}",
                f"{shown(text)} is outside the bounds",
                f"{low_text} to {high_text}",
                "Check the figure and its unit.",
            )
            return None
        return value

    def _check_order(self, floor: float, ceiling: float) -> None:
        target = self.tank.targets.get(ALKALINITY)
        if not floor < (ceiling if target is None else target):
            self.findings.add(
                f"{self.place} alkalinity_floor",
                f"the floor {shown(self.table.alkalinity_floor)} is not below the "
                "target",
                "a floor below the target",
                "Lower the floor.",
            )
        if target is not None and not target < ceiling:
            self.findings.add(
                f"{self.place} alkalinity_ceiling",
                f"the ceiling {shown(self.table.alkalinity_ceiling)} is not above the "
                "target",
                "a ceiling above the target",
                "Raise the ceiling or lower the target.",
            )
