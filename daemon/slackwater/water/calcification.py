"""What calcification and its replacement do to calcium, salts and salinity.

Floor 1. One subject: the balance of calcifying. Laws here: calcium that moves unlike
alkalinity is told, never mended by a dose; a matched pair leaves salt behind, and that
is counted.
Units: alkalinity in meq/L, calcium in mg/L, sea salt in g per kg of water.
Source: Ca2+ + 2 HCO3- = CaCO3 + CO2 + H2O; molar masses from `masses`; each
calibration names its own.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import hypot, inf, sqrt

from slackwater.water.masses import molar_mass
from slackwater.water.ranges import above_zero, finite, within
from slackwater.water.seawater import density_eos1980, reference_salinity_millero2008
from slackwater.water.stoichiometry import calcified, salt_left_behind_mg

CALCIUM_MG_PER_MEQ = float(calcified(Fraction(1)).calcium)
CARBONATE_MG_PER_MEQ = float(molar_mass("CaCO3") / 2)
# Beyond it a wrong stock, a wrong test, nitrogen or a precipitate is likely.
COHERENCE_SDS = 3.0
DAYS_PER_YEAR = 365.25
# A conductivity probe shows more of the salt left behind than there is: computed with a
# speciation program (PHREEQC).
PROBE_EXCESS = 0.03

_SEA_CELSIUS = (15.0, 32.0)
_EXTENSION = (2.3, 12.6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Coherence:
    """Calcium beside alkalinity: what was expected to fall, and how far it is off."""

    expected_calcium: float
    z: float

    @property
    def holds(self) -> bool:
        """Whether both may be true; False asks a person to look."""
        return abs(self.z) <= COHERENCE_SDS


def coherence(
    calcium_fall: float,
    alkalinity_fall: float,
    *,
    calcium_sd: float,
    alkalinity_sd: float,
) -> Coherence:
    """Whether calcium fell as alkalinity did.

    Units: falls between two tests, below 0 for a rise, with what was added between them
    put to the fall; errors of single tests. Range: errors above 0.
    Raises: OutOfRangeError outside it or for numbers not finite.
    Source: z = (dCa - k dA) / sqrt(2 s_Ca^2 + 2 (k s_A)^2).
    """
    finite("the fall of calcium", calcium_fall)
    expected = CALCIUM_MG_PER_MEQ * finite("the fall of alkalinity", alkalinity_fall)
    spread = hypot(
        above_zero("the error of calcium", calcium_sd),
        CALCIUM_MG_PER_MEQ * above_zero("the error of alkalinity", alkalinity_sd),
    )
    z = (calcium_fall - expected) / (sqrt(2) * spread)
    return Coherence(expected_calcium=expected, z=z)


def alkalinity_to_see(calcium_sd: float) -> float:
    """The alkalinity used up before a calcium test says anything.

    Units: meq/L for the error of one calcium test. Range: above 0.
    Raises: OutOfRangeError outside it.
    Source: two standard deviations of a difference of two tests.
    """
    above_zero("the error of calcium", calcium_sd)
    return 2 * sqrt(2) * calcium_sd / CALCIUM_MG_PER_MEQ


def strontium_per_calcium_swart2002(celsius: float) -> float:
    """Strontium a coral takes up, in mmol per mol of calcium.

    Range: 15..32 degC. Raises: OutOfRangeError outside it.
    Source: Swart, Elderfield and Greaves 2002, Geochemistry Geophysics Geosystems 3,
    Montastraea annularis: 10.165 - 0.0471 t.
    """
    return 10.165 - 0.0471 * within("the temperature", celsius, _SEA_CELSIUS, "degC")


def strontium_per_calcium_saenger2008(
    celsius: float, extension_mm_per_year: float
) -> float:
    """Strontium a coral takes up, by how fast it grows, in mmol per mol of calcium.

    Range: 15..32 degC, extension 2.3..12.6 mm a year, as measured.
    Raises: OutOfRangeError outside it.
    Source: Saenger, Cohen, Oppo and Hubbard 2008, Paleoceanography 23, PA3102,
    Montastrea: 11.82 - 0.058 e - 0.092 t.
    """
    warmth = within("the temperature", celsius, _SEA_CELSIUS, "degC")
    growth = within("the extension", extension_mm_per_year, _EXTENSION, "mm a year")
    return 11.82 - 0.058 * growth - 0.092 * warmth


def sea_salt_grams_per_litre(salinity: float, celsius: float) -> float:
    """Sea salt in a litre of water.

    Range: S 2..42, -2..40 degC. Raises: OutOfRangeError outside it.
    Source: Millero et al. 2008 for the salt, EOS-80 for the litre.
    """
    density = density_eos1980(salinity, celsius) / 1000
    return reference_salinity_millero2008(salinity) * density


def salt_gain_grams_per_litre(uptake_meq: float, days: float) -> float:
    """Sodium chloride that a matched pair leaves, in grams per litre.

    Units: uptake a day. Range: both 0 or more. Raises: OutOfRangeError outside it.
    Source: one NaCl an equivalent.
    """
    within("the uptake", uptake_meq, (0.0, inf), "meq/L a day")
    within("the time", days, (0.0, inf), "days")
    milligrams = float(salt_left_behind_mg(Fraction(uptake_meq)))
    return milligrams / 1000 * days


def salinity_gain_grams_per_kg(
    uptake_meq: float, days: float, *, salinity: float, celsius: float
) -> float:
    """How far salinity climbs by a matched pair at a constant volume, in g/kg.

    Range: as `salt_gain_grams_per_litre` and `sea_salt_grams_per_litre`.
    Raises: OutOfRangeError outside it.
    """
    density = density_eos1980(salinity, celsius) / 1000
    return salt_gain_grams_per_litre(uptake_meq, days) / density


def fresh_water_share_per_day(
    uptake_meq: float, *, salinity: float, celsius: float
) -> float:
    """The part of the water to swap daily for fresh water against that climb.

    Shape: it takes potassium, magnesium, strontium and bromide with it: replace them,
    or change water instead.
    Range: as `salinity_gain_grams_per_kg`. Raises: OutOfRangeError outside it.
    Source: salt left behind over the sea salt in the same litre.
    """
    gain = salt_gain_grams_per_litre(uptake_meq, 1.0)
    return gain / sea_salt_grams_per_litre(salinity, celsius)
