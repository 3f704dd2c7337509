"""Salinity, density and what a litre of sea water weighs.

Floor 1. One subject: sea water at the pressure of the air. Laws here: temperatures are
ITS-90 outside and turned into IPTS-68 for the formulas that were fitted to it; a number
outside the range of a formula is refused.
Source: Fofonoff and Millard 1983, UNESCO Technical Papers in Marine Science 44 (PSS-78
and EOS-80 at one atmosphere); C(35, 15, 0) = 42.914 mS/cm from Culkin and Smith 1980;
reference salinity from Millero et al. 2008.
"""

from collections.abc import Callable, Mapping
from math import sqrt

from slackwater.water.ranges import refused, within

# Conductivity of standard sea water at S = 35, 15 degC (IPTS-68) and no pressure.
CONDUCTIVITY_35_15_MS_PER_CM = 42.914
REFERENCE_SALINITY_35_GRAMS_PER_KG = 35.16504
STANDARD_SALINITY = 35.0

# What instruments are marked with: temperatures of sample and reference water, degC.
REFERENCE_PAIRS: Mapping[str, tuple[float, float]] = {
    "25/25": (25.0, 25.0),
    "20/20": (20.0, 20.0),
    "60F/60F": (140 / 9, 140 / 9),
    "20/4": (20.0, 4.0),
}

_SALINITY = (2.0, 42.0)
_TEMPERATURE_CELSIUS = (-2.0, 35.0)
_SPECIFIC_GRAVITY = (1.000, 1.040)
_CONDUCTIVITY_MS_PER_CM = (5.0, 75.0)

_RATIO_T = (0.6766097, 2.00564e-2, 1.104259e-4, -6.9698e-7, 1.0031e-9)
_SALINITY_A = (0.0080, -0.1692, 25.3851, 14.0941, -7.0261, 2.7081)
_SALINITY_B = (0.0005, -0.0056, -0.0066, -0.0375, 0.0636, -0.0144)
_SALINITY_K = 0.0162

_WATER = (999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9)
_DENSITY_B = (8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9)
_DENSITY_C = (-5.72466e-3, 1.0227e-4, -1.6546e-6)
_DENSITY_D = 4.8314e-4

# Far below what any instrument resolves.
_STEP = 1e-9


def salinity_pss1978(ratio: float, ipts68_celsius: float) -> float:
    """Practical salinity from a conductivity ratio at the pressure of the air.

    Range: temperature -2..35 degC, result 2..42.
    Raises: OutOfRangeError outside it.
    Source: UNESCO 44, equations 1 to 4 with p = 0.
    """
    within("the temperature", ipts68_celsius, _TEMPERATURE_CELSIUS, "degC")
    within("the conductivity ratio", ratio, (0.0, 5.0), "")
    salinity = _salinity_unchecked(ratio, ipts68_celsius)
    return within("the salinity", salinity, _SALINITY, "")


def salinity_from_conductivity(ms_per_cm: float, celsius: float) -> float:
    """Practical salinity from the conductivity at its own temperature.

    Units: mS/cm as it is, or as compensated to 25 degC together with 25; degC ITS-90.
    Range: 5..75 mS/cm.
    Raises: OutOfRangeError outside it.
    """
    within("the conductivity", ms_per_cm, _CONDUCTIVITY_MS_PER_CM, "mS/cm")
    ratio = ms_per_cm / CONDUCTIVITY_35_15_MS_PER_CM
    return salinity_pss1978(ratio, _ipts68(celsius))


def conductivity_from_salinity(salinity: float, celsius: float) -> float:
    """Conductivity in mS/cm of sea water at a temperature, ITS-90.

    Raises: OutOfRangeError outside S 2..42 or -2..35 degC.
    """
    within("the salinity", salinity, _SALINITY, "")
    warm = within("the temperature", _ipts68(celsius), _TEMPERATURE_CELSIUS, "degC")
    ratio = _solved(lambda trial: _salinity_unchecked(trial, warm), salinity, 3.0)
    return ratio * CONDUCTIVITY_35_15_MS_PER_CM


