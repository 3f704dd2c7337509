"""Turns tables whose units depend on a parameter into records.

Floor 6. One subject: tanks, probes and outside sources. Laws here: what may be added
is rounded down and what is added anyway is rounded up; a figure outside what the
parameter can be is refused; ranges of common practice need a typed reason to leave.
"""

import math
import zoneinfo
from dataclasses import dataclass
from fractions import Fraction

from slackwater.facts.tank import (
    EffectCap,
    Outside,
    Probe,
    Tank,
    TraceLimits,
    Uptake,
)
from slackwater.outside.settings.amounts import Amounts
from slackwater.outside.settings.input_model import ProbeTable
from slackwater.outside.settings.inputs import pointer_of
from slackwater.outside.settings.machine_model import (
    BandTable,
    CapTable,
    OutsideTable,
    TankTable,
    UptakeTable,
)
from slackwater.outside.settings.quantities import plain_number
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

# Equal readings of less than this are ordinary; alkalinity goes by chance alone. A
# heated tank and its salt stand still for hours (common practice, no source).
DAY_S = 86_400.0
FROZEN_AFTER_S = {ALKALINITY: 0.0, "ph": 6 * 3600.0}

# Names the system gives to whatever zone it stands in: not the same everywhere.
_NO_ZONES = frozenset({"localtime", "Factory", "posixrules"})


def tank_from(identity: str, table: TankTable, findings: Findings) -> Tank:
    """The tank; only good when nothing was noted."""
    reader = _TankReader(identity=identity, table=table, findings=findings)
    return reader.tank()


def probe_from(identity: str, table: ProbeTable, findings: Findings) -> Probe | None:
    """The probe, or None with everything wrong noted."""
    place = f"[probe.{identity}]"
    amounts = Amounts(parameter=table.parameter, findings=findings)
    if not amounts.is_known(f"{place} parameter"):
        return None
    linear = amounts.linear(f"{place} unit", table.unit)
    resolution = amounts.span(f"{place} resolution", table.resolution)
    low: float | None
    high: float | None
    low, high = amounts.plausible()
    if table.low is not None:
        low = amounts.level(f"{place} low", table.low)
    if table.high is not None:
        high = amounts.level(f"{place} high", table.high)
    scale = findings.attempt(f"{place} scale", lambda: plain_number(table.scale))
    if linear is None or resolution is None or scale is None:
        return None
    if low is None or high is None:
        return None
    _check_scale(place, table, findings)
    if not low < high:
        findings.add(
            f"{place} low", "low is not below high", "low below high", "Swap the two."
        )
    return Probe(
        id=identity,
        tank=table.tank,
        parameter=table.parameter,
        unit=table.unit,
        scale=linear[0] * float(scale),
        offset=linear[1],
        period_s=table.period,
        resolution=resolution,
        low=low,
        high=high,
        topic=table.topic or "",
        pointer=pointer_of(table.topic, table.pointer),
        frozen_after_s=(
            FROZEN_AFTER_S.get(table.parameter, DAY_S)
            if table.frozen_after is None
            else table.frozen_after
        ),
    )


def _check_scale(place: str, table: ProbeTable, findings: Findings) -> None:
    mapped = table.topic is not None or table.pointer is not None
    if table.scale != ProbeTable.model_fields["scale"].default and not mapped:
        findings.add(
            f"{place} scale",
            "a scale is given for the payload of the contract",
            "a topic or a pointer beside it",
            "Take scale out: the contract's payload carries its own unit.",
        )


def outside_from(
    identity: str, table: OutsideTable, tank: Tank | None, findings: Findings
) -> Outside | None:
    """The outside source, or None with everything wrong noted."""
    place = f"[outside.{identity}]"
    amounts = Amounts(parameter=table.parameter, findings=findings)
    if tank is None or not amounts.is_dosed(f"{place} parameter"):
        return None
    pico = amounts.daily(f"{place} per_day", table.per_day, tank.net_ul)
    if pico is None:
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

    def tank(self) -> Tank:
        """The tank; only good when nothing was noted."""
        table = self.table
        _check_zone(f"[tank.{self.identity}] zone", table.zone, self.findings)
        return Tank(
            id=self.identity,
            name=table.name or self.identity,
            net_ul=table.net_volume,
            zone=table.zone,
            targets=self._targets(),
            caps={
                parameter: cap
                for parameter, item in sorted(table.caps.items())
                if (cap := self._cap(parameter, item)) is not None
            },
            uptake={
                parameter: uptake
                for parameter, item in sorted(table.uptake.items())
                if (uptake := self._uptake(parameter, item)) is not None
            },
            turnover_s=self._turnover_s(),
            bands={
                parameter: band
                for parameter, item in sorted(table.bands.items())
                if (band := self._band(parameter, item)) is not None
            },
        )

    def _amounts(self, parameter: str) -> Amounts:
        return Amounts(parameter=parameter, findings=self.findings)

    def _targets(self) -> dict[str, float]:
        targets = {}
        for parameter, text in sorted(self.table.targets.items()):
            place = f"[tank.{self.identity}] targets.{parameter}"
            amounts = self._amounts(parameter)
            if not amounts.is_known(place):
                continue
            value = amounts.level(place, text)
            if value is not None:
                targets[parameter] = value
        self._check_alkalinity(targets.get(ALKALINITY))
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
        gross = self._daily(parameter, f"{place}.gross", item.gross)
        net_rise = self._daily(parameter, f"{place}.net_rise", item.net_rise)
        ceiling = self._daily(parameter, "", HIGHEST_NET_RISE.get(parameter))
        if net_rise is not None and ceiling is not None and net_rise > ceiling:
            self.findings.add(
                f"{place}.net_rise",
                f"{shown(item.net_rise)} is faster than animals stand",
                f"at most {HIGHEST_NET_RISE[parameter]}",
                "Plan the rise over more days.",
            )
        if gross is None:
            return None
        return EffectCap(
            gross=math.floor(gross),
            net_rise=None if net_rise is None else math.floor(net_rise),
        )

    def _uptake(self, parameter: str, item: UptakeTable) -> Uptake | None:
        place = f"[tank.{self.identity}.uptake] {parameter}"
        if not self._amounts(parameter).is_dosed(place):
            return None
        estimate = self._daily(parameter, f"{place}.estimate", item.estimate)
        low = self._daily(parameter, f"{place}.low", item.low)
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
        watch = amounts.level(f"{place}.watch", item.watch)
        act = amounts.level(f"{place}.act", item.act)
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

    def _daily(self, parameter: str, place: str, text: str | None) -> Fraction | None:
        if text is None:
            return None
        return self._amounts(parameter).daily(place, text, self.table.net_volume)

    def _turnover_s(self) -> float:
        flow_nl_per_s = self.table.return_flow
        if flow_nl_per_s is None:
            return 0.0
        turned_nl = TURNS_BETWEEN * self.table.net_volume * 1_000
        return float(Fraction(turned_nl, flow_nl_per_s))


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
        f"{suggestion(zone, known)}Use the zone the tank stands in.",
    )
