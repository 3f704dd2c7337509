"""Turns interlock tables into guards.

Floor 6. One subject: thresholds on alkalinity. Laws here: a tank whose alkalinity is
aimed at, measured or moved has a guard whether one was written or not; a threshold is
never weaker than its bounds.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from slackwater.facts.tank import AlkalinityGuard
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.guard_model import (
    CEILING_ABOVE_TARGET,
    HIGHEST_CEILING,
    THRESHOLD_BOUNDS,
    InterlockTable,
)
from slackwater.outside.settings.tables import Findings, shown

ALKALINITY = "alkalinity"


@dataclass(frozen=True, slots=True, kw_only=True)
class Aim:
    """What a tank says of its alkalinity.

    `target` is None where none stands there and where it was refused: then it is
    stated all the same.
    """

    target: float | None
    is_stated: bool
    needs_guard: bool


# Of a tank that is not there nothing is known, and its absence was told.
NO_TANK = Aim(target=None, is_stated=True, needs_guard=True)


def guards_from(
    tables: Mapping[str, InterlockTable], aims: Mapping[str, Aim], findings: Findings
) -> dict[str, AlkalinityGuard]:
    """A guard for each tank that needs one, by what is aimed at in it."""
    guards = {}
    for identity in sorted({*aims, *tables}):
        aim, table = aims.get(identity, NO_TANK), tables.get(identity)
        if table is None and not aim.needs_guard:
            continue
        reader = _GuardReader(
            tank=identity,
            aim=aim,
            table=table or InterlockTable(),
            findings=findings,
        )
        guard = reader.guard()
        if guard is not None:
            guards[identity] = guard
    return guards


@dataclass(frozen=True, slots=True, kw_only=True)
class _GuardReader:
    tank: str
    aim: Aim
    table: InterlockTable
    findings: Findings

    @property
    def place(self) -> str:
        return f"[interlock.{self.tank}]"

    def guard(self) -> AlkalinityGuard | None:
        """The guard, or None with everything wrong noted."""
        ceiling = self.findings.judge(self._ceiling)
        floor = self._level("alkalinity_floor")
        spans = [
            self._span(f"alkalinity_{name}")
            for name in ("rise", "fall", "spread", "hysteresis")
        ]
        self._check_order(floor, ceiling)
        if ceiling is None or floor is None or None in spans:
            return None
        rise, fall, spread, hysteresis = (span or 0.0 for span in spans)
        return self.findings.judge(
            lambda: AlkalinityGuard(
                ceiling=ceiling,
                floor=floor,
                rise=rise,
                fall=fall,
                spread=spread,
                hysteresis=hysteresis,
                good_readings=self.table.good_readings,
                hold_at_least_s=self.table.hold_at_least,
            )
        )

    @property
    def amounts(self) -> Amounts:
        return Amounts(parameter=ALKALINITY, findings=self.findings)

    def _ceiling(self) -> float | None:
        if self.table.alkalinity_ceiling is not None:
            return self._level("alkalinity_ceiling")
        target = self.aim.target
        above = self.amounts.span("", CEILING_ABOVE_TARGET)
        highest = self.amounts.level("", HIGHEST_CEILING)
        if target is not None and above is not None and highest is not None:
            return min(target + above, highest)
        if not self.aim.is_stated:
            self.findings.add(
                f"{self.place} alkalinity_ceiling",
                "neither a ceiling nor a target for alkalinity is given",
                "a ceiling, or targets.alkalinity in the tank's table",
                f'Add  alkalinity = "8.0 dKH"  to the targets of {self.tank}.',
            )
        return None

    def _level(self, key: str) -> float | None:
        return self.findings.judge(partial(self._bounded, key, self.amounts.level))

    def _span(self, key: str) -> float | None:
        return self.findings.judge(partial(self._bounded, key, self.amounts.span))

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

    def _check_order(self, floor: float | None, ceiling: float | None) -> None:
        target = self.aim.target
        above = ceiling if target is None else target
        if floor is not None and above is not None and not floor < above:
            self.findings.add(
                f"{self.place} alkalinity_floor",
                f"the floor {shown(self.table.alkalinity_floor)} is not below the "
                "target",
                "a floor below the target",
                "Lower the floor.",
            )
        if target is not None and ceiling is not None and not target < ceiling:
            self.findings.add(
                f"{self.place} alkalinity_ceiling",
                f"the ceiling {shown(self.table.alkalinity_ceiling)} is not above the "
                "target",
                "a ceiling above the target",
                "Raise the ceiling or lower the target.",
            )
