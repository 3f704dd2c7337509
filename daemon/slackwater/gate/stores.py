"""What calibrations, bottles and the age of a solution do to doses.

Floor 3. One subject: what stands behind a pump. Laws here: an empty bottle stops its
pump, and so do levels that say it gives far more or less than is believed, or that far
more is gone than it gave; all else ends corrections and never halts upkeep; a bottle
whose fill nobody wrote down is not judged.
Source: ages are common practice, no source.
"""

from collections.abc import Iterator

from slackwater.facts.inventory import left_ul
from slackwater.facts.limits import limits_of
from slackwater.facts.reasons import Code, Reason, because
from slackwater.facts.wear import is_unmeasured
from slackwater.gate.drift import drift_of, stops_beyond
from slackwater.gate.losses import lost_ul
from slackwater.gate.moment import LineRule, Moment, PumpRule

DAY_S = 86_400


def calibration_refuses(
    moment: Moment, pump: PumpRule, line: LineRule
) -> Iterator[Reason]:
    """A correction by a pump not measured for too long, or not since its tube."""
    if line.line.purpose != "correction":
        return
    measured = moment.state.calibrations.get(pump.pump.id)
    if measured is None:
        return
    if is_unmeasured(moment.state, pump.pump.id):
        swapped = moment.state.tubes[pump.pump.id]
        yield because(
            Code.CALIBRATION_OLD, pump=pump.pump.id, tube_swapped=f"{swapped:%Y-%m-%d}"
        )
        return
    age_s = (moment.now.utc - measured.at).total_seconds()
    limit_s = limits_of(moment.machine.limits, pump.pump.tank).calibration_ends_s
    if age_s >= limit_s:
        yield because(
            Code.CALIBRATION_OLD,
            pump=pump.pump.id,
            age_days=int(age_s // DAY_S),
            limit_days=int(limit_s // DAY_S),
        )


def drift_refuses(moment: Moment, pump: PumpRule, _line: LineRule) -> Iterator[Reason]:
    """The levels of its bottle say that the pump is far from its calibration.

    Which of several pumps on one bottle it is, they cannot say; it ends with a new
    calibration, since which older levels tell nothing.
    """
    reservoir = pump.pump.reservoir
    if reservoir not in moment.state.intervals:
        return
    found = drift_of(moment.state, reservoir)
    limit = stops_beyond(moment.machine, reservoir)
    if found is not None and found.is_beyond(limit):
        yield because(
            Code.PUMP_FAR_OFF,
            reservoir=reservoir,
            pumps=", ".join(found.pumps),
            used_over_believed=round(found.ratio, 2),
            limit_percent=round(limit * 100),
        )


def loss_refuses(moment: Moment, pump: PumpRule, _line: LineRule) -> Iterator[Reason]:
    """The levels of its bottle say that more is gone than its pumps took."""
    reservoir = pump.pump.reservoir
    if reservoir not in moment.state.intervals:
        return
    astray_ul = lost_ul(moment.machine, moment.state, reservoir)
    if astray_ul:
        yield because(Code.BOTTLE_LOST, reservoir=reservoir, lost_ul=astray_ul)


def empty_refuses(moment: Moment, pump: PumpRule, line: LineRule) -> Iterator[Reason]:
    """What is left does not cover one dose of the line."""
    reservoir = pump.pump.reservoir
    if reservoir not in moment.state.fills:
        return
    rest_ul = left_ul(moment.machine, moment.state, reservoir)
    dose_ul = line.line.per_day_ul // line.line.count
    if rest_ul < dose_ul:
        yield because(
            Code.RESERVOIR_EMPTY, reservoir=reservoir, left_ul=rest_ul, dose_ul=dose_ul
        )


def low_refuses(moment: Moment, pump: PumpRule, line: LineRule) -> Iterator[Reason]:
    """A correction from a bottle that is nearly empty."""
    reservoir = pump.pump.reservoir
    if reservoir not in moment.state.fills or line.line.purpose != "correction":
        return
    rest_ul = left_ul(moment.machine, moment.state, reservoir)
    low_ul = moment.machine.reservoirs[reservoir].low_ul
    if rest_ul <= low_ul:
        yield because(
            Code.RESERVOIR_LOW, reservoir=reservoir, left_ul=rest_ul, low_ul=low_ul
        )


def old_refuses(moment: Moment, pump: PumpRule, line: LineRule) -> Iterator[Reason]:
    """A correction by a solution that is older than it keeps."""
    reservoir = pump.pump.reservoir
    fill = moment.state.fills.get(reservoir)
    if fill is None or fill.mixed_at is None or line.line.purpose != "correction":
        return
    keeps_s = moment.machine.reservoirs[reservoir].keeps_s
    age_s = (moment.now.utc - fill.mixed_at).total_seconds()
    if 0 < keeps_s <= age_s:
        yield because(
            Code.RESERVOIR_OLD,
            reservoir=reservoir,
            age_days=int(age_s // DAY_S),
            keeps_days=int(keeps_s // DAY_S),
        )
