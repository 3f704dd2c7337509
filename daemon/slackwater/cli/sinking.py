"""Levels that a plan lets leave their bounds, told by `check`.

Floor 8. One subject: the balance of a plan, looked at without a gate. Laws here: every
dose is counted whole; levels and uptakes are those of a rehearsal, and a ledger that is
not there or cannot be read leaves the stated ones; it is a warning and no refusal.
"""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

from slackwater.cli.checked import Checked
from slackwater.cli.report.extent import DEFAULT_DAYS, first_day
from slackwater.cli.report.foreseen import elements_beyond, rises_beside_tests
from slackwater.cli.report.living import as_lived
from slackwater.cli.report.past import Past, read_past
from slackwater.cli.report.words import day_words
from slackwater.cli.uptake_words import apart_words
from slackwater.errors import SlackwaterError
from slackwater.facts.tank import Machine
from slackwater.planning.daily import added_by_pumps
from slackwater.planning.days import ONE_DAY
from slackwater.planning.timetable import Timetable
from slackwater.rehearsal.forecast import forecast
from slackwater.rehearsal.record import RehearsedDose
from slackwater.rehearsal.virtual_tank import ALKALINITY


def past_of(state: Path, machine: Machine) -> Past:
    """What a ledger says; nothing where none can be read, which others tell."""
    try:
        return read_past(state, machine)
    except SlackwaterError:
        return Past()


def sinking(checked: Checked, past: Past) -> Iterator[str]:
    """A warning for each level that leaves its bounds in thirty days, by tank.

    Alkalinity that falls below its floor; calcium and magnesium both ways; rises that
    the caps let pass by what is stated alone; and uptakes by tests that the file has
    otherwise.
    """
    plan = checked.sound
    machine = checked.machine.handed_over(plan.names)
    lived, timetable = as_lived(machine, past), Timetable(plan, machine)
    first = first_day(plan, machine, past.at)
    until = first + (DEFAULT_DAYS - 1) * ONE_DAY
    for tank in timetable.tanks:
        levels = past.levels.get(tank, {})
        doses = _doses(timetable, machine, tank, (first, until))
        found = forecast(lived, tank, doses, (first, until), levels)
        for one in found.crossings:
            if (one.uptake, one.bound) == ("same", "floor"):
                when = day_words(one.at, machine.tanks[tank].zone)
                is_shown = ALKALINITY in past.uptakes.get(tank, {})
                level = "its level" if ALKALINITY in levels else "its target"
                source = "that tests show" if is_shown else "as stated"
                yield (
                    f"{tank} would fall below its floor from {when} on, from {level} "
                    f"with the uptake {source}."
                )
        yield from (f"{told}." for told in elements_beyond(machine, found))
        added = added_by_pumps(timetable)
        apart = apart_words(past.apart.get(tank, ()), machine.tanks[tank], added)
        yield from (f"{told}." for told in apart)
    told = rises_beside_tests(machine, timetable, past.uptakes)
    yield from (f"{one}." for one in told)


def _doses(
    timetable: Timetable, machine: Machine, tank: str, days: tuple[date, date]
) -> Iterator[RehearsedDose]:
    first, until = days
    for number in range((until - first).days + 1):
        for dose in timetable.day(tank, first + number * ONE_DAY).doses:
            solution = machine.solutions[machine.pumps[dose.pump].solution]
            yield RehearsedDose(
                dose=dose,
                solution=solution.id,
                verdict="whole",
                volume_ul=dose.volume_ul,
                effects={
                    name: per_ul * dose.volume_ul
                    for name, per_ul in solution.effects.items()
                },
            )