def density_eos1980(salinity: float, celsius: float) -> float:
    """Density of sea water at one atmosphere, in kg per cubic metre.

    Range: S 0..42, -2..40 degC (ITS-90).
    Raises: OutOfRangeError outside it.
    Source: UNESCO 44, equations 13 to 15.
    """
    within("the salinity", salinity, (0.0, 42.0), "")
    within("the temperature", celsius, (-2.0, 40.0), "degC")
    warm = _ipts68(celsius)
    return (
        _series(_WATER, warm)
        + _series(_DENSITY_B, warm) * salinity
        + _series(_DENSITY_C, warm) * salinity * sqrt(salinity)
        + _DENSITY_D * salinity * salinity
    )


def specific_gravity(salinity: float, pair: str) -> float:
    """Density of sea water over that of pure water, for the pair of an instrument.

    Raises: OutOfRangeError for an unknown pair or a salinity outside 0..42.
    """
    sample_celsius, reference_celsius = _pair(pair)
    sample = density_eos1980(salinity, sample_celsius)
    return sample / density_eos1980(0.0, reference_celsius)


def salinity_from_specific_gravity(gravity: float, pair: str) -> float:
    """Practical salinity from a specific gravity and the pair of the instrument.

    Range: 1.000..1.040, result 2..42.
    Raises: OutOfRangeError outside it or for an unknown pair.
    """
    within("the specific gravity", gravity, _SPECIFIC_GRAVITY, "")
    salinity = _solved(lambda trial: specific_gravity(trial, pair), gravity, 42.0)
    return within("the salinity", salinity, _SALINITY, "")


def per_litre(per_kg: float, salinity: float, celsius: float) -> float:
    """A content per litre of sea water from one per kilogram (ppm or ppb by mass).

    Raises: OutOfRangeError as `density_eos1980`.
    """
    return per_kg * density_eos1980(salinity, celsius) / 1000


def per_kg(per_litre: float, salinity: float, celsius: float) -> float:
    """A content per kilogram of sea water from one per litre.

    Raises: OutOfRangeError as `density_eos1980`.
    """
    return per_litre * 1000 / density_eos1980(salinity, celsius)


def normalised(level: float, salinity: float) -> float:
    """A level as it would be at S = 35, for ions that keep their proportion.

    Range: S 2..42. Raises: OutOfRangeError outside it.
    Source: constancy of composition (Marcet, Dittmar).
    """
    within("the salinity", salinity, _SALINITY, "")
    return level * STANDARD_SALINITY / salinity


def reference_salinity_millero2008(salinity: float) -> float:
    """Reference salinity in g/kg of a practical salinity, 2..42.

    Raises: OutOfRangeError outside it.
    """
    within("the salinity", salinity, _SALINITY, "")
    return salinity * REFERENCE_SALINITY_35_GRAMS_PER_KG / STANDARD_SALINITY


def _salinity_unchecked(ratio: float, ipts68_celsius: float) -> float:
    root = sqrt(ratio / _series(_RATIO_T, ipts68_celsius))
    warmth = ipts68_celsius - 15
    share = warmth / (1 + _SALINITY_K * warmth)
    return _series(_SALINITY_A, root) + share * _series(_SALINITY_B, root)


def _solved(rising: Callable[[float], float], wanted: float, highest: float) -> float:
    low, high = 0.0, highest
    while high - low > _STEP:
        middle = (low + high) / 2
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _pair(pair: str) -> tuple[float, float]:
    if pair in REFERENCE_PAIRS:
        return REFERENCE_PAIRS[pair]
    raise refused(
        what=f"found the reference pair {pair[:60]!r}",
        expected=f"one of {', '.join(REFERENCE_PAIRS)}",
        advice="Read it off the instrument; a wrong one costs up to 2 of salinity.",
    )


def _ipts68(celsius: float) -> float:
    return celsius * 1.00024


def _series(factors: tuple[float, ...], number: float) -> float:
    total = 0.0
    for factor in reversed(factors):
        total = total * number + factor
    return total
