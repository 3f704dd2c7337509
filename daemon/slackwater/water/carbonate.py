"""Constants of the carbonate system in sea water, one function per published formula.

Floor 1. One subject: equilibrium constants and totals. Laws here: every constant is on
the total scale in mol per kg of sea water unless its name says otherwise; a formula is
never used outside the range it was fitted to.
Units: salinity practical, temperature in degrees Celsius, pressure of the air.
Source: each function names its own; collected and checked in Dickson, Sabine and
Christian 2007, Guide to best practices for ocean CO2 measurements (the guide below).
"""

from math import exp, log, log10, sqrt

from slackwater.water.ranges import within

# Where the constants of Lueker et al. 2000 were measured, the narrowest of all.
SALINITY_RANGE = (19.0, 43.0)
CELSIUS_RANGE = (2.0, 35.0)

_ZERO_CELSIUS_KELVIN = 273.15
_STANDARD_SALINITY = 35.0
# Chlorinity from salinity: Wooster, Lee and Dietrich 1969.
_SALINITY_PER_CHLORINITY = 1.80655
_GAS_CONSTANT_CM3_BAR = 83.14462618
_ONE_ATMOSPHERE_BAR = 1.01325

_BORATE_UPPSTROM_UMOL_PER_KG = 415.7
_BORATE_LEE_UMOL_PER_KG = 432.6
_CALCIUM_PER_CHLORINITY = 0.02128 / 40.087
_SULFATE_PER_CHLORINITY = 0.14 / 96.062
_FLUORIDE_PER_CHLORINITY = 6.7e-5 / 18.998


def kelvin(celsius: float) -> float:
    """The temperature on the absolute scale.

    Range: 2..35 degC. Raises: OutOfRangeError outside it.
    """
    within("the temperature", celsius, CELSIUS_RANGE, "degC")
    return celsius + _ZERO_CELSIUS_KELVIN


def ionic_strength_dickson2007(salinity: float) -> float:
    """Ionic strength in mol per kg of water.

    Range: S 19..43. Raises: OutOfRangeError outside it. Source: the guide, chapter 5.
    """
    within("the salinity", salinity, SALINITY_RANGE)
    return 19.924 * salinity / (1000 - 1.005 * salinity)


def first_dissociation_lueker2000(salinity: float, celsius: float) -> float:
    """K1 of carbonic acid.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Lueker, Dickson and Keeling 2000, Marine Chemistry 70:105.
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    pk = 3633.86 / t - 61.2172 + 9.67770 * log(t) - 0.011555 * s + 0.0001152 * s * s
    return float(10**-pk)


def second_dissociation_lueker2000(salinity: float, celsius: float) -> float:
    """K2 of carbonic acid.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Lueker, Dickson and Keeling 2000, Marine Chemistry 70:105.
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    pk = 471.78 / t + 25.9290 - 3.16967 * log(t) - 0.01781 * s + 0.0001122 * s * s
    return float(10**-pk)


def borate_dissociation_dickson1990(salinity: float, celsius: float) -> float:
    """KB of boric acid.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Dickson 1990, Deep-Sea Research 37:755.
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    root = sqrt(s)
    over_t = -8966.90 - 2890.53 * root - 77.942 * s + 1.728 * s * root - 0.0996 * s * s
    steady = 148.0248 + 137.1942 * root + 1.62142 * s
    with_log = -(24.4344 + 25.085 * root + 0.2474 * s) * log(t)
    return exp(over_t / t + steady + with_log + 0.053105 * root * t)


def water_dissociation_millero1995(salinity: float, celsius: float) -> float:
    """KW of water, in mol^2 per kg^2.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Millero 1995, Geochimica et Cosmochimica Acta 59:661, on the total scale as
    in the guide.
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    pure = -13847.26 / t + 148.9652 - 23.6521 * log(t)
    salty = (118.67 / t - 5.977 + 1.0495 * log(t)) * sqrt(s) - 0.01615 * s
    return exp(pure + salty)


def sulfate_dissociation_dickson1990(salinity: float, celsius: float) -> float:
    """KS of the bisulfate ion, on the free scale.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Dickson 1990, Journal of Chemical Thermodynamics 22:113.
    """
    t = kelvin(celsius)
    i = ionic_strength_dickson2007(salinity)
    root = sqrt(i)
    logarithm = (
        -4276.1 / t
        + 141.328
        - 23.093 * log(t)
        + (-13856 / t + 324.57 - 47.986 * log(t)) * root
        + (35474 / t - 771.54 + 114.723 * log(t)) * i
        - 2698 / t * i * root
        + 1776 / t * i * i
    )
    return exp(logarithm) * (1 - 0.001005 * salinity)


def fluoride_dissociation_dickson1979(salinity: float, celsius: float) -> float:
    """KF of hydrogen fluoride, on the free scale.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Dickson and Riley 1979, Marine Chemistry 7:89.
    """
    t = kelvin(celsius)
    root = sqrt(ionic_strength_dickson2007(salinity))
    return exp(1590.2 / t - 12.641 + 1.525 * root) * (1 - 0.001005 * salinity)


