"""The net volume of water, by measuring the glass or by a known addition.

Floor 1. One subject: how much water a tank holds. Laws here: a volume comes with its
error, because every dose is divided by it; what rock, sand and equipment take is taken
off; a rise too small to tell from the noise of the test shows no volume.
Units: litres, centimetres, kilograms.
Source: geometry; density of aragonite from the CRC Handbook of Chemistry and Physics;
V = n / dC for the addition. Errors and the share of grains are common practice, no
source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, pi, sqrt

from slackwater.water.ranges import above_zero, refused, within

# A rise of fewer errors of a single test shows no volume.
LEAST_RISE_SDS = 5.0
# Estimates further apart than so many common errors are not of one tank.
DISAGREEMENT_SDS = 3.0
ARAGONITE_KG_PER_LITRE = 2.93
# What lies between grains of sand is water.
GRAINS_SHARE = 0.6
# A careful measuring of glass and rock is good to so much.
GEOMETRY_ERROR = 0.05
_CUBIC_CM_PER_LITRE = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class NetVolume:
    """A volume of water, with its error as a part of it."""

    litres: float
    relative_error: float

    @property
    def sd_litres(self) -> float:
        """The error in litres."""
        return self.litres * self.relative_error


def box_litres(length_cm: float, width_cm: float, depth_cm: float) -> float:
    """The inside of a box up to the water line.

    Range: all above 0. Raises: OutOfRangeError outside it.
    """
    above_zero("the length", length_cm, "cm")
    above_zero("the width", width_cm, "cm")
    above_zero("the depth of the water", depth_cm, "cm")
    return length_cm * width_cm * depth_cm / _CUBIC_CM_PER_LITRE


def cylinder_litres(diameter_cm: float, depth_cm: float) -> float:
    """The inside of an upright cylinder up to the water line.

    Range: both above 0. Raises: OutOfRangeError outside it.
    """
    above_zero("the diameter", diameter_cm, "cm")
    above_zero("the depth of the water", depth_cm, "cm")
    return pi * diameter_cm**2 / 4 * depth_cm / _CUBIC_CM_PER_LITRE


def rock_litres(dry_kg: float) -> float:
    """What rock displaces once its pores are full of water.

    Units: kilograms as weighed dry. Range: 0 or more. Raises: OutOfRangeError outside.
    Source: density of aragonite; closed pores displace more.
    """
    within("the rock", dry_kg, (0.0, inf), "kg")
    return dry_kg / ARAGONITE_KG_PER_LITRE


def sand_litres(bed_litres: float) -> float:
    """What the grains of a bed of sand displace; the rest of the bed is water.

    Range: 0 or more. Raises: OutOfRangeError outside it.
    """
    within("the bed of sand", bed_litres, (0.0, inf), "L")
    return bed_litres * GRAINS_SHARE


def net_volume_by_geometry(
    filled_litres: Sequence[float],
    displaced_litres: Sequence[float],
    relative_error: float = GEOMETRY_ERROR,
) -> NetVolume:
    """Net volume of tank, sump and pipes together.

    Shape: one filled body or more, each up to its running water line; what rock, sand
    and equipment displace. Range: filled above 0, displaced 0 or more and less than
    filled, error above 0 and below 1. Raises: OutOfRangeError outside it.
    """
    for litres in filled_litres:
        above_zero("the water of a body", litres, "L")
    for litres in displaced_litres:
        within("what is displaced", litres, (0.0, inf), "L")
    filled, displaced = sum(filled_litres), sum(displaced_litres)
    error = above_zero("the error", relative_error)
    return NetVolume(
        litres=above_zero("the water left", filled - displaced, "L"),
        relative_error=within("the error", error, (0.0, 1.0)),
    )


def net_volume_by_addition(added: float, rise: float, test_sd: float) -> NetVolume:
    """The volume in which an addition makes a rise.

    Units: added in one unit, rise and the error of one test in it per litre; what the
    tank took up between the tests belongs to the rise.
    Range: all above 0, a rise of five errors or more. Raises: OutOfRangeError outside.
    Source: V = n / dC, relative error sqrt(2) times the error over the rise.
    """
    above_zero("the addition", added)
    above_zero("the rise", rise)
    least = LEAST_RISE_SDS * above_zero("the error of a test", test_sd)
    if rise < least:
        raise refused(
            what=f"the rise is {rise:g} and a test is good to {test_sd:g}",
            expected=f"a rise of {least:g} or more",
            advice="Add more, or take the mean of several tests before and after.",
        )
    return NetVolume(litres=added / rise, relative_error=test_sd * sqrt(2) / rise)


def addition_for(litres: float, test_sd: float) -> float:
    """The smallest addition that shows a volume.

    Units: that of the error of a test, without the litre; a volume as it is believed.
    Range: both above 0. Raises: OutOfRangeError outside it.
    """
    above_zero("the volume", litres, "L")
    return litres * LEAST_RISE_SDS * above_zero("the error of a test", test_sd)


def disagree(one: NetVolume, other: NetVolume) -> bool:
    """Whether two estimates are further apart than three common errors."""
    apart = abs(one.litres - other.litres)
    return apart > DISAGREEMENT_SDS * hypot(one.sd_litres, other.sd_litres)


def combined(estimates: Sequence[NetVolume]) -> NetVolume:
    """One volume of several estimates, the better ones counting more.

    Shape: one estimate or more. Raises: OutOfRangeError for none, or for two that
    disagree.
    Source: mean weighted by one over the square of the error.
    """
    for place, one in enumerate(estimates):
        for other in estimates[place + 1 :]:
            _check_agree(one, other)
    weights = [1 / estimate.sd_litres**2 for estimate in estimates]
    total = above_zero("the number of estimates", sum(weights))
    litres = (
        sum(
            weight * estimate.litres
            for weight, estimate in zip(weights, estimates, strict=True)
        )
        / total
    )
    return NetVolume(litres=litres, relative_error=1 / sqrt(total) / litres)


def _check_agree(one: NetVolume, other: NetVolume) -> None:
    if disagree(one, other):
        raise refused(
            what=f"found {one.litres:g} L and {other.litres:g} L",
            expected="estimates of one volume",
            advice="Measure again: a wrong volume makes every dose wrong.",
        )
