"""A rehearsal for people: totals, closest approaches, bottles, oddities.

Floor 8. One subject: the page of a rehearsal. Laws here: it says would dose and would
miss, never more; days in a row with equal figures stand on one line; what was not
covered is said each time.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import timedelta
from typing import TypeVar

from slackwater.cli.amounts import effect_words
from slackwater.cli.document import finding_text
from slackwater.cli.rehearsal_document import NOT_COVERED, Rehearsed, nearest_words
from slackwater.cli.render import local, section, table
from slackwater.cli.wording import reason_words
from slackwater.facts.tank import Machine
from slackwater.planning.daily import highest_daily_ul
from slackwater.rehearsal.record import (
    EffectDay,
    PumpDay,
    Rehearsal,
    RehearsedDose,
    effect_days,
    pump_days,
)
from slackwater.water.show import show_volume

SHORT_DIGEST = 8
ONE_DAY = timedelta(days=1)

DayT = TypeVar("DayT", PumpDay, EffectDay)


def rehearsal_text(done: Rehearsed, *, every: bool) -> str:
    """The page; `every` lists each dose as well."""
    return "\n".join(_sections(done, every=every))


def _sections(done: Rehearsed, *, every: bool) -> Iterator[str]:
    record, machine = done.record, done.machine
    yield _headline(done)
    if record.doses:
        yield section("What each pump would dose a day", _pump_table(done))
        yield section("What that would add a day", _effect_table(done))
        yield section("Closest approach to each cap", _nearest_table(done))
    else:
        starts = done.files.plan.starts
        yield f"No dose is due on these days: the plan starts {starts}.\n"
    yield section("Bottles", "\n".join(_bottles(record)))
    yield section("Calendar", "\n".join(record.left_out) or "Nothing is left out.")
    for verdict, title in (("shortened", "Would shorten"), ("missed", "Would miss")):
        told = "\n".join(_by_reason(record, verdict, machine))
        if told:
            yield section(title, told)
    if every:
        lines = (_dose_line(each, machine) for each in record.doses)
        yield section("Every dose", "\n".join(lines))
    yield NOT_COVERED
    yield from (f"\nFound: {finding_text(one)}" for one in done.findings)


def _headline(done: Rehearsed) -> str:
    record = done.record
    would = len(record.doses) - len(done.missed)
    less = sum(each.verdict == "shortened" for each in record.doses)
    volume = show_volume(highest_daily_ul(done.files.plan, done.machine))
    return (
        f"{record.first} to {record.until}: would dose {would} times ({less} "
        f"shortened), would miss {len(done.missed)}. "
        f"Digest {done.digest[:SHORT_DIGEST]}.\n"
        f"Highest daily volume of one tank, all pumps together: {volume}.\n"
    )


def _pump_table(done: Rehearsed) -> str:
    days = pump_days(done.machine, done.record.doses)
    rows = []
    for first, words in _stretches(days, _pump_key):
        volumes = show_volume(first.volume_ul), show_volume(first.cap_ul)
        rows.append((first.pump, words, *volumes))
    return table(("pump", "days", ">a day", ">cap"), rows)


def _effect_table(done: Rehearsed) -> str:
    days = effect_days(done.machine, done.record.doses)
    rows = []
    for first, words in _stretches(days, _effect_key):
        tank = done.machine.tanks[first.tank]
        added, rise, cap = (
            "" if amount is None else effect_words(first.parameter, amount, tank)
            for amount in (first.added, first.net_rise, first.cap)
        )
        rows.append((f"{first.tank} {first.parameter}", words, added, rise, cap))
    return table(("tank, parameter", "days", ">added", ">net rise", ">cap"), rows)


def _pump_key(day: PumpDay) -> tuple[str, int]:
    return day.pump, day.volume_ul


def _effect_key(day: EffectDay) -> tuple[str, int]:
    return f"{day.tank} {day.parameter}", day.added


def _stretches(
    days: Iterable[DayT], key: Callable[[DayT], tuple[str, int]]
) -> list[tuple[DayT, str]]:
    """Days in a row with equal figures, by subject: the first one and the dates."""
    found: dict[str, list[list[DayT]]] = {}
    for day in days:
        runs = found.setdefault(key(day)[0], [])
        last = runs[-1][-1] if runs else None
        if last and key(last) == key(day) and last.day + ONE_DAY == day.day:
            runs[-1].append(day)
        else:
            runs.append([day])
    return [(run[0], _dates(run)) for _, runs in sorted(found.items()) for run in runs]


def _dates(run: Sequence[PumpDay] | Sequence[EffectDay]) -> str:
    first, last = run[0].day, run[-1].day
    return f"{first}" if first == last else f"{first} to {last} ({len(run)})"


def _nearest_table(done: Rehearsed) -> str:
    rows = [
        (
            near.subject,
            near.cap,
            *nearest_words(near, done.machine),
            f"{near.share * 100:.1f} %",
            near.dose,
        )
        for near in done.record.nearest
    ]
    return table(("of", "cap", ">reached", ">ceiling", ">used", "|by"), rows)


def _bottles(record: Rehearsal) -> list[str]:
    return [
        f"{name}: lasts to the end"
        if day is None
        else f"{name}: would run out on {day}"
        for name, day in sorted(record.empty_on.items())
    ]


def _by_reason(record: Rehearsal, verdict: str, machine: Machine) -> Iterator[str]:
    """Doses with one verdict by line and reasons, each with its first dose."""
    groups: dict[tuple[str, tuple[str, ...]], list[RehearsedDose]] = {}
    for each in record.doses:
        if each.verdict == verdict:
            line = f"{each.dose.tank}/{each.dose.line}"
            codes = tuple(reason.code for reason in each.reasons)
            groups.setdefault((line, codes), []).append(each)
    for (line, _codes), doses in groups.items():
        first = doses[0]
        volume, planned = (
            show_volume(first.volume_ul),
            show_volume(first.dose.volume_ul),
        )
        yield f"{line}: {len(doses)}, the first {first.dose.id}, {volume} of {planned}"
        tank = machine.tanks[first.dose.tank]
        yield from (f"  {reason_words(reason, tank)}" for reason in first.reasons)


def _dose_line(each: RehearsedDose, machine: Machine) -> str:
    dose = each.dose
    tank = machine.tanks[dose.tank]
    due = local(dose.due_at, tank.zone)
    reasons = " ".join(reason_words(reason, tank) for reason in each.reasons)
    words = (dose.id, due, dose.pump, show_volume(each.volume_ul), each.verdict)
    return "  ".join((*words, reasons)).rstrip()