def co2_solubility_weiss1974(salinity: float, celsius: float) -> float:
    """K0 of carbon dioxide, in mol per kg and atmosphere.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Weiss 1974, Marine Chemistry 2:203.
    """
    t = kelvin(celsius) / 100
    s = within("the salinity", salinity, SALINITY_RANGE)
    pure = 93.4517 / t - 60.2409 + 23.3585 * log(t)
    return exp(pure + s * (0.023517 - 0.023656 * t + 0.0047036 * t * t))


def fugacity_coefficient_weiss1974(celsius: float) -> float:
    """The fugacity of carbon dioxide over its partial pressure, in air.

    Range: 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Weiss 1974, Marine Chemistry 2:203, at one atmosphere.
    """
    t = kelvin(celsius)
    pure = -1636.75 + 12.0408 * t - 0.0327957 * t**2 + 3.16528e-5 * t**3
    mixed = 57.7 - 0.118 * t
    return exp((pure + 2 * mixed) * _ONE_ATMOSPHERE_BAR / (_GAS_CONSTANT_CM3_BAR * t))


def aragonite_solubility_mucci1983(salinity: float, celsius: float) -> float:
    """Stoichiometric solubility product of aragonite, in mol^2 per kg^2.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Mucci 1983, American Journal of Science 283:780 (S 5..44, 5..40 degC).
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    pure = -171.945 - 0.077993 * t + 2903.293 / t + 71.595 * log10(t)
    salty = (-0.068393 + 0.0017276 * t + 88.135 / t) * sqrt(s)
    return float(10 ** (pure + salty - 0.10018 * s + 0.0059415 * s * sqrt(s)))


def calcite_solubility_mucci1983(salinity: float, celsius: float) -> float:
    """Stoichiometric solubility product of calcite, in mol^2 per kg^2.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Mucci 1983, American Journal of Science 283:780 (S 5..44, 5..40 degC).
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    pure = -171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log10(t)
    salty = (-0.77712 + 0.0028426 * t + 178.34 / t) * sqrt(s)
    return float(10 ** (pure + salty - 0.07711 * s + 0.0041249 * s * sqrt(s)))


def activity_factor_takahashi1982(salinity: float, celsius: float) -> float:
    """What turns hydrogen on the seawater scale into that on the buffer (NBS) scale.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Takahashi, Williams and Bos 1982, GEOSECS Pacific Expedition 3, chapter 3.
    """
    t = kelvin(celsius)
    s = within("the salinity", salinity, SALINITY_RANGE)
    return 1.2948 - 0.002036 * t + (0.0004607 - 0.000001475 * t) * s * s


def total_borate_uppstrom1974(salinity: float) -> float:
    """Total boron in mol per kg.

    Range: S 19..43. Raises: OutOfRangeError outside it.
    Source: Uppstrom 1974, Deep-Sea Research 21:161.
    """
    return _in_proportion(salinity, _BORATE_UPPSTROM_UMOL_PER_KG)


def total_borate_lee2010(salinity: float) -> float:
    """Total boron in mol per kg, 4 percent more than Uppstrom found.

    Range: S 19..43. Raises: OutOfRangeError outside it.
    Source: Lee et al. 2010, Geochimica et Cosmochimica Acta 74:1801.
    """
    return _in_proportion(salinity, _BORATE_LEE_UMOL_PER_KG)


def total_calcium_riley1967(salinity: float) -> float:
    """Calcium of natural sea water in mol per kg.

    Range: S 19..43. Raises: OutOfRangeError outside it.
    Source: Riley and Tongudai 1967, Chemical Geology 2:263.
    """
    return _CALCIUM_PER_CHLORINITY * _chlorinity(salinity)


def total_sulfate_morris1966(salinity: float) -> float:
    """Sulfate of natural sea water in mol per kg.

    Range: S 19..43. Raises: OutOfRangeError outside it.
    Source: Morris and Riley 1966, Deep-Sea Research 13:699.
    """
    return _SULFATE_PER_CHLORINITY * _chlorinity(salinity)


def total_fluoride_riley1965(salinity: float) -> float:
    """Fluoride of natural sea water in mol per kg.

    Range: S 19..43. Raises: OutOfRangeError outside it.
    Source: Riley 1965, Deep-Sea Research 12:219.
    """
    return _FLUORIDE_PER_CHLORINITY * _chlorinity(salinity)


def _chlorinity(salinity: float) -> float:
    return within("the salinity", salinity, SALINITY_RANGE) / _SALINITY_PER_CHLORINITY


def _in_proportion(salinity: float, umol_per_kg: float) -> float:
    within("the salinity", salinity, SALINITY_RANGE)
    return umol_per_kg * 1e-6 * salinity / _STANDARD_SALINITY
