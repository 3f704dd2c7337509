"""Turns tables whose units depend on a parameter into records.

Floor 6. One subject: tanks and outside sources. Laws here: what may be added is
rounded down and what is added anyway is rounded up; a figure outside what the
parameter can be is refused; ranges of common practice need a typed reason to leave.
"""

import math
import re
import zoneinfo
from collections.abc import Callable, Collection
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from operator import attrgetter
from typing import TypeVar

from slackwater.facts.tank import (
    EffectCap,
    Outside,
    Tank,
    TraceLimits,
    Uptake,
)
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.machine_model import (
    BandTable,
    CapTable,
    OutsideTable,
    TankTable,
    UptakeTable,
)
from slackwater.outside.settings.tables import Findings, shown, suggestion
from slackwater.water.plumes import TURNS_BETWEEN

ALKALINITY = "alkalinity"

# Targets outside this need a typed reason: common practice, no source.
LOWEST_TARGET = "6.5 dKH"
HIGHEST_TARGET = "11 dKH"

# Nobody should let a parameter climb faster in a day: common practice, no source.
HIGHEST_NET_RISE = {
    "alkalinity": "1.0 dKH/day",
    "calcium": "40 mg/L/day",
    "magnesium": "100 mg/L/day",
    "potassium": "20 mg/L/day",
    "strontium": "1.0 mg/L/day",
    "iodine": "10 ug/L/day",
    "nitrate": "1 mg/L/day",
    "phosphate": "0.02 mg/L/day",
    "carbon": "0.15 mmol/L/day",
}

# Stands for the water of a tank that could not be read: what is written can be judged.
UNKNOWN_UL = 1

ItemT = TypeVar("ItemT")
ReadT = TypeVar("ReadT")

# Names the system gives to whatever zone it stands in: not the same everywhere.
_NO_ZONES = frozenset({"localtime", "Factory", "posixrules"})
_ABBREVIATION = re.compile("[A-Za-z]{2,5}")


def tank_from(identity: str, table: TankTable, findings: Findings) -> Tank | None:
    """The tank, None when it cannot be read; only good when nothing was noted."""
    reader = _TankReader(identity=identity, table=table, findings=findings)
    return reader.tank()


def target_of(identity: str, table: TankTable, parameter: str) -> float | None:
    """Where a parameter should stand; None when nowhere, or what stands is refused."""
    findings = Findings("")
    reader = _TankReader(identity=identity, table=table, findings=findings)
    return (findings.judge(reader.targets) or {}).get(parameter)


def outside_from(
    identity: str, table: OutsideTable, tank: Tank | None, findings: Findings
) -> Outside | None:
    """The outside source, or None with everything wrong noted."""
    return findings.judge(partial(_outside, identity, table, tank, findings))


