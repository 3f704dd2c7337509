"""Saturation and carbon dioxide, where pH, salinity and temperature are known.

Floor 3. One subject: the carbonate system of a tank. Laws here: shown with its error
and never dosed on; nothing is computed from a guess: without one of its inputs there is
none; a probe set with buffers reads on the NBS scale, and that is said.
"""

from math import hypot

from slackwater.assessment.picture import Picture
from slackwater.assessment.practice import ALKALINITY, SALINITY
from slackwater.assessment.records import CarbonateState
from slackwater.errors import OutOfRangeError
from slackwater.water.carbonate_system import (
    PROBE_SD_PH,
    Carbonates,
    Scale,
    Water,
    from_alkalinity_and_ph,
    umol_per_kg,
)
from slackwater.water.masses import molar_mass

PH = "ph"
TEMPERATURE = "temperature"
CALCIUM = "calcium"
# What probes and tests at home are set with: common practice, no source.
SCALE: Scale = "NBS"


def carbonate_state(picture: Picture) -> CarbonateState | None:
    """The state now; None where an input is missing, too old or out of range."""
    inputs = [picture.fresh(name) for name in (ALKALINITY, PH, SALINITY, TEMPERATURE)]
    alkalinity, ph, salinity, celsius = inputs
    if alkalinity is None or ph is None or salinity is None or celsius is None:
        return None
    calcium = picture.fresh(CALCIUM)
    try:
        water = _water(salinity, celsius, calcium)
        found = _solved(alkalinity, ph, water)
        upper = _solved(alkalinity, ph + PROBE_SD_PH, water)
        richer = _solved(alkalinity + _sd(picture, ALKALINITY), ph, water)
    except OutOfRangeError:
        return None
    omega_sd = hypot(
        upper.omega_aragonite - found.omega_aragonite,
        richer.omega_aragonite - found.omega_aragonite,
        0.0 if not calcium else _sd(picture, CALCIUM) / calcium * found.omega_aragonite,
    )
    pco2_sd = hypot(
        upper.pco2_uatm - found.pco2_uatm, richer.pco2_uatm - found.pco2_uatm
    )
    return CarbonateState(
        omega=found.omega_aragonite,
        omega_sd=omega_sd,
        pco2_uatm=found.pco2_uatm,
        pco2_sd_uatm=pco2_sd,
        ph=ph,
        ph_scale=SCALE,
        ph_total=found.ph_total,
        alkalinity=alkalinity,
        salinity=salinity,
        celsius=celsius,
        calcium_measured=calcium is not None,
    )


def _solved(alkalinity: float, ph: float, water: Water) -> Carbonates:
    return from_alkalinity_and_ph(umol_per_kg(alkalinity, water), ph, SCALE, water)


def _water(salinity: float, celsius: float, calcium: float | None) -> Water:
    plain = Water(salinity=salinity, celsius=celsius)
    if calcium is None:
        return plain
    mmol_per_litre = calcium / float(molar_mass("Ca"))
    return Water(
        salinity=salinity,
        celsius=celsius,
        calcium_mmol_per_kg=mmol_per_litre / plain.kg_per_litre,
    )


def _sd(picture: Picture, parameter: str) -> float:
    return picture.standings[parameter].level_sd or 0.0
