"""One parameter several times within half an hour: replicates, or a slip.

Floor 8. One subject: values that belong together, of one call or of two. Laws here:
what two tests of one water may differ by is read as one, their mean, and said; what
they cannot is asked about, for then one of them is wrong, and makes no mean.
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
        allowed = _most_apart(name, levels)
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


def unlike_earlier(
    typed: Sequence[Typed], earlier: Sequence[MeasurementKept], where: str
) -> Iterator[Finding]:
    """A finding for each value that a replicate of an earlier call contradicts.

    Shape: `earlier` as `measuring.replicates_near` gives them. What a person confirmed
    was asked about already: it contradicts what agrees with none of them.
    """
    for one in typed:
        same = [kept for kept in earlier if kept.parameter == one.parameter]
        far = [kept for kept in same if _apart(one, kept) > _allowed(one, kept)]
        told = [kept for kept in far if len(far) == len(same) or not kept.confirmed]
        if told and not one.censored:
            farthest = max(told, key=lambda kept: _apart(one, kept))
            yield _unlike(one, farthest, where)


def _most_apart(name: str, levels: Sequence[float]) -> float:
    """How far replicates may lie apart."""
    return REPLICATES_APART_SDS * home_sd(name, fmean(levels))


def _apart(one: Typed, kept: MeasurementKept) -> float:
    return abs(kept.value - one.level)


def _allowed(one: Typed, kept: MeasurementKept) -> float:
    return _most_apart(one.parameter, (kept.value, one.level))


def _unlike(one: Typed, far: MeasurementKept, where: str) -> Finding:
    allowed = show_level(one.parameter, _allowed(one, far))
    own, other = (show_level(one.parameter, level) for level in (one.level, far.value))
    return Finding(
        what=f"{own} contradicts the {other} of {far.id}, the same kit within half an "
        "hour",
        where=f"{where} {one.parameter}",
        expected=f"a replicate no further apart than {allowed}",
        do=f"Test once more. {earlier_is_wrong(far.id)} If both were read so, add "
        "--confirm. Nothing was written.",
    )


def earlier_is_wrong(test: str) -> str:
    """The two ways out where a test that stands is the wrong one."""
    return (
        f"If {test} is the wrong one, put this in its place with `slackwater record "
        f"NAME=VALUE --correct {test}`, or take it out first: `slackwater record "
        f'--strike {test} --why "..."`.'
    )


def replicate_words(
    kept: Sequence[MeasurementKept], earlier: Sequence[MeasurementKept] = ()
) -> dict[str, str]:
    """What is said of a value that is no first one of its parameter, by its id."""
    first: dict[str, str] = {}
    for one in earlier:
        first.setdefault(one.parameter, one.id)
    told = {}
    for one in kept:
        if one.parameter in first:
            told[one.id] = f"replicate of {first[one.parameter]}"
        first.setdefault(one.parameter, one.id)
    return told


def mean_lines(
    kept: Sequence[MeasurementKept], earlier: Sequence[MeasurementKept] = ()
) -> Iterator[str]:
    """A sentence for each parameter that was read several times."""
    own = {one.parameter for one in kept if not one.censored}
    values = [
        Typed(parameter=one.parameter, level=one.value, text="", censored=one.censored)
        for one in (*earlier, *kept)
        if one.parameter in own
    ]
    for name, levels in _together(values).items():
        if max(levels) - min(levels) > _most_apart(name, levels):
            shown = [show_level(name, one) for one in sorted(levels)]
            told = " and ".join(dict.fromkeys(shown))
            yield (
                f"{len(levels)} of {name} contradict each other, {told}: they are no "
                "one value, and the highest counts until a test half an hour later or "
                "more."
            )
            continue
        mean = show_level(name, fmean(levels))
        yield f"{len(levels)} of {name} are read as one, their mean {mean}."


def _together(typed: Sequence[Typed]) -> dict[str, list[float]]:
    """The levels of parameters that stand there more than once, limits left out."""
    found: dict[str, list[float]] = {}
    for one in typed:
        if not one.censored:
            found.setdefault(one.parameter, []).append(one.level)
    return {name: levels for name, levels in found.items() if len(levels) > 1}
