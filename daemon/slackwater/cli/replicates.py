"""One parameter several times in a call: replicates of one visit, or a slip.

Floor 8. One subject: values of a call that belong together. Laws here: what two tests
of one water may differ by is read as one, their mean, and said; what they cannot is
asked about, for then one of them is wrong.
Units: levels canonical.
Source: three standard deviations of one test, as the assessment marks replicates.
"""

from collections.abc import Iterator, Sequence
from statistics import fmean

from slackwater.assessment.practice import home_sd
from slackwater.assessment.series import REPLICATES_APART_SDS
from slackwater.cli.typed_levels import Typed
from slackwater.errors import Finding
from slackwater.facts.waters import MeasurementKept
from slackwater.water.show import show_level


def contradictions(typed: Sequence[Typed], where: str) -> Iterator[Finding]:
    """A finding for each parameter whose values of one call are no replicates."""
    for name, levels in _together(typed).items():
        apart = max(levels) - min(levels)
        allowed = REPLICATES_APART_SDS * home_sd(name, fmean(levels))
        if apart > allowed:
            values = " and ".join(show_level(name, one) for one in levels)
            yield Finding(
                what=f"{name} is given as {values}: they contradict each other",
                where=f"{where} {name}",
                expected="one value, or replicates of one water no further apart than "
                f"{show_level(name, allowed)}",
                do="Take the wrong one out, or test once more; if all were read so, "
                "add --confirm. Nothing was written.",
            )


def replicate_words(kept: Sequence[MeasurementKept]) -> dict[str, str]:
    """What is said of the second and later values of a parameter, by their id."""
    first: dict[str, str] = {}
    told = {}
    for one in kept:
        if one.parameter in first:
            told[one.id] = f"replicate of {first[one.parameter]}"
        first.setdefault(one.parameter, one.id)
    return told


def mean_lines(kept: Sequence[MeasurementKept]) -> Iterator[str]:
    """A sentence for each parameter that was read several times."""
    values = [
        Typed(parameter=one.parameter, level=one.value, text="", censored=one.censored)
        for one in kept
    ]
    for name, levels in _together(values).items():
        mean = show_level(name, fmean(levels))
        yield f"{len(levels)} of {name} are read as one, their mean {mean}."


def _together(typed: Sequence[Typed]) -> dict[str, list[float]]:
    """The levels of parameters that stand there more than once, limits left out."""
    found: dict[str, list[float]] = {}
    for one in typed:
        if not one.censored:
            found.setdefault(one.parameter, []).append(one.level)
    return {name: levels for name, levels in found.items() if len(levels) > 1}
