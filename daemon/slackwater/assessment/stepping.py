"""A change of a daily amount, in steps that animals stand.

Floor 3. One subject: how fast a dose moves. Laws here: up by a tenth or an absolute
step a day, down by a fifth; up to what is surely taken up it may go at once, because
that raises nothing.
Units: any amount a day, the same for all figures.
Source: `water.ramps`, common practice, no source.
"""

from slackwater.water.ramps import Bounds, next_dose

# What is left after so many steps comes with a later proposal.
STEPS_AT_MOST = 8


def steps(now: float, goal: float, first_step: float, free: float) -> tuple[float, ...]:
    """The amounts of the days from the first on; the last one stays.

    Range: all 0 or more; `first_step` is the absolute step a day, without which nothing
    ever starts from 0; `free` what is surely taken up.
    Shape: 1 to `STEPS_AT_MOST` values; the last is the goal, or short of it. What is
    to end ends at once.
    """
    if goal == 0:
        return (0.0,)
    bounds = Bounds(cap=max(now, goal), least_rise=first_step)
    amounts: list[float] = []
    amount = now
    while len(amounts) < STEPS_AT_MOST and (amount != goal or not amounts):
        amount = max(next_dose(amount, goal, 0.0, bounds), min(goal, free))
        amounts.append(amount)
    return tuple(amounts)
