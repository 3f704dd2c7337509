"""What is left in a reservoir, by the books, and how far that may be off.

Floor 2. One subject: content less what was drawn since the last fill or level. Laws
here: what is believed to have flowed counts, calibration runs too; a reservoir whose
fill nobody wrote down counts from what the machine file says; what nobody measured
again grows less certain with each dose.
Source: an interval is twice the standard deviation, limits that are merely stated are
those of an even spread (JCGM 100:2008, 6.2.1 and 4.3.7).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, hypot, sqrt

from slackwater.facts.state import Fill, State
from slackwater.facts.storing import FILL_WITHIN_PERCENT
from slackwater.facts.tank import Machine, Pump

COVERAGE = 2.0
EVEN = sqrt(3)
# One run of a pump is within 5 % of its mean; common practice, no source.
RUN_SD = 0.05 / EVEN
# What a rate that nobody measured may be off; common practice, no source.
UNMEASURED_SD = 0.10 / EVEN


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What a reservoir holds, microlitres, with an interval that holds 95 percent."""

    left_ul: int
    low_ul: int
    high_ul: int


def left_ul(machine: Machine, state: State, reservoir: str) -> int:
    """Microlitres left, never below nothing."""
    fill = _fill(machine, state, reservoir)
    drawn_ul = sum(
        _since(state.drawn_ul, fill.drawn_ul, pump)
        for pump in _sharing(machine, reservoir)
    )
    return max(fill.content_ul - drawn_ul, 0)


def stock(machine: Machine, state: State, reservoir: str) -> Stock:
    """What is left, with the interval that grew since the last fill or level.

    Pumps that share a reservoir err apart, what one pump's calibration is off adds up
    dose by dose.
    """
    fill, left = (
        _fill(machine, state, reservoir),
        left_ul(machine, state, reservoir),
    )
    parts = [fill.within_ul / EVEN]
    for pump in _sharing(machine, reservoir):
        drawn = _since(state.drawn_ul, fill.drawn_ul, pump)
        runs = max(_since(state.runs, fill.runs, pump), 1)
        parts += [drawn * rate_sd(state, pump.id), drawn * RUN_SD / sqrt(runs)]
    reach = ceil(COVERAGE * hypot(*parts))
    return Stock(left_ul=left, low_ul=max(left - reach, 0), high_ul=left + reach)


def rate_sd(state: State, pump: str) -> float:
    """How far the rate of a pump may be off, a share, by its calibration's interval."""
    known = state.calibrations.get(pump)
    if known is None or known.rate_interval_nl_per_s is None:
        return UNMEASURED_SD
    low, high = known.rate_interval_nl_per_s
    return (high - low) / (2 * COVERAGE * known.rate_nl_per_s)


def _fill(machine: Machine, state: State, reservoir: str) -> Fill:
    known = state.fills.get(reservoir)
    if known is not None:
        return known
    content_ul = machine.reservoirs[reservoir].content_ul
    within_ul = content_ul * FILL_WITHIN_PERCENT // 100
    return Fill(content_ul=content_ul, mixed_at=None, within_ul=within_ul)


def _sharing(machine: Machine, reservoir: str) -> list[Pump]:
    """The pumps that draw from a reservoir, of whatever tank, in order of name."""
    pumps = [machine.pumps[name] for name in sorted(machine.pumps)]
    return [pump for pump in pumps if pump.reservoir == reservoir]


def _since(now: Mapping[str, int], then: Mapping[str, int], pump: Pump) -> int:
    return now.get(pump.id, 0) - then.get(pump.id, 0)
