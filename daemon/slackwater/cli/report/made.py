"""Everything a report tells, made once from files and past.

Floor 8. One subject: the record behind every face. Laws here: text, document and page
are written from it and from nothing else; what a plan's faulty lines would do is not
guessed, the sound part is rehearsed and the faults stand first.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

from slackwater.cli.checked import Checked, check_files
from slackwater.cli.lasting import held, lasting
from slackwater.cli.reading import Files
from slackwater.cli.rehearsal_document import Rehearsed
from slackwater.cli.report.extent import days_ahead, first_day
from slackwater.cli.report.living import as_lived, uptakes_of
from slackwater.cli.report.past import Interval, Past
from slackwater.cli.spreading import one_by_one
from slackwater.facts.plan import Plan
from slackwater.facts.state import State
from slackwater.facts.tank import Machine, Reservoir
from slackwater.gate.moment import rules_for
from slackwater.planning.changes import Change, changes, touched_pumps
from slackwater.planning.daily import added_by_pumps, highest_daily_ul
from slackwater.planning.faults import line_faults
from slackwater.planning.timetable import timetable_of
from slackwater.rehearsal.clock_changes import Way, next_changes
from slackwater.rehearsal.faults.case import FaultRun
from slackwater.rehearsal.faults.cases import CASES
from slackwater.rehearsal.faults.running import run_cases
from slackwater.rehearsal.forecast import (
    Forecast,
    Hours,
    Salt,
    forecast,
    hours_to_floor,
    salt_left,
)
from slackwater.rehearsal.found import Spread
from slackwater.rehearsal.record import Rehearsal
from slackwater.rehearsal.rehearsal import rehearse, rehearse_by
from slackwater.rehearsal.reserves import (
    Bottle,
    Gap,
    LongestRun,
    bottles,
    closest_gaps,
    longest_runs,
)
from slackwater.rehearsal.trace import Traced, most_loaded, trace
from slackwater.rehearsal.worst_case import Worst, worst_cases

ONE_DAY = timedelta(days=1)
# A clock change is rehearsed with the day before and the day after it.
AROUND_DAYS = 3
MS_A_SECOND = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What a person asked of the rehearsal; None where `extent` is to say."""

    days: int | None = None
    first: date | None = None
    visit: date | None = None
    faults: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockChange:
    """The days around one clock change, rehearsed like any other."""

    zone: str
    way: Way
    day: date
    record: Rehearsal


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """One rehearsal with all that is read beside it.

    `faults` None where they were not asked for. `clock_changes` lie outside the days
    of the rehearsal; `trace` is that of `loaded`, the most loaded day. `planned` is
    what the plan asks for of a tank's parameter on the day that asks most, whatever
    the gate would make of it, pico-units without outside sources. `visit` is the day
    that was asked for, else that of return from a declared absence.
    """

    done: Rehearsed
    checked: Checked
    past: Past
    visit: date | None
    visit_is: Literal["visit", "return"]
    highest_ul: int
    planned: Mapping[tuple[str, str], int]
    uptakes: Mapping[str, Mapping[str, Interval]]
    clock_changes: tuple[ClockChange, ...]
    forecasts: tuple[Forecast, ...]
    hours: Mapping[str, Hours]
    salts: tuple[Salt, ...]
    bottles: tuple[Bottle, ...]
    gaps: tuple[Gap, ...]
    runs: tuple[LongestRun, ...]
    worst: tuple[Worst, ...]
    loaded: date | None = None
    trace: tuple[Traced, ...] = ()
    faults: FaultRun | None = None
    changes: tuple[Change, ...] = ()
    touched: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def machine(self) -> Machine:
        """The machine that was rehearsed."""
        return self.done.machine

    @property
    def plan(self) -> Plan:
        """The sound part of the plan."""
        return self.done.files.plan

    @property
    def still_old(self) -> dict[str, int]:
        """Lines that an old doser gives until taken over: its microlitres a day."""
        given = dict.fromkeys(sorted(self.past.still_old & self.plan.names), 0)
        for source in self.checked.machine.outside:
            if source.replaced_by in given:
                name = source.replaced_by
                given[name] = max(given[name], source.volume_ul)
        return given

    def outside(self, tank: str, parameter: str) -> int:
        """What sources outside the daemon add of a parameter a day, pico-units."""
        return sum(
            source.per_day
            for source in self.machine.outside
            if (source.tank, source.parameter) == (tank, parameter)
        )


