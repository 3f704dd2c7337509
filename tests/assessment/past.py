"""Pieces of an invented tank's past, in whatever unit a test thinks in.

All figures are invented: 300 litres, soda and calcium chloride dosed by the hour.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import exp
from random import Random

from slackwater.facts.history import Delivery, History
from slackwater.facts.tank import (
    EffectCap,
    Machine,
    Node,
    Outside,
    Pump,
    Reservoir,
    Solution,
    Tank,
    Uptake,
)
from slackwater.facts.waters import (
    MeasurementKept,
    Provenance,
    ReportImported,
    StandardChecked,
    WaterChanged,
)
from slackwater.water.parameters import PARAMETERS

NOW = datetime(2026, 6, 1, 20, tzinfo=UTC)
DKH = 0.35665246
LITRES = 300
HOURS = 24


def pico(parameter: str, level: float) -> int:
    """What moves the whole tank by a level, pico-units."""
    return round(level * LITRES * PARAMETERS[parameter].pico_per_unit)


def machine(
    *,
    targets: Mapping[str, float] | None = None,
    uptake: Mapping[str, tuple[float, float]] | None = None,
    outside: Mapping[str, float] | None = None,
    dosed: Sequence[str] = ("alkalinity", "calcium"),
) -> Machine:
    """A machine with one tank and a pump for each dosed parameter."""
    tank = Tank(
        id="reef",
        name="Invented",
        net_ul=LITRES * 10**6,
        zone="UTC",
        targets=targets or {},
        caps={name: EffectCap(gross=10**15) for name in dosed},
        uptake={
            name: Uptake(estimate=pico(name, best), low=pico(name, low))
            for name, (best, low) in (uptake or {}).items()
        },
    )
    return Machine(
        site="invented",
        tanks={"reef": tank},
        solutions={
            name: Solution(id=name, name=name, effects={name: 10**6}) for name in dosed
        },
        reservoirs={name: Reservoir(id=name, content_ul=10**7) for name in dosed},
        nodes={"shelf": Node(id="shelf", day_limit_ul=10**7, cut_limit_ms=60_000)},
        pumps={
            name: Pump(
                id=name,
                tank="reef",
                node="shelf",
                channel=name,
                solution=name,
                reservoir=name,
                rate_nl_per_s=10**6,
                smallest_dose_ul=100,
            )
            for name in dosed
        },
        outside=tuple(
            Outside(
                id=f"out-{name}",
                tank="reef",
                parameter=name,
                per_day=pico(name, per_day),
            )
            for name, per_day in (outside or {}).items()
        ),
    )


def ago(days: float) -> datetime:
    """A moment so many days before now."""
    return NOW - timedelta(days=days)


def measured(
    parameter: str,
    value: float,
    days_ago: float,
    provenance: Provenance = "hand",
    **other: object,
) -> MeasurementKept:
    """One measurement; other fields as given."""
    taken = ago(days_ago)
    given: dict[str, object] = {
        "at": taken,
        "boot_s": 0.0,
        "proven_ms": 0,
        "id": f"{parameter}-{provenance}-{days_ago:g}",
        "tank": "reef",
        "parameter": parameter,
        "value": value,
        "typed": f"{value:g}",
        "taken_at": taken,
        "provenance": provenance,
        "by": "keeper",
        "method": "drops" if provenance == "hand" else "",
    }
    return MeasurementKept(**{**given, **other})  # type: ignore[arg-type]  # any field


def standard(
    parameter: str, expected: float, found: float, days_ago: float, lot: str = ""
) -> StandardChecked:
    """A kit tried on a standard."""
    return StandardChecked(
        at=ago(days_ago),
        boot_s=0.0,
        proven_ms=0,
        id=f"standard-{parameter}-{days_ago:g}",
        parameter=parameter,
        method="drops",
        lot=lot,
        expected=expected,
        found=found,
        taken_at=ago(days_ago),
        by="keeper",
    )


def report(
    days_ago: float,
    levels: Mapping[str, float],
    *,
    limits: Mapping[str, float] | None = None,
    unseen: Iterable[str] = (),
) -> tuple[ReportImported, tuple[MeasurementKept, ...]]:
    """A laboratory's report with its values; `unseen` are below their limit."""
    name = f"report-{days_ago:g}"
    imported = ReportImported(
        at=ago(days_ago),
        boot_s=0.0,
        proven_ms=0,
        report=name,
        tank="reef",
        sample=name,
        file="invented.csv",
        sampled_at=ago(days_ago),
        values=len(levels),
        by="keeper",
        laboratory="Invented laboratory",
        limits=limits or {},
    )
    values = tuple(
        measured(
            parameter,
            value,
            days_ago,
            "lab",
            report=name,
            sample=name,
            censored=parameter in set(unseen),
        )
        for parameter, value in levels.items()
    )
    return imported, values


