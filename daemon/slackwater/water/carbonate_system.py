"""Solves the carbonate system: pH, saturation and carbon dioxide of tank water.

Floor 1. One subject: the carbonate system. Laws here: a pH names its scale, because the
two in use differ by 0.14; nothing is ever dosed on a saturation, which a probe shows to
9 percent at best; what lies outside the ranges is refused.
Units: alkalinity and carbon in µmol per kg of water, carbon dioxide in µatm.
Source: constants and totals in `carbonate`, each named there; the acids of sulfate and
fluoride hold less than 0.02 µmol/kg at the pH of a reef and are left out.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import log10
from typing import Literal

from slackwater.water import carbonate
from slackwater.water.ranges import above_zero, refused, within
from slackwater.water.seawater import density_eos1980

Scale = Literal["NBS", "total"]
Base = Literal["carbonate", "bicarbonate", "hydroxide"]

# What one equivalent of a base brings along, in moles of inorganic carbon.
CARBON_PER_EQUIVALENT: dict[Base, float] = {
    "carbonate": 0.5,
    "bicarbonate": 1.0,
    "hydroxide": 0.0,
}
# A probe is no better, in pH; common practice, no source.
PROBE_SD_PH = 0.05

_ALKALINITY_MEQ_PER_LITRE = (1.0, 8.0)
_PH_MEASURED = (7.0, 9.0)
_PH_SOLVED = (3.0, 12.0)
_CO2_UATM = (50.0, 10_000.0)
_UMOL = 1e6
_STEP_PH = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """What the constants depend on.

    Units: practical salinity; degrees Celsius; calcium in mmol per kg, None for that of
    natural sea water. Range: S 19..43, 2..35 degC.
    """

    salinity: float
    celsius: float
    calcium_mmol_per_kg: float | None = None

    @property
    def kg_per_litre(self) -> float:
        """Density."""
        return density_eos1980(self.salinity, self.celsius) / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Carbonates:
    """The solved system. Report saturations and carbon dioxide to two digits only.

    Units: µmol per kg, µatm; `ph_nbs` is what a probe set with buffers shows.
    """

    alkalinity: float
    dissolved_inorganic_carbon: float
    carbonate: float
    ph_total: float
    ph_nbs: float
    omega_aragonite: float
    omega_calcite: float
    fco2_uatm: float
    pco2_uatm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OmegaRange:
    """A saturation with what one standard deviation of the pH makes of it."""

    omega: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Constants:
    k0: float
    k1: float
    k2: float
    kb: float
    kw: float
    borate: float


def from_alkalinity_and_ph(
    alkalinity: float, ph: float, scale: Scale, water: Water
) -> Carbonates:
    """The system from what a keeper measures.

    Range: alkalinity of 1 to 8 meq/L, pH 7.0 to 9.0 on the scale stated.
    Raises: OutOfRangeError outside it.
    """
    _check_alkalinity(alkalinity, water)
    within("the pH", ph, _PH_MEASURED, advice="Check the probe and its scale.")
    return _solved(alkalinity, ph_total(ph, scale, water), water)


def from_alkalinity_and_carbon(
    alkalinity: float, carbon: float, water: Water
) -> Carbonates:
    """The system from alkalinity and dissolved inorganic carbon.

    Range: alkalinity of 1 to 8 meq/L, carbon above 0; the pH lies in 3..12.
    Raises: OutOfRangeError outside it.
    """
    _check_alkalinity(alkalinity, water)
    return _from_carbon(alkalinity, carbon, water)


def at_carbon_dioxide(alkalinity: float, pco2_uatm: float, water: Water) -> Carbonates:
    """The system once it stands in balance with air.

    Units: partial pressure of carbon dioxide in the air. Range: 50 to 10 000 µatm,
    alkalinity of 1 to 8 meq/L. Raises: OutOfRangeError outside it.
    """
    _check_alkalinity(alkalinity, water)
    within("the carbon dioxide", pco2_uatm, _CO2_UATM, "µatm")
    ph = _root(
        lambda trial: _solved(alkalinity, trial, water).pco2_uatm, pco2_uatm, _PH_SOLVED
    )
    return _solved(alkalinity, ph, water)


def after_addition(
    before: Carbonates, added_meq_per_litre: float, base: Base, water: Water
) -> Carbonates:
    """The system after a base came in, before any gas leaves or anything falls out.

    Range: an addition of 0 or more that leaves the pH below 12.
    Raises: OutOfRangeError outside it.
    Source: dA = x, dDIC = x/2 of carbonate, x of bicarbonate, 0 of hydroxide.
    """
    added = within("the addition", added_meq_per_litre, (0.0, 20.0), "meq/L")
    umol_per_kg = 1000 * added / water.kg_per_litre
    return _from_carbon(
        before.alkalinity + umol_per_kg,
        before.dissolved_inorganic_carbon + umol_per_kg * CARBON_PER_EQUIVALENT[base],
        water,
    )


def omega_range(
    alkalinity: float, ph: float, scale: Scale, water: Water, *, ph_sd: float
) -> OmegaRange:
    """Aragonite saturation with the error that the pH brings.

    Range: as `from_alkalinity_and_ph`; `ph_sd` counts as 0.05 at least.
    Raises: OutOfRangeError outside it.
    """
    spread = max(above_zero("the error of the pH", ph_sd), PROBE_SD_PH)
    omega = from_alkalinity_and_ph(alkalinity, ph, scale, water).omega_aragonite
    exact = ph_total(ph, scale, water)
    low, high = (
        _solved(alkalinity, exact + side, water).omega_aragonite
        for side in (-spread, spread)
    )
    return OmegaRange(omega=omega, low=low, high=high)


def ph_total(ph: float, scale: Scale, water: Water) -> float:
    """A pH on the total scale.

    Raises: OutOfRangeError for a scale that is not stated, S or temperature.
    """
    if scale not in ("NBS", "total"):
        raise refused(
            what=f"found the pH scale {str(scale)[:60]!r}",
            expected="NBS (a probe set with buffers) or total",
            advice="State the scale; guessing it costs a quarter of the saturation.",
        )
    return ph if scale == "total" else ph - nbs_above_total(water)


def nbs_above_total(water: Water) -> float:
    """How far a pH on the NBS scale lies above the same on the total scale.

    Range: S 19..43, 2..35 degC. Raises: OutOfRangeError outside it.
    Source: Takahashi et al. 1982 for the activity, sulfate and fluoride as in
    `carbonate`; electrodes differ by a few hundredths.
    """
    salinity, celsius = water.salinity, water.celsius
    sulfate = carbonate.total_sulfate_morris1966(
        salinity
    ) / carbonate.sulfate_dissociation_dickson1990(salinity, celsius)
    fluoride = carbonate.total_fluoride_riley1965(
        salinity
    ) / carbonate.fluoride_dissociation_dickson1979(salinity, celsius)
    total_per_seawater = (1 + sulfate) / (1 + sulfate + fluoride)
    activity = carbonate.activity_factor_takahashi1982(salinity, celsius)
    return log10(total_per_seawater / activity)


def umol_per_kg(meq_per_litre: float, water: Water) -> float:
    """Alkalinity per kilogram from the canonical unit of this project.

    Raises: OutOfRangeError for salinity or temperature.
    """
    return 1000 * meq_per_litre / water.kg_per_litre


def _check_alkalinity(alkalinity: float, water: Water) -> None:
    within(
        "the alkalinity",
        alkalinity * water.kg_per_litre / 1000,
        _ALKALINITY_MEQ_PER_LITRE,
        "meq/L",
    )


def _constants(water: Water) -> _Constants:
    salinity, celsius = water.salinity, water.celsius
    return _Constants(
        k0=carbonate.co2_solubility_weiss1974(salinity, celsius),
        k1=carbonate.first_dissociation_lueker2000(salinity, celsius),
        k2=carbonate.second_dissociation_lueker2000(salinity, celsius),
        kb=carbonate.borate_dissociation_dickson1990(salinity, celsius),
        kw=carbonate.water_dissociation_millero1995(salinity, celsius),
        borate=carbonate.total_borate_uppstrom1974(salinity),
    )


def _carbon_alkalinity(alkalinity: float, hydrogen: float, k: _Constants) -> float:
    """The part of alkalinity that carbon carries, in mol per kg."""
    borate = k.borate * k.kb / (k.kb + hydrogen)
    return alkalinity / _UMOL - borate - k.kw / hydrogen + hydrogen


def _carbon(alkalinity: float, ph: float, k: _Constants) -> float:
    h = 10**-ph
    carried = _carbon_alkalinity(alkalinity, h, k)
    return carried * _species(h, k) / (k.k1 * h + 2 * k.k1 * k.k2)


def _species(hydrogen: float, k: _Constants) -> float:
    return hydrogen * hydrogen + k.k1 * hydrogen + k.k1 * k.k2


def _solved(alkalinity: float, ph: float, water: Water) -> Carbonates:
    k = _constants(water)
    h = 10**-ph
    carbon = _carbon(alkalinity, ph, k)
    ion = carbon * k.k1 * k.k2 / _species(h, k)
    fco2 = carbon * h * h / _species(h, k) / k.k0 * _UMOL
    salinity, celsius = water.salinity, water.celsius
    calcium = _calcium(water)
    return Carbonates(
        alkalinity=alkalinity,
        dissolved_inorganic_carbon=carbon * _UMOL,
        carbonate=ion * _UMOL,
        ph_total=ph,
        ph_nbs=ph + nbs_above_total(water),
        omega_aragonite=calcium
        * ion
        / carbonate.aragonite_solubility_mucci1983(salinity, celsius),
        omega_calcite=calcium
        * ion
        / carbonate.calcite_solubility_mucci1983(salinity, celsius),
        fco2_uatm=fco2,
        pco2_uatm=fco2 / carbonate.fugacity_coefficient_weiss1974(celsius),
    )


def _calcium(water: Water) -> float:
    if water.calcium_mmol_per_kg is None:
        return carbonate.total_calcium_riley1967(water.salinity)
    return above_zero("the calcium", water.calcium_mmol_per_kg, "mmol/kg") / 1000


def _from_carbon(alkalinity: float, carbon: float, water: Water) -> Carbonates:
    above_zero("the inorganic carbon", carbon, "µmol/kg")
    k = _constants(water)
    ph = _root(lambda trial: _carbon(alkalinity, trial, k) * _UMOL, carbon, _PH_SOLVED)
    return _solved(alkalinity, ph, water)


def _root(
    falling: Callable[[float], float], wanted: float, bounds: tuple[float, float]
) -> float:
    """The pH at which something that falls with it has a value, by halving."""
    low, high = bounds
    if not falling(high) < wanted < falling(low):
        raise refused(
            what="no pH fits alkalinity and carbon",
            expected=f"a pH within {low:g} to {high:g}",
            advice="Check the figures and their units.",
        )
    while high - low > _STEP_PH:
        middle = (low + high) / 2
        if falling(middle) > wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2
