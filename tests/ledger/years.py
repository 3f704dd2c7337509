"""Invented days of dosing, as a daemon writes them, for histories short and long."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from slackwater.facts.events import (
    AnyEvent,
    DoseEnded,
    DoseHanded,
    DoseIntended,
    DoseTaken,
    ReadingKept,
)
from slackwater.facts.messages import RunPump
from slackwater.facts.plan import DueDose
from tests.ledger.samples import Clocks

FIRST_DAY = date(2026, 3, 1)
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)
DOSE_UL = 1000
# What a millilitre adds, pico-units for the tank; twelve parameters over eight pumps.
PER_UL = {
    "carbonate": {"alkalinity": 1_887_010, "sodium": 43_380_000},
    "calcium": {"calcium": 136_310_000, "chloride": 241_000_000},
    "magnesium": {"magnesium": 51_000_000, "chloride": 148_000_000, "sulphate": 9_000},
    "potassium": {"potassium": 52_440_000},
    "strontium": {"strontium": 11_000_000},
    "iodine": {"iodine": 76_000},
    "trace": {"iron": 1_000, "manganese": 900},
    "nitrate": {"nitrate": 61_330_000},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Household:
    """Pumps that dose so often a day, and probes that are read every half hour."""

    pumps: tuple[str, ...] = ("carbonate", "calcium")
    doses: int = 4
    probes: tuple[str, ...] = ("kh",)
    tank: str = "reef"
    reading_every: timedelta = timedelta(minutes=30)


def begin_of(day: date) -> datetime:
    """Midnight UTC."""
    return datetime.combine(day, time(), UTC)


def stamped(at: datetime) -> Clocks:
    """Clocks that all go on alike since the first day."""
    passed_s = (at - begin_of(FIRST_DAY)).total_seconds()
    return {"at": at, "boot_s": 100.0 + passed_s, "proven_ms": int(passed_s * 1000)}


def attempt_of(pump: str, at: datetime) -> str:
    """The identity of the run of a pump at a moment."""
    return f"{pump:x<12}{int(at.timestamp()):020x}"


def intent(
    pump: str, at: datetime, *, tank: str = "reef", in_water: bool = True
) -> DoseIntended:
    """One dose about to be commanded."""
    ordinal = (at.hour * 60 + at.minute) * 60 + at.second
    dose = DueDose(
        id=f"{tank}/{pump}@{at.date().isoformat()}#{ordinal:05}",
        line=pump,
        tank=tank,
        pump=pump,
        local_day=at.date(),
        ordinal=ordinal,
        due_at=at,
        latest_at=at + 15 * MINUTE,
        volume_ul=DOSE_UL,
    )
    effects = {name: per_ul * DOSE_UL for name, per_ul in PER_UL[pump].items()}
    return DoseIntended(
        **stamped(at),
        dose=dose,
        dose_kind="plan" if in_water else "calibrate",
        command=RunPump(
            node="shelf",
            channel="a",
            attempt=attempt_of(pump, at),
            boot="9e1b7c2d9e1b7c2d",
            n=7,
            fence=3,
            ul=DOSE_UL,
            ms=1210,
            cut_ms=1400,
            until_up=131_456,
            cal="77aa01cf",
        ),
        planned_ul=DOSE_UL,
        solution=pump,
        local_day=at.date(),
        odo_ul=12_000,
        flow_end_ms=stamped(at)["proven_ms"] + 10_000,
        effects=effects if in_water else {},
        planned_effects=effects if in_water else {},
        in_water=in_water,
        serial=2,
    )


def end_of(pump: str, at: datetime, believed_ul: int = DOSE_UL) -> DoseEnded:
    """The report that comes two seconds after the intent."""
    return DoseEnded(
        **stamped(at + timedelta(seconds=2)),
        attempt=attempt_of(pump, at),
        how="full",
        believed_ul=believed_ul,
        charge_ul=max(DOSE_UL, believed_ul),
        source="reported",
        ran_ms=1207,
    )


def given(pump: str, at: datetime, tank: str = "reef") -> Iterator[AnyEvent]:
    """A dose from its intent to its end, as most are."""
    yield intent(pump, at, tank=tank)
    attempt = attempt_of(pump, at)
    yield DoseHanded(**stamped(at), attempt=attempt, certain=True)
    yield DoseTaken(**stamped(at), attempt=attempt)
    yield end_of(pump, at)


def read(probe: str, at: datetime, value: float, tank: str = "reef") -> ReadingKept:
    """One kept reading of alkalinity, a second after it was taken."""
    return ReadingKept(
        **stamped(at + timedelta(seconds=1)),
        tank=tank,
        probe=probe,
        parameter="alkalinity",
        value=value,
        taken_at=at,
    )


def day_of(household: Household, day: date) -> list[AnyEvent]:
    """Everything a daemon writes on a day, in order of time."""
    begin, found = begin_of(day), list[AnyEvent]()
    for number, pump in enumerate(household.pumps):
        for ordinal in range(household.doses):
            at = begin + ordinal * (DAY / household.doses) + (1 + number) * MINUTE
            found.extend(given(pump, at, household.tank))
    for probe in household.probes:
        for ordinal in range(int(DAY / household.reading_every)):
            at = begin + ordinal * household.reading_every
            found.append(read(probe, at, 2.8 + 0.01 * (ordinal % 7), household.tank))
    return sorted(found, key=lambda event: event.at)