def change(
    days_ago: float,
    litres: float,
    levels: Mapping[str, float] | None = None,
    **other: object,
) -> WaterChanged:
    """A water change."""
    given: dict[str, object] = {
        "at": ago(days_ago),
        "boot_s": 0.0,
        "proven_ms": 0,
        "id": f"change-{days_ago:g}",
        "tank": "reef",
        "changed_at": ago(days_ago),
        "volume_ul": round(litres * 10**6),
        "by": "keeper",
        "levels": levels or {},
    }
    return WaterChanged(**{**given, **other})  # type: ignore[arg-type]  # any field


def deliveries(per_day: Mapping[str, float], days: float) -> tuple[Delivery, ...]:
    """The same every hour for so many days back from now."""
    hours = round(days * HOURS)
    return tuple(
        Delivery(
            at=ago((hours - hour) / HOURS),
            amounts={
                name: pico(name, level / HOURS) for name, level in per_day.items()
            },
        )
        for hour in range(hours)
    )


def history(*measurements: MeasurementKept, **parts: object) -> History:
    """A past of a year with these measurements in the order of their time."""
    ordered = tuple(sorted(measurements, key=lambda one: (one.taken_at, one.id)))
    given: dict[str, object] = {
        "tank": "reef",
        "since": ago(365),
        "until": NOW,
        "measurements": ordered,
    }
    return History(**{**given, **parts})  # type: ignore[arg-type]  # any field


def with_report(
    past: History, *reports: tuple[ReportImported, tuple[MeasurementKept, ...]]
) -> History:
    """The past with laboratory reports in it."""
    values = [value for _, found in reports for value in found]
    return replace(
        past,
        reports=tuple(
            sorted((one for one, _ in reports), key=lambda one: one.sampled_at)
        ),
        measurements=tuple(
            sorted(
                [*past.measurements, *values], key=lambda one: (one.taken_at, one.id)
            )
        ),
    )


def level_after(
    days: float, uptake_dkh: float, dose_dkh: float, begin_dkh: float = 8.2
) -> float:
    """Alkalinity after some days, where the uptake at 8.2 dKH ends at 3.

    Source: one box, dA/dt = d - U (A - 3) / 5.2, solved.
    """
    span = 8.2 - 3.0
    if not uptake_dkh:
        return begin_dkh + dose_dkh * days
    end = 3.0 + span * dose_dkh / uptake_dkh
    return end + (begin_dkh - end) * exp(-uptake_dkh / span * days)


def kept_tank(
    uptake_dkh: float = 1.2,
    dose_dkh: float = 1.2,
    *,
    days: int = 28,
    every: float = 2.0,
    sd_dkh: float = 0.08,
    seed: int = 1,
) -> History:
    """Alkalinity tests of a tank with a steady dose, from 8.2 dKH on.

    The uptake is that at 8.2, the usual target; it falls with the level.
    """
    chance = Random(seed)  # noqa: S311 -- a simulation, no secret
    found, at = [], float(days)
    while at >= 0:
        level = level_after(days - at, uptake_dkh, dose_dkh) + chance.gauss(0, sd_dkh)
        found.append(measured("alkalinity", level * DKH, at))
        at -= every
    return history(
        *found, deliveries=deliveries({"alkalinity": dose_dkh * DKH}, days + 1)
    )
