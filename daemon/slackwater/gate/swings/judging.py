"""What a probe's series says now: one verdict from all tests.

Floor 3. One subject: the verdict on a probe. Laws here: evidence of too much goes
before everything but a probe that only repeats; a probe that contradicts its own habits
is no evidence of too little; what cannot be judged is not judged.
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
from slackwater.gate.swings.series import (
    Errors,
    errors_of,
    levels_of,
    readings_of_a_block,
)
from slackwater.gate.swings.verdicts import (
    ProbeFault,
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
        return errors
    repeats = repeated_blocks(course, probe)
    points = errors.points[: len(errors.points) - repeats]
    verdict = judged(points, levels_of(moment, course))
    fault = _fault(moment, probe, course, errors)
    if fault is not None and not verdict.excess:
        return fault
    if isinstance(verdict, Swing):
        return dose_behind(moment, probe.tank, verdict, errors.blocks) or verdict
    return verdict


def known_noise(known: SeriesJudged | None) -> float:
    """The usual noise that a standing fault of noise remembers, else 0."""
    if known is None or known.verdict != "probe-fault" or known.reason is None:
        return 0.0
    figure = known.reason.figures.get("usual_noise_meq_per_l", 0.0)
    return float(figure or 0.0)


def _fault(
    moment: Moment, probe: Probe, course: Course, errors: Errors
) -> ProbeFault | None:
    known = known_noise(moment.state.judged.get(f"probe/{probe.id}"))
    if is_slow(probe):
        loud = restless(errors.habit, errors.usual, known)
        return contradicts_itself(course, probe, errors.usual.sd) or loud
    return rough(course, probe, known)
