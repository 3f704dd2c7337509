"""Whether results hang together: a report with itself, calcium with alkalinity.

Floor 3. One subject: tests of tests. Laws here: each says its tolerance and where that
comes from; what cannot say anything yet says that; nothing is mended here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from slackwater.assessment.agreement import PAIR_WITHIN_DAYS
from slackwater.assessment.cleaning import Fallen, fallen
from slackwater.assessment.inflow import Inflow
from slackwater.assessment.practice import ALKALINITY, SALINITY, laboratory_sd
from slackwater.assessment.records import Check, Series
from slackwater.facts.history import History
from slackwater.facts.waters import ReportImported
from slackwater.water.calcification import (
    COHERENCE_SDS,
    alkalinity_to_see,
    coherence,
)
from slackwater.water.masses import molar_mass
from slackwater.water.parameters import PARAMETERS
from slackwater.water.seawater import STANDARD_SALINITY

# Beyond so many standard deviations results do not belong together.
APART_SDS = 3.0
# Standard Methods for the Examination of Water and Wastewater, 1030 E, from memory:
# 5 % of the sum for 10 to 800 meq/L.
CHARGE_TOLERANCE = 0.05

# Charges of the ions and the mass that carries them.
_CHARGES: Mapping[str, tuple[int, str]] = {
    "sodium": (1, "Na"),
    "magnesium": (2, "Mg"),
    "calcium": (2, "Ca"),
    "potassium": (1, "K"),
    "strontium": (2, "Sr"),
    "chloride": (-1, "Cl"),
    "sulfate": (-2, "SO4"),
    "bromide": (-1, "Br"),
    "fluoride": (-1, "F"),
}
# Without these a balance is a guess; of the rest nature's proportion will do.
_NEEDED = frozenset({"sodium", "magnesium", "chloride", "sulfate"})
_SALTS = ("sodium", "chloride")


def charge_balance(levels: Mapping[str, float], salinity: float) -> Check:
    """Whether the positive and negative charges of one report are equal.

    Units: `levels` canonical; what is missing of the smaller ions is taken as nature's
    at that salinity. Result: the difference as a part of the sum of all charges.
    Source: Standard Methods 1030 E (from memory) for the tolerance.
    """
    missing = sorted(_NEEDED - set(levels))
    if missing:
        return Check(
            name="charge-balance",
            holds=None,
            text=f"The newest report names no {', '.join(missing)}: its charges cannot "
            "be weighed.",
        )
    share = salinity / STANDARD_SALINITY
    positive = negative = 0.0
    for parameter, (charge, formula) in _CHARGES.items():
        natural = (PARAMETERS[parameter].natural or 0.0) * share
        meq = levels.get(parameter, natural) / float(molar_mass(formula)) * abs(charge)
        if charge > 0:
            positive += meq
        else:
            negative += meq
    # Bicarbonate, carbonate and borate together are the alkalinity.
    natural = (PARAMETERS[ALKALINITY].natural or 0.0) * share
    negative += levels.get(ALKALINITY, natural)
    off = (positive - negative) / (positive + negative)
    holds = abs(off) <= CHARGE_TOLERANCE
    verdict = "agree" if holds else "do not agree: doubt the report"
    return Check(
        name="charge-balance",
        holds=holds,
        text=f"Positive and negative charges of the report {verdict} "
        f"({100 * off:+.1f} %, tolerance {100 * CHARGE_TOLERANCE:.0f} %, Standard "
        "Methods 1030 E, from memory).",
        figures={
            "positive_meq_per_l": positive,
            "negative_meq_per_l": negative,
            "off_share": off,
            "tolerance_share": CHARGE_TOLERANCE,
        },
    )


def report_checks(history: History, salinity: float | None) -> tuple[Check, ...]:
    """What the newest report says about itself; nothing where there is no report."""
    if not history.reports:
        return ()
    newest = history.reports[-1]
    levels = report_levels(history, newest)
    own = salinity or levels.get(SALINITY)
    if own is None:
        return (charge_balance(levels, STANDARD_SALINITY),)
    return (charge_balance(levels, own), *_salt_checks(levels, own))


def report_levels(history: History, report: ReportImported) -> Mapping[str, float]:
    """The seen values of one report, canonical."""
    return {
        one.parameter: one.value
        for one in history.measurements
        if one.report == report.report and not one.censored
    }


def _salt_checks(levels: Mapping[str, float], salinity: float) -> list[Check]:
    found = []
    for parameter in _SALTS:
        natural = PARAMETERS[parameter].natural
        if parameter not in levels or not natural:
            continue
        implied = levels[parameter] / natural * STANDARD_SALINITY
        sd = laboratory_sd(parameter, levels[parameter], None)
        sd = hypot(sd / natural * STANDARD_SALINITY, laboratory_sd(SALINITY, 0, None))
        holds = abs(implied - salinity) <= APART_SDS * sd
        verdict = "fits" if holds else "does not fit"
        found.append(
            Check(
                name=f"salinity-{parameter}",
                holds=holds,
                text=f"{parameter.capitalize()} of the report means a salinity of "
                f"{implied:.1f} and {verdict} {salinity:.2f} (tolerance "
                f"{APART_SDS * sd:.1f}, three errors; common practice).",
                figures={"implied": implied, "salinity": salinity, "sd": sd},
            )
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """What was used up between two tests, and the error of one test."""

    amount: float
    sd: float


def calcium_against_alkalinity(calcium: Used, alkalinity: Used) -> Check:
    """Whether calcium was used up as alkalinity was.

    Units: mg/L and meq/L.
    Source: `water.calcification`.
    """
    found = coherence(
        calcium.amount,
        alkalinity.amount,
        calcium_sd=calcium.sd,
        alkalinity_sd=alkalinity.sd,
    )
    expected, z = found.expected_calcium, found.z
    figures = {
        "calcium_used_mg_per_l": calcium.amount,
        "expected_mg_per_l": expected,
        "z": z,
    }
    name = "calcium-alkalinity"
    if found.holds and alkalinity.amount < alkalinity_to_see(calcium.sd):
        return Check(
            name=name,
            holds=None,
            text=f"Too little was used up ({expected:.0f} mg/L calcium expected) for "
            "the calcium test to say anything.",
            figures=figures,
        )
    verdict = (
        "Calcium was used up as alkalinity was"
        if found.holds
        else "Calcium was not used up as alkalinity was: look for a wrong stock, a "
        "wrong test, nitrification, denitrification or precipitation"
    )
    return Check(
        name=name,
        holds=found.holds,
        text=f"{verdict} ({calcium.amount:.0f} mg/L, expected "
        f"{expected:.0f} mg/L, z = {z:+.1f}, limit {COHERENCE_SDS:g}).",
        figures=figures,
    )


def calcification_check(
    calcium: tuple[Sequence[Series], Inflow],
    alkalinity: tuple[Sequence[Series], Inflow],
) -> Check | None:
    """The same from series, each with what came in; None without tests of both.

    The home calcium series that reaches furthest is set beside the alkalinity series
    that has tests near its first and its last.
    """
    calcium_tests = max(
        (_fallen(series, calcium[1]) for series in calcium[0]),
        key=lambda tests: tests[-1].day - tests[0].day if tests else 0.0,
        default=[],
    )
    if not calcium_tests or calcium_tests[-1] is calcium_tests[0]:
        return None
    first, last = calcium_tests[0], calcium_tests[-1]
    for series in alkalinity[0]:
        tests = _fallen(series, alkalinity[1])
        if not tests:
            continue
        early, late = _near(tests, first.day), _near(tests, last.day)
        if early is None or late is None or late.day <= early.day:
            continue
        # The same span for both: the tests may lie a day or two off.
        share = (last.day - first.day) / (late.day - early.day)
        return calcium_against_alkalinity(
            Used(
                amount=first.value - last.value, sd=hypot(first.sd, last.sd) / sqrt(2)
            ),
            Used(
                amount=(early.value - late.value) * share,
                sd=hypot(early.sd, late.sd) / sqrt(2),
            ),
        )
    return None


def _fallen(series: Series, inflow: Inflow) -> list[Fallen]:
    if series.provenance == "lab":
        return []
    used = [point for point in series.points if point.use == "used"]
    return fallen(used, inflow)


def _near(tests: Sequence[Fallen], day: float) -> Fallen | None:
    found = min(tests, key=lambda test: abs(test.day - day))
    return found if abs(found.day - day) <= PAIR_WITHIN_DAYS else None
