"""Calcium and strontium beside alkalinity: what is built into skeleton goes together.

Floor 3. One subject: the fixed ratio of use. Laws here: where alkalinity is known, what
follows it is scaled from it; where only the follower's own tests are, they cut nothing
below what the lower bound of alkalinity's use implies; where the two disagree that is
said and never settled by a dose.
Units: canonical, a day.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import hypot

from slackwater.assessment.knobs import Knobs
from slackwater.assessment.practice import ALKALINITY
from slackwater.assessment.records import HALF_WIDTH_90
from slackwater.assessment.wants import Want
from slackwater.facts.proposal import Evidence, Ground, Grounded
from slackwater.water.stoichiometry import calcified

# How far the ratio of use differs from tank to tank: common practice, no source.
RATIO_SD_SHARE = 0.05
# Moles of metal per mole of calcium in coral aragonite.
STRONTIUM_PER_CALCIUM = Fraction(9, 1000)
MAGNESIUM_PER_CALCIUM = Fraction(45, 10_000)
# Used with alkalinity in a fixed ratio.
FOLLOWERS = ("calcium", "strontium")


def calcified_per_meq(parameter: str) -> float:
    """What is built into skeleton with one equivalent of alkalinity.

    Units: mg/L per meq/L. Range: calcium and strontium.
    Source: stoichiometry of aragonite; its strontium from Swart et al. 2002 and its
    magnesium from memory.
    """
    built = calcified(
        Fraction(1),
        strontium_per_calcium=STRONTIUM_PER_CALCIUM,
        magnesium_per_calcium=MAGNESIUM_PER_CALCIUM,
    )
    return float(built.calcium if parameter == "calcium" else built.strontium)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """What a follower is held against.

    `used` is the alkalinity that is used up a day, None where that is not known well.
    """

    knobs: Knobs
    evidence: Mapping[str, Evidence]
    used: float | None

    def scaled(self, found: Evidence) -> Evidence:
        """Evidence whose uptake follows alkalinity where that says more."""
        if self.used is None or found.parameter not in FOLLOWERS:
            return found
        per_meq = calcified_per_meq(found.parameter)
        used, alkaline = per_meq * self.used, self.evidence.get(ALKALINITY)
        sd = per_meq * (alkaline.uptake_sd if alkaline else 0.0)
        return replace(
            found,
            uptake=used,
            uptake_sd=hypot(sd, RATIO_SD_SHARE * used),
            uptake_low=used * (1 - RATIO_SD_SHARE),
            enough=True,
            falls=True,
        )

    def held(self, found: Evidence, want: Want, now: float) -> Want:
        """What a follower gets, with what the other of the two says about it.

        Range: `found` its own evidence, `now` what it is given a day.
        """
        if found.parameter not in FOLLOWERS:
            return want
        if self.used is not None:
            return self._told(found, _follows(want))
        least = self._least(found.parameter)
        if not want.changed or want.maintenance >= min(least, now):
            return want
        figures = {
            "uptake_per_day": found.uptake,
            "sd_per_day": found.uptake_sd,
            "least_by_ratio_per_day": least,
            "now_per_day": now,
        }
        told = Grounded(ground=Ground.RATIO_HOLDS, figures=figures)
        kept = least < now
        return replace(
            want,
            maintenance=min(least, now),
            changed=kept,
            grounds=(*want.grounds, told) if kept else (told,),
        )

    def _least(self, parameter: str) -> float:
        """The least that alkalinity's own use implies, with room for the ratio."""
        alkaline = self.evidence.get(ALKALINITY)
        if alkaline is not None and alkaline.uptake is not None and alkaline.uptake_low:
            low = alkaline.uptake_low
        else:
            low = self.knobs.sure_uptake(ALKALINITY).per_day
        share = 1 - HALF_WIDTH_90 * RATIO_SD_SHARE
        return calcified_per_meq(parameter) * low * share

    def _told(self, found: Evidence, want: Want) -> Want:
        """The same, and a word where the follower's own tests say something else."""
        if found.uptake is None or not found.enough or self.used is None:
            return want
        scaled = self.scaled(found)
        implied = scaled.uptake or 0.0
        apart = abs(found.uptake - implied)
        if apart <= HALF_WIDTH_90 * hypot(found.uptake_sd, scaled.uptake_sd):
            return want
        figures = {"uptake_per_day": found.uptake, "by_ratio_per_day": implied}
        told = Grounded(ground=Ground.RATIO_DISAGREES, figures=figures)
        return replace(want, grounds=(*want.grounds, told))


def _follows(want: Want) -> Want:
    told = tuple(
        Grounded(ground=Ground.STOICHIOMETRY, figures=one.figures)
        if one.ground in {Ground.UPTAKE, Ground.NET_BALANCE}
        else one
        for one in want.grounds
    )
    return replace(want, grounds=told)
