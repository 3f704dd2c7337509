"""How fast a level may be moved, and how much of it one dose may bring.

Floor 1. One subject: limits of correcting. Laws here: a limit is for the net rise of
the water, not for what is poured in; what is not in the table moves by a share of its
target. All figures are common practice, no source.
Units: canonical levels of `water.parameters`, per day or per dose.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS

# A parameter without a row: shares of its target.
_RISE_SHARE = 0.10
_RISE_CEILING_SHARE = 0.30
_DOSE_SHARE = 0.05
# Inside this share of its target an element is where it should be.
_DEAD_SHARE = 0.02
# Longer ramps are no ramps but another target.
LONGEST_RAMP_DAYS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of one parameter.

    `rise_per_day` is the default net rise and `rise_ceiling` the most anyone may
    configure; `per_dose` what one dose may bring; `dead_band` the distance from the
    target inside which nothing is corrected; `tau_days` the time over which a
    difference is made good at the fastest; `fresh_days` how long a value counts,
    from sampling.
    """

    rise_per_day: float
    rise_ceiling: float
    per_dose: float
    dead_band: float
    tau_days: float
    fresh_days: float


# One degree is 10 mg/L of CaO, of two equivalents.
_MEQ_PER_L_IN_DKH = float(2 * 10 / molar_mass("CaO"))


def _dkh(degrees: float) -> float:
    return degrees * _MEQ_PER_L_IN_DKH


# Rise a day, ceiling of it, one dose, dead-band, time constant, shelf life.
_ROWS: Mapping[str, tuple[float, float, float, float, float, float]] = {
    "alkalinity": (_dkh(0.5), _dkh(1.0), _dkh(0.2), _dkh(0.15), 7, 3),
    "calcium": (15, 40, 5, 10, 30, 14),
    "magnesium": (40, 100, 20, 30, 30, 30),
    "potassium": (8, 20, 4, 10, 14, 45),
    "strontium": (0.3, 1.0, 0.15, 0.5, 14, 45),
    "iodine": (3, 10, 1, 5, 14, 30),
    "nitrate": (1, 1, 0.5, 0.5, 7, 7),
    "phosphate": (0.02, 0.02, 0.01, 0.01, 7, 7),
}
# One dose of alkalinity by what carries it: caustic moves the pH most.
ALKALINITY_PER_DOSE: Mapping[str, float] = {
    "hydroxide": _dkh(0.1),
    "carbonate": _dkh(0.2),
    "bicarbonate": _dkh(0.3),
}
_TRACE_FRESH_DAYS = 45


def limits_of(parameter: str, target: float) -> Limits:
    """The limits of a parameter that stands at a target.

    Range: target above 0, canonical. Raises: KeyError for an unknown parameter.
    Source: common practice, no source.
    """
    row = _ROWS.get(PARAMETERS[parameter].id)
    if row is None:
        row = (
            _RISE_SHARE * target,
            _RISE_CEILING_SHARE * target,
            _DOSE_SHARE * target,
            _DEAD_SHARE * target,
            14,
            _TRACE_FRESH_DAYS,
        )
    rise, ceiling, dose, dead, tau, fresh = row
    return Limits(
        rise_per_day=rise,
        rise_ceiling=ceiling,
        per_dose=dose,
        dead_band=dead,
        tau_days=tau,
        fresh_days=fresh,
    )