def make_report(
    files: Files, past: Past, wishes: Wishes, spread: Spread = one_by_one
) -> Report:
    """Rehearse and reckon everything; `spread` does the parts of the machine."""
    checked = check_files(files)
    plan = checked.sound
    # What an old doser gives is given by the plan by then.
    machine = files.machine.handed_over(plan.names)
    first = wishes.first or first_day(plan, machine, past.at)
    asked_days = wishes.days or days_ahead(plan, first)
    record = rehearse_by(spread, machine, plan, first, asked_days)
    days = (record.first, record.until)
    lived = as_lived(machine, past)
    visit = wishes.visit or past.back_on
    reserves = _reserves(machine, plan, past, record, visit)
    # What the ledger knows of a bottle counts, here as everywhere.
    emptied = {one.id: one.empty_on if one.within else None for one in reserves}
    record = replace(record, empty_on=emptied)
    loaded = most_loaded(record.doses)
    return Report(
        done=Rehearsed(
            files=Files(machine=machine, plan=plan),
            digest=checked.digest,
            record=record,
            findings=checked.findings,
        ),
        checked=checked,
        past=past,
        visit=visit,
        visit_is="visit" if wishes.visit else "return",
        highest_ul=highest_daily_ul(plan, machine),
        planned=added_by_pumps(timetable_of(plan, machine)),
        uptakes=uptakes_of(machine, past),
        clock_changes=tuple(_clock_changes(_settled(machine), plan, days)),
        forecasts=tuple(
            forecast(lived, tank, record.doses, days, past.levels.get(tank, {}))
            for tank in sorted(machine.tanks)
        ),
        hours={
            tank: hours_to_floor(lived, tank, past.levels.get(tank, {}))
            for tank in sorted(machine.tanks)
        },
        salts=tuple(
            salt_left(machine, tank, record.doses)
            for _, tank in sorted(machine.tanks.items())
        ),
        bottles=reserves,
        gaps=closest_gaps(_gaps_s(machine, plan), record.doses),
        runs=longest_runs(machine, record.doses),
        worst=worst_cases(machine, (line.pump for line in plan.lines), past.levels),
        loaded=loaded,
        trace=() if loaded is None else trace(_settled(machine), plan, loaded),
        faults=run_cases(machine, plan, first, CASES) if wishes.faults else None,
        changes=_changes(past, machine, plan),
        touched=_touched(past, machine, plan),
    )


def _settled(machine: Machine) -> Machine:
    """The machine once the half doses after enabling are over."""
    return replace(machine, timing=replace(machine.timing, half_stage_s=0.0))


def _changes(past: Past, machine: Machine, plan: Plan) -> tuple[Change, ...]:
    before = past.before
    # A plan approved by an older version may not be laid out any more.
    if before is None or line_faults(before.plan, before.machine):
        return ()
    return changes((before.plan, before.machine), (plan, machine))


def _touched(past: Past, machine: Machine, plan: Plan) -> Mapping[str, tuple[str, ...]]:
    if past.before is None:
        return {}
    return touched_pumps(past.before.machine, machine, plan)


def _clock_changes(
    machine: Machine, plan: Plan, days: tuple[date, date]
) -> list[ClockChange]:
    """The next change each way of every zone of the plan, where it lies ahead.

    Shape: in the order of the calendar.
    """
    zones = {machine.tanks[line.tank].zone for line in plan.lines}
    ahead = sorted(
        (day, zone, way)
        for zone in zones
        for way, day in next_changes(zone, days[0]).items()
        if day + ONE_DAY > days[1]
    )
    return [
        ClockChange(
            zone=zone,
            way=way,
            day=day,
            record=rehearse(machine, plan, day - ONE_DAY, AROUND_DAYS),
        )
        for day, zone, way in ahead
    ]


def _reserves(
    machine: Machine, plan: Plan, past: Past, record: Rehearsal, visit: date | None
) -> tuple[Bottle, ...]:
    """Every bottle, with the interval that a status gives it."""
    books, days = past.held or held(machine, State()), (record.first, record.until)
    found = bottles(_filled(machine, past), plan, record.doses, days, visit)
    lasts = {
        name: lasting(machine, plan, name, one, record.first)
        for name, one in books.items()
    }
    return tuple(
        replace(one, low_days=lasts[one.id].days_low, high_days=lasts[one.id].days_high)
        if one.id in lasts
        else one
        for one in found
    )


def _filled(machine: Machine, past: Past) -> Machine:
    """The machine with what is left in its bottles by the books."""
    reservoirs = {
        name: Reservoir(id=name, content_ul=past.left_ul.get(name, one.content_ul))
        for name, one in machine.reservoirs.items()
    }
    return replace(machine, reservoirs=reservoirs)


def _gaps_s(machine: Machine, plan: Plan) -> dict[tuple[str, str], float]:
    """The pause each pair of pumps must keep, as the gate has it."""
    used = {line.pump for line in plan.lines}
    rules = rules_for(machine, plan)
    return {
        (pump, other): gap_ms / MS_A_SECOND
        for pump in sorted(used)
        for other, gap_ms in rules.pumps[pump].apart
        if other in used
    }
