"""What a person should look at twice, though nothing forbids it.

Floor 8. One subject: warnings of a report. Laws here: each says the figure that led to
it; a cause stands before what follows from it; none of them refuses anything.
Thresholds are common practice, no source.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction

from slackwater.cli.amounts import effect_words
from slackwater.cli.measured_places import moved_pumps
from slackwater.cli.report.foreseen import elements_beyond, rises_beside_tests
from slackwater.cli.report.made import Report
from slackwater.cli.report.words import day_words, level_words, number, rate_words
from slackwater.cli.uptake_words import apart_words
from slackwater.facts.plan import PlanLine
from slackwater.planning.strain import cautions
from slackwater.planning.timetable import Timetable
from slackwater.rehearsal.record import RehearsedDose
from slackwater.rehearsal.virtual_tank import ALKALINITY, canonical
from slackwater.water.show import show_volume

# A plan that brings so much more or less than what is taken up wants a look.
FAR_MORE, FAR_LESS = 1.5, 0.5
# A bottle must outlast a long weekend: nobody is there to see it empty.
WEEKEND_DAYS = 4.0
# A cap with so little room refuses a dose as soon as anything is late.
TIGHT = Fraction(105, 100)
CALIBRATION_DAYS = 75
# All of a day's doses within less than this are one dose in all but name.
NARROW_MINUTES = 60


def minds(report: Report) -> tuple[str, ...]:
    """Every warning: what a slip of the pen looks like first, then what follows."""
    return tuple(
        text
        for kind in (
            _far_from_uptake,
            _apart,
            _changed_pumps,
            _misnamed,
            _missing_hour,
            _narrow,
            _unkept,
            _beyond,
            _rises,
            _bottles,
            _tight_caps,
            _unwatched,
            _calibrations,
            _others,
            _undated,
        )
        for text in kind(report)
    )


def _unkept(report: Report) -> Iterator[str]:
    """Doses that would be missed or shortened, by line, with the first of each."""
    groups: dict[tuple[str, str], list[RehearsedDose]] = {}
    for each in report.done.record.doses:
        if each.verdict != "granted":
            line = f"{each.dose.tank}/{each.dose.line}"
            groups.setdefault((each.verdict, line), []).append(each)
    for (verdict, line), doses in sorted(groups.items()):
        first = doses[0]
        # Two probes may say the same.
        why = " ".join(dict.fromkeys(reason.text for reason in first.reasons))
        yield f"{line}: {len(doses)} {verdict}, the first {first.dose.id}: {why}"


def _far_from_uptake(report: Report) -> Iterator[str]:
    """A strength off by ten shows here first."""
    for (tank_id, name), pico in sorted(report.planned.items()):
        uptake = report.uptakes[tank_id].get(name)
        if uptake is None or uptake.estimate <= 0:
            continue
        tank, outside = report.machine.tanks[tank_id], report.outside(tank_id, name)
        ratio = canonical(tank, name, pico + outside) / uptake.estimate
        if FAR_LESS <= ratio <= FAR_MORE:
            continue
        yield (
            f"{tank_id} {name}: {effect_words(name, pico + outside, tank)} a day is "
            f"{number(ratio)} times the uptake of {rate_words(name, uptake.estimate)}"
        )


def _apart(report: Report) -> Iterator[str]:
    """Uptakes by tests that the file states otherwise: one of the two misleads."""
    for tank, found in sorted(report.past.apart.items()):
        yield from apart_words(found, report.machine.tanks[tank], report.planned)


def _beyond(report: Report) -> Iterator[str]:
    """Levels that leave their bounds although the uptake is as believed."""
    for each in report.forecasts:
        zone = report.machine.tanks[each.tank].zone
        for crossing in each.crossings:
            if crossing.uptake == "same":
                guard = report.machine.guards[each.tank]
                beyond = f"below its floor of {level_words(ALKALINITY, guard.floor)}"
                if crossing.bound == "ceiling":
                    ceiling = level_words(ALKALINITY, guard.ceiling)
                    beyond = f"above its ceiling of {ceiling}"
                when = day_words(crossing.at, zone)
                yield f"{each.tank} alkalinity would be {beyond} from {when} on"
        yield from elements_beyond(report.machine, each)


def _rises(report: Report) -> Iterator[str]:
    """Caps that hold by what the file states and not by what tests show."""
    timetable = Timetable(report.plan, report.machine)
    yield from rises_beside_tests(report.machine, timetable, report.past.uptakes)


def _changed_pumps(report: Report) -> Iterator[str]:
    moved = moved_pumps(report.past.measured, report.plan, report.machine)
    for one in moved:
        yield f"{one.where}: {one.what}"
    told = {one.where for one in moved}
    for pump, why in report.touched.items():
        if len(why) == 1 and f"pump {pump}" in told:
            continue
        yield f"pump {pump} is not the one approved before: {', '.join(why)}"


def _misnamed(report: Report) -> Iterator[str]:
    """A pump that is called after another solution than the one it gives."""
    machine = report.machine
    for name in sorted({line.pump for line in report.plan.lines}):
        gives = machine.pumps[name].solution
        for other in sorted(machine.solutions):
            if other != gives and other in name and gives not in name:
                yield f"pump {name} gives {gives}, not {other}: are the hoses right?"


def _bottles(report: Report) -> Iterator[str]:
    for bottle in report.bottles:
        if bottle.lasts_days is None or bottle.empty_on is None:
            continue
        if bottle.short_ul:
            yield (
                f"bottle {bottle.id} lacks {show_volume(bottle.short_ul)} until the "
                f"{report.visit_is} on {day_of(report.visit)}"
            )
        elif bottle.lasts_days < WEEKEND_DAYS:
            yield (
                f"bottle {bottle.id} is empty after {number(bottle.lasts_days)} days, "
                f"on {day_of(bottle.empty_on)}: it does not last a long weekend"
            )


def day_of(day: date | None) -> str:
    """A date with its weekday, such as "Sun 3 May 2026"."""
    return "" if day is None else f"{WEEKDAYS[day.weekday()]} {day.isoformat()}"


WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def _missing_hour(report: Report) -> Iterator[str]:
    """What the calendar or a gap takes away, by line and reason, with the first."""
    told = [*report.done.record.left_out]
    for change in report.clock_changes:
        told += change.record.left_out
    groups: dict[tuple[str, str], list[str]] = {}
    for text in dict.fromkeys(told):
        dose, _, why = text.partition(": ")
        groups.setdefault((dose.partition("@")[0], why), []).append(text)
    for (line, _why), texts in groups.items():
        times = f"{line} {len(texts)} times, the first " if len(texts) > 1 else ""
        yield f"never given: {times}{texts[0]}"


def _narrow(report: Report) -> Iterator[str]:
    for line in report.plan.lines:
        minutes = sum(each.end_minute - each.start_minute for each in line.windows)
        if line.windows and line.count > 1 and minutes < NARROW_MINUTES:
            yield (
                f"line {_name(line)}: {line.count} doses a day in a window of "
                f"{minutes} min"
            )


def _name(line: PlanLine) -> str:
    return f"{line.tank}/{line.id}"


def _tight_caps(report: Report) -> Iterator[str]:
    for one in report.checked.ceilings:
        if not one.cap or one.fits <= 0 or not 1 <= Fraction(one.cap, one.fits) < TIGHT:
            continue
        # One dose is as large as it is: nothing ever adds to it.
        if one.key == "most_per_dose":
            continue
        share = float(Fraction(one.cap * 100, one.fits))
        yield (
            f"[{one.table}] {one.key} is {number(share)} % of what the plan needs: "
            "there is no room for a dose that comes late"
        )


def _calibrations(report: Report) -> Iterator[str]:
    if not report.past.ledger_id:
        return
    read_on = report.past.at.date() if report.past.at else report.done.record.first
    today = max(report.done.record.first, read_on)
    never = []
    for pump in sorted({line.pump for line in report.plan.lines}):
        at = report.past.calibrated.get(pump)
        if at is None:
            never.append(pump)
        elif today - at.date() > timedelta(days=CALIBRATION_DAYS):
            days = (today - at.date()).days
            yield f"pump {pump} was calibrated {days} days ago; calibrate it again"
    if never:
        yield (f"never calibrated, so that the rate is the file's: {', '.join(never)}")


def _undated(report: Report) -> Iterator[str]:
    """Which day it is only the ledger says, for a report reads no clock."""
    if report.past.at is None:
        yield "no ledger was read, so these days may be past"


def _unwatched(report: Report) -> Iterator[str]:
    machine = report.machine
    for tank in sorted({line.tank for line in report.plan.lines}):
        probed = any(
            probe.tank == tank and probe.parameter == ALKALINITY
            for probe in machine.probes.values()
        )
        if not probed:
            yield f"{tank} has no alkalinity probe: only hand tests show an excess"


def _others(report: Report) -> Iterator[str]:
    """What a check cautions of; a small bottle was told above."""
    for finding in cautions(report.plan, report.machine):
        if not finding.where.startswith("reservoir "):
            yield f"{finding.where}: {finding.what}"
    names = ", ".join(report.machine.shortened_timing)
    if names:
        yield f"[timing] is shorter or weaker than its defaults: {names}"