def _outside(
    identity: str, table: OutsideTable, tank: Tank | None, findings: Findings
) -> Outside | None:
    place = f"[outside.{identity}]"
    amounts = Amounts(parameter=table.parameter, findings=findings)
    if not amounts.is_dosed(f"{place} parameter"):
        return None
    net_ul = UNKNOWN_UL if tank is None else tank.net_ul
    pico = amounts.daily(f"{place} per_day", table.per_day, net_ul)
    if pico is None or tank is None:
        return None
    return Outside(
        id=identity,
        tank=table.tank,
        parameter=table.parameter,
        per_day=math.ceil(pico),
        line=table.line or "",
        volume_ul=table.volume,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _TankReader:
    identity: str
    table: TankTable
    findings: Findings

    def tank(self) -> Tank | None:
        """The tank, None when it cannot be read; only good when nothing was noted."""
        table, judge = self.table, self.findings.judge
        judge(self._check_zone)
        targets = judge(self.targets) or {}
        caps = self._each("caps", self._cap)
        uptake = self._each("uptake", self._uptake)
        bands = self._each("bands", self._band)
        return judge(
            lambda: Tank(
                id=self.identity,
                name=table.name or self.identity,
                net_ul=table.net_volume,
                zone=table.zone,
                targets=targets,
                caps=caps,
                uptake=uptake,
                turnover_s=self._turnover_s(),
                bands=bands,
            )
        )

    def _each(
        self, key: str, read: Callable[[str, ItemT], ReadT | None]
    ) -> dict[str, ReadT]:
        """What `read` makes of each item of a key, with everything wrong noted."""
        judge = self.findings.judge
        items = sorted((judge(partial(attrgetter(key), self.table)) or {}).items())
        found = ((name, judge(partial(read, name, item))) for name, item in items)
        return {name: value for name, value in found if value is not None}

    def _check_zone(self) -> None:
        _check_zone(f"[tank.{self.identity}] zone", self.table.zone, self.findings)

    def _amounts(self, parameter: str) -> Amounts:
        return Amounts(parameter=parameter, findings=self.findings)

    def targets(self) -> dict[str, float]:
        """Where each parameter should stand, without what was refused."""
        targets = {}
        for parameter, text in sorted(self.table.targets.items()):
            place = f"[tank.{self.identity}] targets.{parameter}"
            amounts = self._amounts(parameter)
            if not amounts.is_known(place):
                continue
            value = amounts.level(place, text)
            if value is not None:
                targets[parameter] = value
        alkalinity = targets.get(ALKALINITY)
        self.findings.judge(partial(self._check_alkalinity, alkalinity))
        return targets

    def _check_alkalinity(self, target: float | None) -> None:
        amounts = self._amounts(ALKALINITY)
        low = amounts.level("", LOWEST_TARGET)
        high = amounts.level("", HIGHEST_TARGET)
        if target is None or low is None or high is None:
            return
        if not (low <= target <= high or self.table.target_reason.strip()):
            self.findings.add(
                f"[tank.{self.identity}] targets.{ALKALINITY}",
                f"the target {self.table.targets[ALKALINITY]} is unusual",
                f"{LOWEST_TARGET} to {HIGHEST_TARGET}, or a reason in target_reason",
                "Mend the figure, or write the reason down.",
            )

    def _cap(self, parameter: str, item: CapTable) -> EffectCap | None:
        place = f"[tank.{self.identity}.caps] {parameter}"
        amounts = self._amounts(parameter)
        if not amounts.is_dosed(place):
            return None
        read = partial(self._part, parameter, place, item)
        gross, net_rise = read("gross"), read("net_rise")
        ceiling = self._daily(parameter, "", HIGHEST_NET_RISE.get(parameter))
        if net_rise is not None and ceiling is not None and net_rise > ceiling:
            self.findings.add(
                f"{place}.net_rise",
                f"{shown(item.net_rise)} is faster than animals stand",
                f"at most {HIGHEST_NET_RISE[parameter]}",
                "Plan the rise over more days.",
            )
        if gross is None or (net_rise is None and item.net_rise is not None):
            return None
        return EffectCap(
            gross=math.floor(gross),
            net_rise=None if net_rise is None else math.floor(net_rise),
        )

    def _uptake(self, parameter: str, item: UptakeTable) -> Uptake | None:
        place = f"[tank.{self.identity}.uptake] {parameter}"
        if not self._amounts(parameter).is_dosed(place):
            return None
        read = partial(self._part, parameter, place, item)
        estimate, low = read("estimate"), read("low")
        if estimate is None or low is None:
            return None
        if low > estimate:
            self.findings.add(
                f"{place}.low",
                f"{shown(item.low)} is more than the estimate {shown(item.estimate)}",
                "at most the estimate",
                "Swap the two or mend one.",
            )
        return Uptake(estimate=math.floor(estimate), low=math.floor(low))

    def _band(self, parameter: str, item: BandTable) -> TraceLimits | None:
        place = f"[tank.{self.identity}.bands] {parameter}"
        amounts = self._amounts(parameter)
        if not amounts.is_trace(place):
            return None
        watch, act = (
            self.findings.judge(partial(_level, amounts, place, item, key))
            for key in ("watch", "act")
        )
        if watch is None or act is None:
            return None
        if not 0 < watch < act:
            self.findings.add(
                f"{place}.act",
                f"act {shown(item.act)} is not above watch {shown(item.watch)}",
                "watch above nothing, and act above watch",
                "Swap the two or mend one.",
            )
        return TraceLimits(watch=watch, act=act)

    def _part(
        self, parameter: str, place: str, item: CapTable | UptakeTable, key: str
    ) -> Fraction | None:
        """The figure of one key of an item, or None with what is wrong noted."""
        return self.findings.judge(
            lambda: self._daily(parameter, f"{place}.{key}", getattr(item, key))
        )

    def _daily(self, parameter: str, place: str, text: str | None) -> Fraction | None:
        if text is None:
            return None
        net_ul = self.findings.judge(lambda: self.table.net_volume) or UNKNOWN_UL
        return self._amounts(parameter).daily(place, text, net_ul)

    def _turnover_s(self) -> float:
        flow_nl_per_s = self.table.return_flow
        if flow_nl_per_s is None:
            return 0.0
        turned_nl = TURNS_BETWEEN * self.table.net_volume * 1_000
        return float(Fraction(turned_nl, flow_nl_per_s))


def _level(amounts: Amounts, place: str, item: BandTable, key: str) -> float | None:
    return amounts.level(f"{place}.{key}", getattr(item, key))


def _check_zone(place: str, zone: str, findings: Findings) -> None:
    if zone not in _NO_ZONES:
        try:
            zoneinfo.ZoneInfo(zone)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            pass
        else:
            return
    known = zoneinfo.available_timezones() - _NO_ZONES
    findings.add(
        place,
        f"the time zone {shown(zone)} is unknown",
        'a zone of the time-zone table, like "Europe/Berlin"',
        f"{_zone_hint(zone, known)}Use the zone the tank stands in.",
    )


def _zone_hint(zone: str, known: Collection[str]) -> str:
    """What was probably meant; of an abbreviation nothing is guessed.

    The nearest spelling of PST is MST, which is another hour.
    """
    same = [name for name in known if name.casefold() == zone.casefold()]
    if same:
        return f'Did you mean "{min(same)}"? '
    if _ABBREVIATION.fullmatch(zone):
        return (
            "An abbreviation is no zone, for it knows no summer time: a zone is named "
            'like "Europe/Vienna". '
        )
    return suggestion(zone, known)
