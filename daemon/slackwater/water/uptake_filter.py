"""Follows level and uptake of one parameter through tests, doses and water changes.

Floor 1. One subject: the estimator over many tests. Laws here: tests may come at any
time and never from the future; what a test says is weighed against all that may have
broken in: a jump of the uptake, a step of the level, or a test that is grossly wrong; a
test that is likely wrong is held until others say the same.
Shape: days from any origin. Units: levels in one unit, uptake in it per day.
Source: Kalman 1960, Journal of Basic Engineering 82:35; several stories side by side
after Harrison and Stevens 1976, Journal of the Royal Statistical Society B 38:205 (both
from memory).
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, expm1, log
from operator import attrgetter

from slackwater.water.parameters import PARAMETERS
from slackwater.water.ranges import above_zero, all_finite, ascending, refused, within
from slackwater.water.spellings import units_of
from slackwater.water.uptake_belief import (
    Addition,
    Belief,
    Change,
    Reading,
    Shocks,
    Surprise,
    Tuning,
    begun,
    corrected,
    noise_variance,
    surprise,
)
from slackwater.water.uptake_passage import Leg, legs_between, passage

# More stories than this say the same again; one so unlikely is no longer told.
STORIES_AT_MOST = 8
LEAST_WEIGHT = 1e-4
# A test that is more likely wrong than right is held, the newest one already where it
# may well be wrong: another one tells.
HELD_FROM = 0.5
DOUBTED_FROM = 0.25
FEWEST_TO_DOUBT = 2
# Before any test the uptake is thought to be about the most there may be, or three
# quarters of it, or of that, ..., each give or take so much; or next to nothing.
_THOUGHTS = 12
_THINNER = 0.75
_WIDE = 0.2

_MEQ_PER_L_IN_DKH = float(units_of(PARAMETERS["alkalinity"])["dKH"])
# Defaults for alkalinity, common practice, no source: no test is better; the uptake
# walks by so much a day in a day; what may break in, and how often.
_LEAST_TEST_SD_DKH = 0.05
_UPTAKE_WALK_DKH_PER_DAY = 0.04
SHOCKS = Shocks(
    jumps=1 / 200,
    jump_share=0.3,
    least_jump=0.05 * _MEQ_PER_L_IN_DKH,
    steps=1 / 400,
    step_sd=1.0 * _MEQ_PER_L_IN_DKH,
    slips=0.05,
    slip_sd=1.5 * _MEQ_PER_L_IN_DKH,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What tests and changes say together.

    `belief` stands at the last test and `now` at the day asked for, both over all
    stories; `surprises` has one entry a test after the first, and `held` the places,
    counted over all tests, of those that are likely wrong. `since` is the day of the
    last jump or step in the likeliest story, that of the first test without one.
    """

    belief: Belief
    now: Belief
    surprises: tuple[Surprise, ...]
    held: tuple[int, ...]
    since: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Story:
    """One way it may have been; `weight` is a logarithm, up to a common constant.

    `wrong` are the places of tests that are wrong in it, `since` the day of its last
    jump or step, `broken` that this lies just behind.
    """

    weight: float
    belief: Belief
    since: float
    wrong: tuple[int, ...] = ()
    broken: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What a test says of a story that has come to it; `weight` after it.

    Most are dropped, so that only the weight is worked out before. `wrong` is whether
    the test is wrong in it, `noise` the variance of its error then.
    """

    weight: float
    story: _Story
    noise: float
    wrong: bool


def alkalinity_tuning(most_per_day: float) -> Tuning:
    """The usual tuning for alkalinity in meq/L.

    Units: the largest daily dose in meq/L; the uptake is somewhere between 0 and it.
    Range: above 0. Raises: OutOfRangeError outside it.
    Source: common practice, no source.
    """
    half = above_zero("the largest dose a day", most_per_day, "meq/L") / 2
    return Tuning(
        uptake=half,
        uptake_sd=half,
        least_test_sd=_LEAST_TEST_SD_DKH * _MEQ_PER_L_IN_DKH,
        uptake_walk=(_UPTAKE_WALK_DKH_PER_DAY * _MEQ_PER_L_IN_DKH) ** 2,
        shocks=SHOCKS,
    )


def estimated(
    tests: Sequence[Reading],
    changes: Sequence[Change],
    tuning: Tuning,
    *,
    now_day: float,
) -> Estimate:
    """Level and uptake from all tests and all changes.

    Shape: one test or more, ascending; changes in any order, those of the very moment
    of a test count before it, and those until the first test as part of it.
    Raises: OutOfRangeError for no test, tests out of order or later than now, a
    fraction outside 0..1, or numbers not finite.
    """
    _check(tests, changes, now_day)
    stories = list(_begun(tests[0], tuning))
    surprises: list[Surprise] = []
    for place, test in enumerate(tests[1:], start=1):
        legs = legs_between(changes, tests[place - 1].day, test.day)
        branches = [
            branch
            for story in stories
            for branch in _branches(story, legs, test.day, tuning)
        ]
        surprises.append(surprise(_together(branches), test, tuning))
        noise, doubts = noise_variance(test, tuning), place >= FEWEST_TO_DOUBT
        told = _kept(
            one
            for branch in branches
            for one in _told(branch, test, noise, tuning, doubts=doubts)
        )
        stories = [_after(one, place, test) for one in told]
    belief = _together(stories)
    legs = legs_between(changes, belief.day, now_day)
    return Estimate(
        belief=belief,
        now=passage(belief, legs, tuning).carries(belief, now_day),
        surprises=tuple(surprises),
        held=_held(stories, len(tests) - 1),
        since=stories[0].since,
    )


def _begun(test: Reading, tuning: Tuning) -> Iterator[_Story]:
    """The first test is right, whatever the uptake may be."""
    for chance, one in _thought(tuning):
        yield _Story(weight=log(chance), belief=begun(test, one), since=test.day)


def _thought(tuning: Tuning) -> Iterator[tuple[float, Tuning]]:
    """What the uptake may be before any test, each with its chance.

    Where the level is led by the uptake a wide thought is cut into narrow ones, because
    each of them must be nearly straight.
    """
    most = tuning.uptake + tuning.uptake_sd
    if tuning.follows is None:
        yield 1.0, tuning
        return
    narrow = [most * _THINNER**step for step in range(_THOUGHTS)]
    for uptake in narrow:
        yield (
            1 / (_THOUGHTS + 1),
            replace(tuning, uptake=uptake, uptake_sd=_WIDE * uptake),
        )
    yield 1 / (_THOUGHTS + 1), replace(tuning, uptake=0.0, uptake_sd=narrow[-1])


def _branches(
    story: _Story, legs: Sequence[Leg], day: float, tuning: Tuning
) -> Iterator[_Story]:
    """The story goes on, its uptake jumps, or its level steps."""
    belief, shocks = story.belief, tuning.shocks
    passed = passage(belief, legs, tuning)
    plain = passed.carries(belief, day)
    if shocks is None:
        yield replace(story, belief=plain)
        return
    span = day - belief.day
    jumps, steps = shocks.jumps * span, shocks.steps * span
    yield _Story(
        weight=story.weight - jumps - steps,
        belief=plain,
        since=story.since,
        wrong=story.wrong,
    )
    jump = max(shocks.jump_share * belief.uptake, shocks.least_jump)
    jumped = replace(belief, uptake_variance=belief.uptake_variance + jump**2)
    stepped = replace(belief, level_variance=belief.level_variance + shocks.step_sd**2)
    for chance, other in ((jumps, jumped), (steps, stepped)):
        yield _Story(
            weight=story.weight + log(-expm1(-chance)),
            belief=passed.carries(other, day),
            since=belief.day,
            wrong=story.wrong,
            broken=True,
        )


def _told(
    story: _Story, test: Reading, noise: float, tuning: Tuning, *, doubts: bool
) -> Iterator[_Told]:
    """The test is right, or it is wrong and says little.

    It is right where something has just broken in, which a wrong one would not show,
    and where it is the second of all: two tests cannot gainsay each other.
    """
    shocks = tuning.shocks
    if shocks is None:
        yield _weighed(story, test, noise)
        return
    yield _weighed(story, test, noise, chance=1 - shocks.slips)
    if doubts and not story.broken:
        wide = noise + shocks.slip_sd**2
        yield _weighed(story, test, wide, chance=shocks.slips, wrong=True)


def _weighed(
    story: _Story,
    test: Reading,
    noise: float,
    *,
    chance: float = 1.0,
    wrong: bool = False,
) -> _Told:
    """The story weighed by how well it foretold the test."""
    before = story.belief
    total = before.level_variance + noise
    off = (test.level - before.level) ** 2 / total
    return _Told(
        weight=story.weight + log(chance) - (off + log(total)) / 2,
        story=story,
        noise=noise,
        wrong=wrong,
    )


def _kept(all_told: Iterable[_Told]) -> list[_Told]:
    """The likeliest in their order, none that is next to impossible."""
    ranked = sorted(all_told, key=attrgetter("weight"), reverse=True)
    least = ranked[0].weight + log(LEAST_WEIGHT)
    return [one for one in ranked[:STORIES_AT_MOST] if one.weight > least]


def _after(told: _Told, place: int, test: Reading) -> _Story:
    """The story with the test in it."""
    story = told.story
    return _Story(
        weight=told.weight,
        belief=corrected(story.belief, test.level, told.noise),
        since=story.since,
        wrong=(*story.wrong, place) if told.wrong else story.wrong,
    )


def _together(stories: Sequence[_Story]) -> Belief:
    """One belief with the mean and the errors of them all.

    Source: the mean of the variances and the variance of the means.
    """
    weights = _shares(stories)
    beliefs = [one.belief for one in stories]
    level = sum(w * one.level for w, one in zip(weights, beliefs, strict=True))
    uptake = sum(w * one.uptake for w, one in zip(weights, beliefs, strict=True))
    level_variance = covariance = uptake_variance = 0.0
    for share, one in zip(weights, beliefs, strict=True):
        off, apart = one.level - level, one.uptake - uptake
        level_variance += share * (one.level_variance + off * off)
        covariance += share * (one.covariance + off * apart)
        uptake_variance += share * (one.uptake_variance + apart * apart)
    return Belief(
        day=beliefs[0].day,
        level=level,
        uptake=uptake,
        level_variance=level_variance,
        covariance=covariance,
        uptake_variance=uptake_variance,
    )


def _shares(stories: Sequence[_Story]) -> list[float]:
    most = max(one.weight for one in stories)
    weights = [exp(one.weight - most) for one in stories]
    whole = sum(weights)
    return [weight / whole for weight in weights]


def _held(stories: Sequence[_Story], last: int) -> tuple[int, ...]:
    """The tests that are more likely wrong than right, in order."""
    wrong: dict[int, float] = {}
    for share, one in zip(_shares(stories), stories, strict=True):
        for place in one.wrong:
            wrong[place] = wrong.get(place, 0.0) + share
    return tuple(
        place
        for place, sum_ in sorted(wrong.items())
        if sum_ > (DOUBTED_FROM if place == last else HELD_FROM)
    )


def _check(tests: Sequence[Reading], changes: Sequence[Change], now_day: float) -> None:
    days = [test.day for test in tests]
    all_finite("the levels", [test.level for test in tests])
    all_finite("the days", [*days, now_day])
    ascending("the days", days)
    if days[-1] > now_day:
        raise refused(
            what=f"a test on day {days[-1]:g}, and it is day {now_day:g}",
            expected="no test from the future",
            advice="Correct the time of the test.",
        )
    for change in changes:
        _check_change(change)


def _check_change(change: Change) -> None:
    if isinstance(change, Addition):
        since = change.day if change.since is None else change.since
        all_finite("the additions", [change.day, change.rise, change.sd, since])
    else:
        all_finite("the water changes", [change.day, change.new_level])
        within("the changed part", change.fraction, (0.0, 1.0))
