"""Thresholds of one tank beside those on alkalinity, and the switches that watch it.

Floor 2. One subject: what the operator said of inputs that may only block. Laws here:
every threshold has a default, and the default is the safe one; an input can hold or
shorten a dose and never ask for one.
Units: levels canonical (meq/L, mg/L, degC, 1 for pH and salinity), times seconds,
volumes whole microlitres.
Source: common practice, no source, except where a line names one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Literal

Role = Literal[
    "return-pump",
    "level",
    "leak",
    "feeding",
    "hands",
    "skimmer",
    "air",
    "power",
    "top-off",
]
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """Something that is on or off, or counts: a float, a leak detector, a button.

    `normal_on` is its state when all is well. `topic` empty and `pointer` None: it
    speaks as the contract says; else `pointer` (RFC 6901) leads to the word or figure,
    and `on` and `off` are the words it uses. `pump` is the pump a power sensor sits at.
    Units: `period_s` expected time between messages; `grace_s` how long beyond that its
    last word still counts; `hold_at_least_s` how long it must be well before doses go
    on; `unit_ul` microlitres in one unit of a counter, 0 for a switch.
    """

    id: str
    tank: str
    role: Role
    normal_on: bool
    on: tuple[str, ...] = ("on",)
    off: tuple[str, ...] = ("off",)
    topic: str = ""
    pointer: str | None = None
    pump: str = ""
    period_s: float = 300.0
    grace_s: float = 900.0
    hold_at_least_s: float = 60.0
    unit_ul: int = 0

    @property
    def silent_s(self) -> float:
        """Seconds of silence after which its state is unknown: twice what is usual.

        Never for a button that speaks only when it is pressed: its period is nought.
        """
        return 2.0 * self.period_s + self.grace_s if self.period_s else inf


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterLimits:
    """When pH, temperature, salinity and what else is watched hold or shorten doses.

    `back` is how far a value must come back before a hold ends, `spread` what two
    probes may differ by, `against_test` what a probe may differ from a hand test.
    Salinity is compared with the target, 35 where there is none. pH as read by a probe
    calibrated with NBS buffers. `good_readings` in a row over `hold_at_least_s` end a
    hold. `drift_stops` is how far the levels of a bottle may be from what its pumps are
    believed to have given, as a share.
    """

    ph_hydroxide: float = 8.50
    ph_carbonate: float = 8.60
    ph_back: float = 0.05
    ph_rise_per_hour: float = 0.2
    ph_rise_after_dose: float = 0.1
    ph_spread: float = 0.2
    ph_against_test: float = 0.3
    temperature_warm: float = 29.5
    temperature_hot: float = 32.0
    temperature_cool: float = 21.0
    temperature_cold: float = 18.0
    temperature_back: float = 0.5
    temperature_spread: float = 1.0
    temperature_against_test: float = 1.0
    salinity_off: float = 1.0
    salinity_far: float = 3.0
    salinity_back: float = 0.2
    salinity_spread: float = 1.0
    salinity_against_test: float = 1.0
    alkalinity_against_test: float = 0.249657
    good_readings: int = 3
    hold_at_least_s: float = 3600.0
    top_off_factor: float = 1.5
    calibration_ends_s: float = 180 * DAY_S
    drift_stops: float = 0.20
    nitrate_least: float = 1.0
    phosphate_least: float = 0.02

    def spread(self, parameter: str) -> float | None:
        """What two probes of a parameter may differ by; None where nothing is said."""
        found: float | None = getattr(self, f"{parameter}_spread", None)
        return found

    def against_test(self, parameter: str) -> float | None:
        """What a probe may differ from a hand test; None where nothing is said."""
        found: float | None = getattr(self, f"{parameter}_against_test", None)
        return found


# What holds for a tank of which nothing was said.
LIMITS = WaterLimits()
# Target of salinity where the operator named none (natural sea water, PSS-78).
SALINITY = 35.0


def limits_of(limits: Mapping[str, WaterLimits], tank: str) -> WaterLimits:
    """The thresholds of a tank; the defaults where nothing was said of it."""
    return limits.get(tank, LIMITS)
