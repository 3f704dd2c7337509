"""What timed shots say of a pump: its rate, its start and stop, its smallest dose.

Floor 3. One subject: measured runs → a flow. A run is some shots of one length that
were collected and measured together: what single shots scatter averages out in it.
Laws here: the volume of a shot is rate times its time plus an offset, which is what
start-up takes away and what runs on after the stop; runs that contradict each other
come to no flow.
Source: the idea is that of the gravimetric method of IEC 60601-2-24 (infusion pumps:
what came out is weighed against time, and start-up is told apart from the rate); the
limits below are common practice, no source, except where a line names one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from slackwater.errors import Finding
from slackwater.water.lines import Fit, fitted_line, line_from_nought
from slackwater.water.show import show_volume

RUNS_AT_LEAST = 3
SPREAD_AT_MOST_PERCENT = 5.0
# Runs of nearly one length cannot tell the offset from the rate.
LENGTHS_APART = 1.5
# More of the shortest shot than this is a slip of the hand, air or a leak, no start-up.
OFFSET_AT_MOST_PERCENT = 20.0
# Unless each length was measured twice, so that a slip would show: then a start may
# take away what flows in so long. Motors and drivers start within 0.4 s.
LAG_AT_MOST_S, TWICE = 0.5, 2
# A scale or a fine cylinder is read to 10 µL: 10 / sqrt(12) (JCGM 100:2008, 4.3.7).
READING_SD_UL = 3.0
# What a cylinder of the trade, and a run of a pump, may be off in proportion.
SHARE_SD = 0.01
# Twice the standard deviation (JCGM 100:2008, 6.2.1) within a tenth of the volume.
COVERAGE, RELIABLE_SHARE = 2.0, 0.10
NL_PER_UL = 1000
MS_PER_S = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredRun:
    """Shots of one length: how long the output was on in all, and what came out."""

    ran_ms: int
    volume_ul: int
    shots: int = 1

    @property
    def shot_s(self) -> float:
        """How long one of its shots lasted, seconds."""
        return self.ran_ms / MS_PER_S / self.shots

    @property
    def shot_ul(self) -> float:
        """What one of its shots gave, microlitres."""
        return self.volume_ul / self.shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """What a pump gives: `rate_nl_per_s` times run time, plus `offset_nl`.

    Units: nanolitres and seconds; intervals hold 95 percent by Student's t;
    `spread_percent` between the lowest and the highest run, each in parts of the line;
    `within_percent` is how far the line may be off at 95 percent, wherever between the
    shortest and the longest shot it is least known;
    `smallest_ul` is given within a tenth, in whole microlitres, rounded up.
    """

    rate_nl_per_s: int
    rate_low_nl_per_s: int
    rate_high_nl_per_s: int
    offset_nl: int
    offset_low_nl: int
    offset_high_nl: int
    spread_percent: float
    within_percent: float
    smallest_ul: int


def flow_of(runs: Sequence[MeasuredRun], *, one_length: bool = False) -> Flow | Finding:
    """The flow of measured runs, or why they come to none.

    Shape: three runs or more, in any order, of two lengths unless the pump knows
    `one_length` only: then start and stop are part of its rate.
    Range: times and volumes above 0, one shot a run or more.
    """
    if len(runs) < RUNS_AT_LEAST or min(run.ran_ms for run in runs) <= 0:
        return not_kept(f"{len(runs)} runs", f"{RUNS_AT_LEAST} runs or more")
    times = [run.shot_s for run in runs]
    if min(times) * LENGTHS_APART > max(times) and not one_length:
        lengths = f"from {min(times):.2f} to {max(times):.2f} s"
        return not_kept(
            f"the shots last {lengths}",
            f"the longest {LENGTHS_APART:g} times the shortest, or more",
        )
    if min(run.volume_ul for run in runs) <= 0:
        return not_kept("a run gave nothing", "a volume in the cylinder")
    line = line_of(runs, one_length=one_length)
    # In the order of the line, so that the same runs say the same to the last digit.
    points = sorted((run.shot_s, run.shot_ul) for run in runs)
    seconds, volumes = [shot_s for shot_s, _ in points], [ul for _, ul in points]
    return _contradiction(line, seconds, volumes) or _flow(line, seconds, volumes)


def line_of(runs: Sequence[MeasuredRun], *, one_length: bool = False) -> Fit:
    """The line through runs that a flow came of: seconds of a shot, its microlitres.

    Its `scale` is 1 where a single shot scatters by `SHARE_SD`.
    """
    # In one order, so that a sum of the same runs is the same to the last digit.
    points = sorted((run.shot_s, run.shot_ul, run.shots) for run in runs)
    seconds = [shot_s for shot_s, _, _ in points]
    volumes = [shot_ul for _, shot_ul, _ in points]
    sds = [_mean_sd_ul(shot_ul, shots) for _, shot_ul, shots in points]
    return (line_from_nought if one_length else fitted_line)(seconds, volumes, sds)


def _mean_sd_ul(shot_ul: float, shots: int = 1) -> float:
    """How far the mean of so many shots, read at once, lies from what is always given.

    A run is read once, whatever the number of its shots; each shot errs by itself.
    """
    return hypot(READING_SD_UL / shots, SHARE_SD * shot_ul / sqrt(shots))


def _contradiction(
    line: Fit, seconds: Sequence[float], volumes: Sequence[float]
) -> Finding | None:
    if line.slope <= 0 or min(line.at(run_s) for run_s in seconds) <= 0:
        return not_kept("longer runs gave less", "more from a longer run")
    spread = _spread_percent(line, seconds, volumes)
    if spread > SPREAD_AT_MOST_PERCENT:
        return not_kept(
            f"the runs differ by {spread:.1f} %",
            f"{SPREAD_AT_MOST_PERCENT:.0f} % or less",
        )
    share = 100 * abs(line.intercept) / min(volumes)
    if share > OFFSET_AT_MOST_PERCENT and not _is_lag(line, seconds):
        start = "lose" if line.intercept < 0 else "add"
        offset_ul = round(abs(line.intercept))
        return not_kept(
            f"start and stop {start} {show_volume(offset_ul)} in each shot, "
            f"{share:.0f} % of the shortest",
            f"{OFFSET_AT_MOST_PERCENT:.0f} % or less",
        )
    return None


def _is_lag(line: Fit, seconds: Sequence[float]) -> bool:
    """Whether what is lost is what a slow start takes, and no slip of one reading."""
    middle = (min(seconds) + max(seconds)) / 2
    longer = sum(shot_s > middle for shot_s in seconds)
    is_sure = TWICE <= longer <= len(seconds) - TWICE
    return is_sure and 0 <= -line.intercept <= LAG_AT_MOST_S * line.slope


def _spread_percent(
    line: Fit, seconds: Sequence[float], volumes: Sequence[float]
) -> float:
    shares = [
        volume / line.at(run_s) for run_s, volume in zip(seconds, volumes, strict=True)
    ]
    return 100 * (max(shares) - min(shares))


def _flow(line: Fit, seconds: Sequence[float], volumes: Sequence[float]) -> Flow:
    # Runs that agree by luck do not make a cylinder finer than it is.
    scale = max(line.scale, 1.0)
    reach = line.reach() * scale
    rate_reach, offset_reach = reach * line.slope_sd, reach * line.intercept_sd
    return Flow(
        rate_nl_per_s=round(line.slope * NL_PER_UL),
        rate_low_nl_per_s=round((line.slope - rate_reach) * NL_PER_UL),
        rate_high_nl_per_s=round((line.slope + rate_reach) * NL_PER_UL),
        offset_nl=round(line.intercept * NL_PER_UL),
        offset_low_nl=round((line.intercept - offset_reach) * NL_PER_UL),
        offset_high_nl=round((line.intercept + offset_reach) * NL_PER_UL),
        spread_percent=_spread_percent(line, seconds, volumes),
        within_percent=max(
            100 * reach * line.sd_at(shot_s) / line.at(shot_s)
            for shot_s in (min(seconds), max(seconds))
        ),
        smallest_ul=_smallest_ul(line, scale, max(volumes)),
    )


def _smallest_ul(line: Fit, scale: float, largest_ul: float) -> int:
    """The least volume of which one shot misses no more than a tenth, 19 times in 20.

    What one shot misses is its own scatter and the error of the line together. The
    share falls from small volumes to large ones, so halving finds its place; no volume
    beyond the largest shot is vouched for.
    """

    def is_reliable(volume_ul: float) -> bool:
        run_s = (volume_ul - line.intercept) / line.slope
        sd_ul = scale * hypot(_mean_sd_ul(volume_ul), line.sd_at(run_s))
        return COVERAGE * sd_ul <= RELIABLE_SHARE * volume_ul

    low, high = 0, int(largest_ul) + 1
    while high - low > 1:
        middle = (low + high) // 2
        if is_reliable(middle):
            high = middle
        else:
            low = middle
    return high


def not_kept(what: str, expected: str) -> Finding:
    """Why nothing that was measured is kept, and what to look at."""
    return Finding(
        what=what,
        where="calibration",
        expected=expected,
        do="No rate is kept from this. Look at the decimal point of what was typed; "
        "free the tube of air, prime, and measure again.",
    )
