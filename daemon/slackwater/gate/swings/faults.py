"""Faults of a probe, and doses that a swing begins with.

Floor 3. One subject: what else than the tank may be wrong. Laws here: a source is
called faulty for what it does beyond its own habits, never for what it says; a swing is
put down to a dose only where time and size agree.
Units: meq/L, seconds since 1970.
Source: swing chapter of the design; common practice, no source, for the ratios.
"""

from collections.abc import Iterator, Sequence
from math import sqrt
from statistics import median

from slackwater.facts.courses import BLOCK_S, Block, Course
from slackwater.facts.limits import DAY_S
from slackwater.facts.tank import Probe
from slackwater.gate.moment import ALKALINITY, Moment
from slackwater.gate.swings.explained import MEQ_PER_L
from slackwater.gate.swings.habits import Habit
from slackwater.gate.swings.limits import LEAST_NOISE, LEAST_SWING, MODEL_SD
from slackwater.gate.swings.verdicts import DoseFault, ProbeFault, Swing
from slackwater.water.statistics import SD_PER_MEDIAN_DEVIATION

# A run of equal readings is frozen where chance gives one a day less often than this.
FROZEN_PROBABILITY = 0.001
# Such a run proves nothing yet, and its repetitions are no retests of each other.
SUSPECT_PROBABILITY = 0.05
FEWEST_EQUAL = 3
# Before enough pairs are seen, equal neighbours are taken as likely as this.
EQUAL_PRIOR, PAIRS_PRIOR = 5, 10
# Noise of a quick probe is compared over so many blocks.
BLOCKS = 9
DOUBLED, DOUBLED_SLOW, CALMED = 2.0, 2.2, 1.5
FEWEST_HOURS = 6
HABIT_HOURS = 24
REPLICATE_SDS = 3.0
MATCH_SDS = 2.0


def is_slow(probe: Probe) -> bool:
    """Whether each reading of the probe is a block of its own."""
    return probe.period_s >= BLOCK_S


def chance_of_run(course: Course) -> float:
    """How likely the run of equal readings is that the newest one ends."""
    equal = (course.equal + EQUAL_PRIOR) / (course.pairs + PAIRS_PRIOR)
    return float(equal ** (course.run - 1))


def frozen(course: Course, probe: Probe) -> ProbeFault | None:
    """A run of equal readings that chance gives less than once in a thousand days."""
    chance = chance_of_run(course) * DAY_S / probe.period_s
    if course.run < FEWEST_EQUAL or chance >= FROZEN_PROBABILITY:
        return None
    return ProbeFault(
        how="frozen",
        figures={"equal_readings": course.run, "chance": float(f"{chance:.1e}")},
    )


def repeated_blocks(course: Course, probe: Probe) -> int:
    """How many of the newest blocks only repeat, which is no retest of anything."""
    if chance_of_run(course) >= SUSPECT_PROBABILITY:
        return 0
    return int((course.run - 1) * probe.period_s / max(probe.period_s, BLOCK_S))


def contradicts_itself(course: Course, probe: Probe, sd: float) -> ProbeFault | None:
    """Readings of a slow probe taken within half an hour, too far from each other."""
    apart = course.open[-1] - course.open[0]
    if not is_slow(probe) or apart <= REPLICATE_SDS * max(sd, MODEL_SD):
        return None
    return ProbeFault(
        how="replicates",
        figures={"apart_meq_per_l": round(apart, 3), "noise_meq_per_l": round(sd, 3)},
    )


def rough(course: Course, probe: Probe, known: float) -> ProbeFault | None:
    """The noise of a quick probe, doubled: of readings, not of blocks.

    Range: `known` is the usual noise a standing fault remembers, 0 without one.
    """
    hours = list(course.hours.values())[:-HABIT_HOURS]
    recent = course.blocks[-BLOCKS:]
    if len(hours) < FEWEST_HOURS or len(recent) < BLOCKS:
        return None
    usual = max(_noise_of(median(hour.rough for hour in hours)), probe.resolution / 2)
    return _louder(_noise_of(median(b.rough for b in recent)), (usual, known), DOUBLED)


def restless(habit: Habit, known: float) -> ProbeFault | None:
    """The noise of a slow probe, doubled."""
    return _louder(habit.now, (habit.usual, known), DOUBLED_SLOW)


def _louder(
    found: float, usual: tuple[float, float], doubled: float
) -> ProbeFault | None:
    """A fault where noise has doubled, or has not yet calmed down again."""
    now, known = usual
    least = now * doubled if not known else known * CALMED
    if found <= max(least, LEAST_NOISE):
        return None
    return ProbeFault(
        how="noise",
        figures={"noise_meq_per_l": round(found, 4)},
        usual_noise=known or now,
    )


def _noise_of(jump: float) -> float:
    return SD_PER_MEDIAN_DEVIATION * jump / sqrt(2)


def dose_behind(
    moment: Moment, tank: str, swing: Swing, blocks: Sequence[Block]
) -> DoseFault | None:
    """The dose that a swing begins with and is as large as, if there is one."""
    since_s = swing.since.timestamp()
    before = [block.at_s for block in blocks if block.at_s < since_s]
    begins_s = (before[-1] if before else since_s) - BLOCK_S
    sd = max(swing.sd / sqrt(swing.points), MODEL_SD)
    matching = [
        (abs(abs(swing.size) - rise), pump, rise)
        for pump, rise in _doses_between(moment, tank, (begins_s, since_s + BLOCK_S))
        if rise >= LEAST_SWING and abs(abs(swing.size) - rise) <= MATCH_SDS * sd
    ]
    if not matching:
        return None
    _, pump, rise = min(matching)
    return DoseFault(
        pump=pump, dose=rise, size=swing.size, since=swing.since, votes=swing.votes
    )


def _doses_between(
    moment: Moment, tank: str, span: tuple[float, float]
) -> Iterator[tuple[str, float]]:
    """Doses that added alkalinity in a span of wall time, and what each should do."""
    net_ul = moment.machine.tanks[tank].net_ul
    now_s = moment.now.utc.timestamp()
    for closed in moment.state.closed.values():
        if closed.tank != tank or ALKALINITY not in closed.effects:
            continue
        ended_s = now_s - (moment.proven_ms - closed.proven_ms) / 1000
        if span[0] <= ended_s <= span[1]:
            believed = closed.effects[ALKALINITY] * closed.believed_ul / closed.asked_ul
            yield closed.pump, believed * MEQ_PER_L / net_ul
