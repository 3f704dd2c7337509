"""Nitrogen and carbon beside alkalinity, and the steps of feeding bacteria.

Floor 1. One subject: nutrients and their carbon. Laws here: alkalinity moves with
nitrogen and without calcium; carbon is raised in steps of a week and never past its
cap; a phosphate rise that stays small is never answered with more, rock binds it.
Units: alkalinity in meq/L, carbon in mmol per litre and day, levels in mg/L.
Source: NH4+ + 2 O2 = NO3- + 2 H+ + H2O; denitrification gives back one equivalent for
each nitrate; steps and caps are common practice, no source.
"""

from math import floor, inf

from slackwater.water.masses import molar_mass
from slackwater.water.ranges import within

CARBON_START = 0.015
CARBON_STEP_A_WEEK = 0.015
CARBON_CAP = 0.15
# More is refused by every machine, whatever its configuration.
CARBON_MACHINE_LIMIT = 0.3
CARBON_RESTART_SHARE = 0.25
CARBON_HOTTEST_CELSIUS = 29.0
CARBON_LEAST_NITRATE = 1.0
CARBON_LEAST_PHOSPHATE = 0.02

_EQUIVALENTS_PER_AMMONIUM = -2
_EQUIVALENTS_PER_NITRATE = 1
_CARBON_PER_ACETIC_ACID = 2
_DAYS_PER_WEEK = 7
_HAIR = 1e-9


def carbon_allowed(days: float) -> float:
    """Organic carbon allowed a day, so many days after the start.

    Range: 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the days since the start", days, (0.0, inf))
    weeks = floor(days / _DAYS_PER_WEEK)
    return min(CARBON_CAP, CARBON_START + CARBON_STEP_A_WEEK * weeks)


def days_to_carbon_cap() -> int:
    """Days from the start until the cap may be reached."""
    steps = (CARBON_CAP - CARBON_START) / CARBON_STEP_A_WEEK
    return _DAYS_PER_WEEK * floor(steps + _HAIR)


def carbon_may_run(nitrate: float, phosphate: float, celsius: float) -> bool:
    """Whether there is something to eat and the water is not too warm.

    Range: levels 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the nitrate", nitrate, (0.0, inf), "mg/L")
    within("the phosphate", phosphate, (0.0, inf), "mg/L")
    within("the temperature", celsius, (-2.0, 45.0), "degC")
    return (
        nitrate >= CARBON_LEAST_NITRATE
        and phosphate >= CARBON_LEAST_PHOSPHATE
        and celsius <= CARBON_HOTTEST_CELSIUS
    )


def alkalinity_of_acetic_acid(carbon: float) -> float:
    """What acetic acid takes from alkalinity until it is eaten.

    Units: mmol of carbon per litre; meq/L, below 0. Range: 0 or more.
    Raises: OutOfRangeError outside it. Source: one equivalent an acid, two carbons.
    """
    return -within("the carbon", carbon, (0.0, inf)) / _CARBON_PER_ACETIC_ACID


def alkalinity_of_nitrate_removed(nitrate_fall: float) -> float:
    """What comes back to alkalinity when nitrate is denitrified or eaten.

    Units: mg/L of nitrate; meq/L. Range: 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the fall of nitrate", nitrate_fall, (0.0, inf), "mg/L")
    return _EQUIVALENTS_PER_NITRATE * nitrate_fall / float(molar_mass("NO3"))


def alkalinity_of_nitrate_made(nitrate_rise: float) -> float:
    """What nitrification of food takes from alkalinity.

    Units: mg/L of nitrate made from ammonium; meq/L, below 0. Range: 0 or more.
    Raises: OutOfRangeError outside it.
    """
    within("the rise of nitrate", nitrate_rise, (0.0, inf), "mg/L")
    return _EQUIVALENTS_PER_AMMONIUM * nitrate_rise / float(molar_mass("NO3"))
