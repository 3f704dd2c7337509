"""How closely the total of a day is known, from the runs a pump was measured by.

Floor 3. One subject: measured runs and a number of equal doses → an interval. Laws
here: it holds for the pump as it was measured, and says nothing of wear since then;
runs that agree by luck make no pump steadier than a steady one.

Two things are unknown: the line through the runs, whose error all doses of a day share,
and what each dose scatters by itself, which averages out with the root of their number.
Both are reckoned from the residuals of the runs, so their sum is multiplied by one
Student's t of these (the interval of a later mean of a fitted line).
Source: JCGM 100:2008, 5.1.2 (variances add), G.3.2 (Student's t), 4.2.3 (a mean).
"""

from collections.abc import Sequence
from math import hypot, sqrt

from slackwater.pump.flow import SHARE_SD, MeasuredRun, line_of

# A calibration ends as soon as its runs agree, so they scatter less than those to come:
# at 95 % an interval would hold on 93 of 100 days (`tests/bench/booked.py`).
CONFIDENCE = 0.975


def day_within_percent(
    runs: Sequence[MeasuredRun], volume_ul: float, doses: int, *, one_length: bool
) -> float:
    """How far the total of so many doses is off at most, nineteen days of twenty.

    Shape: three runs or more that a flow came of. Units: microlitres of one dose;
    percent of the total. Range: volume above 0, one dose or more.
    """
    shared, own = parts_percent(runs, volume_ul, one_length=one_length)
    return hypot(shared, own / sqrt(doses))


def parts_percent(
    runs: Sequence[MeasuredRun], volume_ul: float, *, one_length: bool
) -> tuple[float, float]:
    """By how much all doses of a size are off together, and each by itself."""
    line = line_of(runs, one_length=one_length)
    # No pump is steadier than a steady one, as in `flow`.
    reach = 100 * line.reach(CONFIDENCE) * max(line.scale, 1.0)
    run_s = (volume_ul - line.intercept) / line.slope
    return reach * line.sd_at(run_s) / volume_ul, reach * SHARE_SD
