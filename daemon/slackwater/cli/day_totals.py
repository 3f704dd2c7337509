"""How closely a day's total is known, for each line of a plan.

Floor 8. One subject: what calibrations say of the plan's own doses. Laws here: what was
not measured is not known, and is said so; it is a warning and no refusal; more doses
are only spoken of where plan, pump and caps take them.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil

from slackwater.cli.checked import Checked
from slackwater.cli.render import local_day, section, table
from slackwater.errors import Finding
from slackwater.facts.events import Calibrated
from slackwater.facts.plan import Plan, PlanLine
from slackwater.facts.tank import Machine
from slackwater.ledger.codec import timestamp
from slackwater.planning.ceilings import check
from slackwater.pump.day_total import day_within_percent
from slackwater.pump.flow import MeasuredRun, flow_of
from slackwater.water.show import show_volume

# The promise of the project for the day after a calibration.
WANTED_PERCENT = 1.0
# Numbers of doses that people plan with; the largest is the most a line may have.
COUNTS = (12, 16, 24, 32, 48, 72, 96, 144, 192, 288)
TITLE = "How closely a day's total is known (nineteen days of twenty)"
WORN = (
    "As it was measured: a tube that wears by 1 % a week adds as much for each week "
    "since, and only a new calibration ends that."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTotal:
    """One line; `within_percent` is None where no calibration tells.

    `swapped_at` is when its tube was, where that was after it was measured.
    `enough` is the least number of doses that keeps the total within what is wanted,
    with what it comes to; None where none does, or the line does it as it is.
    """

    line: PlanLine
    zone: str
    measured_at: datetime | None = None
    swapped_at: datetime | None = None
    within_percent: float | None = None
    enough: tuple[int, float] | None = None

    @property
    def name(self) -> str:
        """As the plan calls it."""
        return f"{self.line.tank}/{self.line.id}"


def day_totals(
    checked: Checked,
    calibrations: Mapping[str, Calibrated],
    new_tubes: Mapping[str, datetime],
) -> tuple[DayTotal, ...]:
    """Each sound line of the plan, in its order.

    `new_tubes` are pumps whose tube is newer than their calibration, with its time.
    """
    machine, plan = checked.machine, checked.sound
    found = (
        _total(plan, machine, line, calibrations.get(line.pump)) for line in plan.lines
    )
    return tuple(
        replace(
            one,
            swapped_at=new_tubes[one.line.pump],
            within_percent=None,
            enough=None,
        )
        if one.line.pump in new_tubes
        else one
        for one in found
    )


def _total(
    plan: Plan, machine: Machine, line: PlanLine, known: Calibrated | None
) -> DayTotal:
    made = DayTotal(line=line, zone=machine.tanks[line.tank].zone)
    if known is None:
        return made
    relay = machine.nodes[machine.pumps[line.pump].node].relay
    one_length = relay is not None and relay.always_ms > 0
    runs = [
        MeasuredRun(ran_ms=ms, volume_ul=volume_ul, shots=known.shots_each)
        for ms, volume_ul in known.runs
    ]
    # An entry from before the runs were kept comes to no flow.
    if isinstance(flow_of(runs, one_length=one_length), Finding):
        return replace(made, measured_at=known.at)

    def within(count: int) -> float:
        each_ul = line.per_day_ul / count
        return day_within_percent(runs, each_ul, count, one_length=one_length)

    found = within(line.count)
    reliable = _with_smallest(machine, known)
    counts = [
        (count, within(count))
        for count in COUNTS
        if count > line.count and found > WANTED_PERCENT and not one_length
    ]
    fits = (
        (count, percent)
        for count, percent in counts
        if percent <= WANTED_PERCENT and _takes(plan, reliable, line, count)
    )
    return replace(
        made, measured_at=known.at, within_percent=found, enough=next(fits, None)
    )


def _with_smallest(machine: Machine, known: Calibrated) -> Machine:
    pump = machine.pumps[known.pump]
    smallest_ul = max(pump.smallest_dose_ul, known.smallest_ul)
    pump = replace(pump, smallest_dose_ul=smallest_ul)
    return replace(machine, pumps={**machine.pumps, pump.id: pump})


def _takes(plan: Plan, machine: Machine, line: PlanLine, count: int) -> bool:
    """Whether the plan is as sound with so many doses of a line as it is now."""
    if not line.windows:
        return False
    more = replace(line, count=count)
    lines = tuple(more if one is line else one for one in plan.lines)
    return not set(check(replace(plan, lines=lines), machine)) - set(
        check(plan, machine)
    )


def total_document(one: DayTotal) -> dict[str, object]:
    """One line for programs."""
    enough = one.enough
    return {
        "line": one.name,
        "pump": one.line.pump,
        "doses": one.line.count,
        "measured_at": None if one.measured_at is None else timestamp(one.measured_at),
        "tube_swapped_at": None
        if one.swapped_at is None
        else timestamp(one.swapped_at),
        "within_percent": _rounded(one.within_percent),
        "wanted_percent": WANTED_PERCENT,
        "doses_enough": None if enough is None else enough[0],
        "within_percent_then": None if enough is None else _rounded(enough[1]),
    }


def _rounded(percent: float | None) -> float | None:
    return None if percent is None else round(percent, 2)


def totals_words(totals: Sequence[DayTotal]) -> Iterator[str]:
    """A table with a warning for each line that more doses would mend."""
    heads = ("line", ">doses", ">of", ">within", "measured")
    rows = [
        (
            one.name,
            str(one.line.count),
            show_volume(round(one.line.per_day_ul / one.line.count)),
            _percent(one.within_percent),
            _measured(one),
        )
        for one in totals
    ]
    body = table(heads, rows)
    is_known = any(one.within_percent is not None for one in totals)
    yield section(f"\n{TITLE}", f"{body}\n{WORN}" if is_known else body)
    for one in totals:
        if one.swapped_at is not None:
            yield f"Warning: {_new_tube(one, local_day(one.swapped_at, one.zone))}\n"
    yield from (f"Warning: {_warning(one)}\n" for one in totals if one.enough)


def _measured(one: DayTotal) -> str:
    if one.measured_at is None:
        return f"not yet: slackwater calibrate {one.line.pump}"
    day = local_day(one.measured_at, one.zone)
    if one.swapped_at is not None:
        return f"{day}, before its tube was swapped"
    return (
        day if one.within_percent is not None else f"{day}, but its runs are not kept"
    )


def _new_tube(one: DayTotal, day: str) -> str:
    return (
        f"{one.name}: not known: the tube was swapped after it was measured ({day}); "
        f"calibrate it: slackwater calibrate {one.line.pump}."
    )


def _percent(percent: float | None) -> str:
    # A bound is rounded up.
    return "not known" if percent is None else f"{ceil(percent * 10) / 10:.1f} %"


def _warning(one: DayTotal) -> str:
    count, percent = one.enough or (one.line.count, 0.0)
    return (
        f"{one.name} is within {_percent(one.within_percent)} a day as it is, more "
        f"than {WANTED_PERCENT:g} %; {count} doses of "
        f"{show_volume(round(one.line.per_day_ul / count))} would make it "
        f"{_percent(percent)}."
    )
