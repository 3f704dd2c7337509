"""What a probe's series says now: one verdict from all tests.

Floor 3. One subject: the verdict on a probe. Laws here: evidence of too much goes
before everything but a probe that only repeats; a probe that contradicts its own habits
is no evidence of too little; what cannot be judged is not judged. Until two whole days
lie before the last one there is no baseline: only a probe that repeats itself is told
here then, while the ceiling and the range of the hourly medians (`gate.alkalinity`:
climb and fall) stop and shorten as ever.
"""

from slackwater.facts.courses import Course
from slackwater.facts.judgements import SeriesJudged
from slackwater.facts.tank import Probe
from slackwater.gate.moment import Moment
from slackwater.gate.swings.faults import (
    contradicts_itself,
    dose_behind,
    frozen,
    is_slow,
    repeated_blocks,
    restless,
    rough,
)
from slackwater.gate.swings.habits import habit_of
from slackwater.gate.swings.series import (
    Errors,
    errors_of,
    levels_of,
    readings_of_a_block,
)
from slackwater.gate.swings.verdicts import (
    ProbeFault,
    Steady,
    Swing,
    TooLittle,
    Verdict,
)
from slackwater.gate.swings.votes import judged


def is_due(course: Course, probe: Probe) -> bool:
    """Whether the newest reading changed what there is to judge."""
    whole = readings_of_a_block(probe)
    return whole == 1 or len(course.open) in (1, whole)


def judge_probe(moment: Moment, probe: Probe, course: Course) -> Verdict:
    """The verdict on the series of one probe, up to its newest reading."""
    stuck = frozen(course, probe)
    if stuck is not None:
        return stuck
    errors = errors_of(moment, probe, course)
    if isinstance(errors, TooLittle):
        return _noisy(moment, probe, course) or errors
    repeats = repeated_blocks(course, probe)
    points = errors.points[: len(errors.points) - repeats]
    newest = errors.blocks[-1]
    levels = [*levels_of(moment, course), (newest.at_s, newest.level)]
    verdict = judged(points, levels)
    if verdict.excess:
        return _put_down(moment, probe, verdict, errors)
    fault = contradicts_itself(course, probe, errors.usual.sd)
    fault = fault or _noisy(moment, probe, course)
    return fault or _put_down(moment, probe, verdict, errors)


def _put_down(
    moment: Moment, probe: Probe, verdict: Swing | Steady, errors: Errors
) -> Verdict:
    """A swing put down to a dose where one is as large and came then."""
    if isinstance(verdict, Swing):
        return dose_behind(moment, probe.tank, verdict, errors.blocks) or verdict
    return verdict


def _noisy(moment: Moment, probe: Probe, course: Course) -> ProbeFault | None:
    """The noise of a source against its own habits."""
    known = known_noise(moment.state.judged.get(f"probe/{probe.id}"))
    if not is_slow(probe):
        return rough(course, probe, known)
    habit = habit_of(moment, probe, course)
    return None if habit is None else restless(habit, known)


def known_noise(known: SeriesJudged | None) -> float:
    """The usual noise that a standing fault of noise remembers, else 0."""
    if known is None or known.verdict != "probe-fault" or known.reason is None:
        return 0.0
    figure = known.reason.figures.get("usual_noise_meq_per_l")
    return float(figure or 0.0)
