"""What practice expects of each parameter, as one table.

Floor 3. One subject: bands, test errors and shelf lives. Laws here: a band of something
that the sea has is a factor of nature and says so; alkalinity is a managed value; all
figures are common practice rounded to nature, no laboratory's printed range.
Units: canonical levels; days; errors as standard deviations.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.assessment.records import Band
from slackwater.assessment.trace_bands import is_trace, trace_band
from slackwater.facts.tank import Tank
from slackwater.water.limits import limits_of
from slackwater.water.nature import NORMALISED
from slackwater.water.nutrients import CARBON_CAP
from slackwater.water.parameters import PARAMETERS, parameter_named
from slackwater.water.spellings import units_of

PRACTICE = "common practice, no source"
ALKALINITY = "alkalinity"
SALINITY = "salinity"
MEQ_PER_L_IN_DKH = float(units_of(PARAMETERS[ALKALINITY])["dKH"])

# Keep their proportion to salinity, so that C * 35 / S is what is judged.
CONSERVATIVE = NORMALISED
# Used up in every reef, dosed or not.
CONSUMED = (ALKALINITY, "calcium", "magnesium")
# What every tank is asked for.
CORE = (
    *(ALKALINITY, SALINITY, "temperature", "calcium", "magnesium", "nitrate"),
    *("phosphate", "potassium", "ph"),
)

_FACTORS: Mapping[str, tuple[float, float]] = {
    "calcium": (0.95, 1.07),
    "magnesium": (0.95, 1.07),
    "potassium": (0.93, 1.03),
    "strontium": (0.85, 1.25),
    "iodine": (0.8, 1.15),
    "sodium": (0.95, 1.05),
    "chloride": (0.95, 1.05),
    "sulfate": (0.9, 1.1),
    "bromide": (0.8, 1.2),
    "boron": (0.8, 1.3),
    "fluoride": (0.75, 1.25),
    "molybdenum": (0.7, 1.5),
}
_BOUNDS: Mapping[str, tuple[float, float]] = {
    ALKALINITY: (7.5 * MEQ_PER_L_IN_DKH, 9.0 * MEQ_PER_L_IN_DKH),
    SALINITY: (34.0, 36.0),
    "temperature": (23.0, 28.0),
    "ph": (7.8, 8.5),
    "nitrate": (1.0, 10.0),
    "phosphate": (0.02, 0.10),
}
# A stated target outside the band carries a band of its own.
_AROUND_TARGET_DKH = 0.5

# Dosing of it ends above.
_STOPS: Mapping[str, float] = {
    "calcium": 500.0,
    "magnesium": 1550.0,
    "potassium": 450.0,
    "strontium": 14.0,
    "iodine": 90.0,
}
_STOP_ABOVE_TARGET_DKH = 1.5
_STOP_AT_MOST_DKH = 12.0
_USUAL_TARGET_DKH = 8.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Danger:
    """Levels beyond which a person must look at once; None for no such side."""

    below: float | None = None
    above: float | None = None


DANGERS: Mapping[str, Danger] = {
    ALKALINITY: Danger(below=6.0 * MEQ_PER_L_IN_DKH, above=12.0 * MEQ_PER_L_IN_DKH),
    "calcium": Danger(below=360.0, above=500.0),
    "magnesium": Danger(below=1150.0, above=1550.0),
    "potassium": Danger(below=350.0, above=450.0),
    "strontium": Danger(above=15.0),
    "iodine": Danger(above=120.0),
    SALINITY: Danger(below=32.0, above=37.5),
    "temperature": Danger(below=21.0, above=29.5),
    "ph": Danger(below=7.5, above=8.65),
}

# Standard deviation of one test at home: of the reading, and a share of it.
_HOME: Mapping[str, tuple[float, float]] = {
    ALKALINITY: (0.15 * MEQ_PER_L_IN_DKH, 0.0),
    "calcium": (10.0, 0.0),
    "magnesium": (30.0, 0.0),
    "potassium": (10.0, 0.0),
    "strontium": (0.5, 0.0),
    "iodine": (5.0, 0.0),
    SALINITY: (0.3, 0.0),
    "temperature": (0.3, 0.0),
    "ph": (0.05, 0.0),
    "nitrate": (0.5, 0.1),
    "phosphate": (0.01, 0.1),
}
_HOME_SHARE = 0.1
# No test is better than this, however well its readings agree.
_FLOORS: Mapping[str, float] = {ALKALINITY: 0.05 * MEQ_PER_L_IN_DKH}
# A laboratory's error as a share of its result.
_LABORATORY_SHARES: Mapping[str, float] = {"major": 0.03, "alkalinity": 0.03}
_LABORATORY_SHARE = 0.1
_SMALL_MAJORS = frozenset({"strontium", "bromide", "boron", "fluoride"})
_SMALL_SHARE = 0.05
_STATE_SD: Mapping[str, float] = {SALINITY: 0.5, "ph": 0.1, "temperature": 1.0}

# What is not in the table of correcting: the states change with the hour.
_SHELF_DAYS: Mapping[str, float] = {SALINITY: 14.0, "temperature": 2.0, "ph": 2.0}


def shelf_days(parameter: str) -> float:
    """How long a value counts, in days from sampling."""
    days = _SHELF_DAYS.get(parameter)
    return limits_of(parameter, 1.0).fresh_days if days is None else days


def band_of(parameter: str, tank: Tank) -> Band | None:
    """Where practice wants a parameter; None where there is no opinion."""
    natural = parameter_named(parameter, where="").natural
    factors = _FACTORS.get(parameter)
    if factors is not None and natural is not None:
        low, high = (factor * natural for factor in factors)
        return Band(low=low, high=high, factors=factors, source=PRACTICE)
    bounds = _BOUNDS.get(parameter)
    if bounds is None:
        return None
    low, high = bounds
    target = tank.targets.get(parameter, low)
    if parameter == ALKALINITY and not low <= target <= high:
        around = _AROUND_TARGET_DKH * MEQ_PER_L_IN_DKH
        low, high = target - around, target + around
    return Band(low=low, high=high, source=PRACTICE)


def usual_target(tank: Tank) -> float:
    """Where alkalinity should be; a usual value where nobody said so."""
    return tank.targets.get(ALKALINITY, _USUAL_TARGET_DKH * MEQ_PER_L_IN_DKH)


def stop_above(parameter: str, tank: Tank) -> float | None:
    """The level above which dosing of a parameter ends; None where there is none."""
    if parameter != ALKALINITY:
        return _STOPS.get(parameter)
    return min(
        usual_target(tank) + _STOP_ABOVE_TARGET_DKH * MEQ_PER_L_IN_DKH,
        _STOP_AT_MOST_DKH * MEQ_PER_L_IN_DKH,
    )


def headroom(parameter: str) -> float:
    """How far a level lies, where it usually is, below the one that is too much.

    Range: above 0. Of carbon, which has no level, the most a day.
    """
    if parameter == ALKALINITY:
        return _STOP_ABOVE_TARGET_DKH * MEQ_PER_L_IN_DKH
    natural = parameter_named(parameter, where="").natural or 0.0
    if parameter in _STOPS:
        return _STOPS[parameter] - natural
    if parameter in _FACTORS:
        return (_FACTORS[parameter][1] - 1.0) * natural
    if parameter in _BOUNDS:
        return _BOUNDS[parameter][1] - natural
    if is_trace(parameter):
        return trace_band(parameter, None).act - natural
    return natural or CARBON_CAP


def home_sd(parameter: str, value: float) -> float:
    """The standard deviation of one test at home, where none is stated."""
    absolute, share = _HOME.get(parameter, (0.0, _HOME_SHARE))
    return max(absolute, share * value, floor_sd(parameter))


def floor_sd(parameter: str) -> float:
    """The smallest standard deviation that is believed of one test."""
    natural = parameter_named(parameter, where="").natural or 0.0
    return _FLOORS.get(parameter, 0.005 * natural)


def laboratory_sd(parameter: str, value: float, limit: float | None) -> float:
    """The standard deviation of a laboratory's result, where none is stated.

    A result near the quantification limit is good to a third of the limit.
    """
    stated = _STATE_SD.get(parameter)
    if stated is not None:
        return stated
    share = _LABORATORY_SHARES.get(
        parameter_named(parameter, where="").kind, _LABORATORY_SHARE
    )
    if parameter in _SMALL_MAJORS:
        share = _SMALL_SHARE
    return max(share * value, (limit or 0.0) / 3, floor_sd(parameter))
