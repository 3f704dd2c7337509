"""`check`: everything that is wrong with the files, and what the plan would do.

Floor 8. One subject: judging without running. Laws here: all findings at once; a cap
that is missing is suggested with its arithmetic and never applied; what each line adds
is printed whether or not something is wrong.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from slackwater.cli.amounts import (
    cap_words,
    display_unit,
    effect_decimal,
    effect_words,
    volume_words,
)
from slackwater.cli.bottles import emptied, emptied_document, emptied_words
from slackwater.cli.checked import Checked, check_files
from slackwater.cli.day_totals import (
    DayTotal,
    day_totals,
    total_document,
    totals_words,
)
from slackwater.cli.document import REFUSED, Answer, finding_document, finding_text
from slackwater.cli.extras import lacking
from slackwater.cli.lasting import (
    S_PER_HOUR,
    Bottle,
    Tube,
    held,
    lasting,
    lasting_words,
    tube_days,
    tube_hours,
    tubes,
)
from slackwater.cli.measured_places import moved_pumps
from slackwater.cli.reading import read_files
from slackwater.cli.render import hours, section, table
from slackwater.cli.report.extent import past_day
from slackwater.cli.report.past import Past
from slackwater.cli.shell import Shell, verb
from slackwater.cli.sinking import past_of, sinking
from slackwater.cli.unlimited import unlimited
from slackwater.facts.plan import PlanLine
from slackwater.facts.state import State
from slackwater.facts.tank import Machine
from slackwater.planning.ceilings import Ceiling
from slackwater.planning.daily import highest_daily_ul, hours_to_ceiling
from slackwater.planning.suggestions import Suggestion
from slackwater.water.cautions import ALWAYS
from slackwater.water.show import show_count, show_volume

SHORT_DIGEST = 8
# No tube lies in a pump for so long, however little it runs.
TEN_YEARS_DAYS = 3650
# How each warning of the page begins.
_WARNED = re.compile(r"^ *(?:Warning|Mind): ", re.MULTILINE)
# Whole numbers of an arithmetic this long are pico-units; factors are short.
_PICO_AMOUNT = re.compile(r"\d{6,}")


@verb(
    "check",
    epilog="Exit code 1 when anything was found. Lines to paste are suggestions: "
    "nothing is dosed because of them until they stand in the file.",
)
def check(shell: Shell) -> Answer:
    """Say all that is wrong with the files.

    Also says what each line adds to the water per day, how long it would take to the
    alkalinity ceiling if uptake stopped, how closely a day's total is known, how long
    bottles and tubes last, and the smallest cap that fits.
    """
    judged = check_files(read_files(shell.config))
    past = past_of(shell.state, judged.machine)
    moved = moved_pumps(past.measured, judged.sound, judged.machine)
    cautions = (
        *moved,
        *judged.cautions,
        *unlimited(judged),
        *lacking(shell.config),
    )
    checked = replace(judged, cautions=cautions)
    sinks, lasts = tuple(sinking(checked, past)), _lasts(checked, past)
    totals = day_totals(checked, past.measured, past.new_tubes)
    worn = _worn(checked, past)
    return Answer(
        fields={
            **_fields(checked),
            "sinking": list(sinks),
            "lasts": [_lasting_document(one) for one in lasts],
            "tubes": [_tube_document(tube, days) for tube, days in worn],
            "day_totals": [total_document(one) for one in totals],
        },
        text=_page(checked, _sections(checked, (sinks, totals), lasts, worn)),
        findings=checked.findings,
        is_told=True,
        exit_code=REFUSED if checked.findings else 0,
    )


def _lasts(checked: Checked, past: Past) -> tuple[Bottle, ...]:
    """How long each bottle lasts; full, where no ledger says what is in it."""
    machine = checked.machine
    known = past.held or held(machine, State())
    first = past_day(machine, past.at) or checked.sound.starts
    return tuple(
        lasting(machine, checked.sound, name, one, first) for name, one in known.items()
    )


def _worn(checked: Checked, past: Past) -> tuple[tuple[Tube, float | None], ...]:
    """Each tube and how many days it lasts; new, where no ledger says how long it ran.

    The same pace as for bottles, so that a pump of which nothing is asked wears none.
    """
    machine = checked.machine
    first = past_day(machine, past.at) or checked.sound.starts
    known = past.tubes or tubes(machine, State())
    return tuple((one, tube_days(checked.sound, one, first)) for one in known)


def _tube_document(one: Tube, days: float | None) -> dict[str, object]:
    return {
        "pump": one.pump,
        "ran_h": round(one.ran_s / S_PER_HOUR, 2),
        "life_h": round(one.life_s / S_PER_HOUR, 2),
        "days": _rounded(days),
    }


def _lasting_document(one: Bottle) -> dict[str, object]:
    return {
        "reservoir": one.id,
        "left_ul": one.left_ul,
        "days": _rounded(one.days),
        "days_low": _rounded(one.days_low),
        "days_high": _rounded(one.days_high),
    }


def line_words(line: PlanLine, machine: Machine) -> str:
    """What a line adds to its tank on a dosing day, for people."""
    tank = machine.tanks[line.tank]
    effects = machine.solutions[line.solution].effects
    words = [
        f"{name} +{effect_words(name, per_ul * line.per_day_ul, tank)}"
        for name, per_ul in sorted(effects.items())
    ]
    return ", ".join(words) or "nothing that is counted"


def paste_lines(checked: Checked) -> list[str]:
    """Lines for the machine file, one under each table that lacks a cap."""
    lines: list[str] = []
    by_table: dict[str, list[Suggestion]] = {}
    for one in checked.missing:
        by_table.setdefault(one.table, []).append(one)
    heading = ""
    for name, items in by_table.items():
        parameter = items[0].parameter
        head = name.removesuffix(f".{parameter}") if parameter else name
        if head != heading:
            lines.append(f"[{head}]")
            heading = head
        lines.extend(
            [_effect_line(checked, items)]
            if parameter
            else [_volume_line(one) for one in items]
        )
    return lines


def _volume_line(one: Suggestion) -> str:
    return f'{one.key} = "{volume_words(one.value)}"  # {one.arithmetic}'


def _effect_line(checked: Checked, items: list[Suggestion]) -> str:
    parameter = items[0].parameter
    tank = checked.machine.tanks[items[0].table.split(".")[1]]
    values = {one.key: one.value for one in items}
    known = tank.caps.get(parameter)
    if known is not None:
        values.setdefault("gross", known.gross)
        if known.net_rise is not None:
            values.setdefault("net_rise", known.net_rise)
    keys = ", ".join(
        f'{key} = "{cap_words(parameter, values[key], tank)}"'
        for key in ("gross", "net_rise")
        if key in values
    )
    why = "; ".join(
        f"{one.key}: {_plain_arithmetic(one, checked.machine)}" for one in items
    )
    return f"{parameter} = {{ {keys} }}  # {why}"


def _plain_arithmetic(one: Suggestion, machine: Machine) -> str:
    """The arithmetic with its pico-units said in words of the tank."""
    tank = machine.tanks[one.table.split(".")[1]]
    return _PICO_AMOUNT.sub(
        lambda found: effect_words(one.parameter, int(found[0]), tank), one.arithmetic
    )


def _fields(checked: Checked) -> dict[str, object]:
    machine, sound = checked.machine, checked.sound
    return {
        "digest": checked.digest,
        "lines": [_line_document(line, machine) for line in sound.lines],
        "hours_to_ceiling": {
            tank: _rounded(hours_to_ceiling(sound, machine, tank))
            for tank in sorted(machine.tanks)
        },
        "highest_daily_ul": highest_daily_ul(sound, machine),
        "caps": [_cap_document(one, machine) for one in checked.ceilings],
        "paste": paste_lines(checked),
        "shortened_timing": list(machine.shortened_timing),
        "bottles": [emptied_document(one) for one in emptied(machine)],
        "cautions": [finding_document(one) for one in checked.cautions],
    }


def _rounded(number: float | None) -> float | None:
    return None if number is None else round(number, 1)


def _line_document(line: PlanLine, machine: Machine) -> dict[str, object]:
    tank = machine.tanks[line.tank]
    effects = machine.solutions[line.solution].effects
    return {
        "line": f"{line.tank}/{line.id}",
        "solution": line.solution,
        "pump": line.pump,
        "per_day_ul": line.per_day_ul,
        "doses": line.count,
        "adds": [
            {
                "parameter": name,
                "added": effect_decimal(name, per_ul * line.per_day_ul, tank),
                "unit": display_unit(name),
            }
            for name, per_ul in sorted(effects.items())
        ],
    }


def _cap_document(one: Ceiling, machine: Machine) -> dict[str, object]:
    tank = machine.tanks[one.tank]
    document: dict[str, object] = {"cap": f"[{one.table}] {one.key}", "tank": one.tank}
    if not one.parameter:
        return {**document, "pump": one.pump, "fits_ul": one.fits, "cap_ul": one.cap}
    return {
        **document,
        "parameter": one.parameter,
        "unit": display_unit(one.parameter),
        "fits": effect_decimal(one.parameter, one.fits, tank),
        "cap": None
        if one.cap is None
        else effect_decimal(one.parameter, one.cap, tank),
    }


def _sections(
    checked: Checked,
    foreseen: tuple[Sequence[str], Sequence[DayTotal]],
    lasts: Sequence[Bottle],
    worn: Sequence[tuple[Tube, float | None]],
) -> Iterator[str]:
    machine, sound = checked.machine, checked.sound
    sinks, totals = foreseen
    rows = [
        (
            f"{line.tank}/{line.id}",
            show_volume(line.per_day_ul),
            str(line.count),
            line_words(line, machine),
        )
        for line in sound.lines
    ]
    heads = ("line", ">on a dosing day", ">doses", "adds to the water")
    yield section("What each line adds", table(heads, rows))
    for tank in sorted(machine.tanks):
        left = hours_to_ceiling(sound, machine, tank)
        yield f"{tank}: {_until_ceiling(left)}"
    yield from (f"Warning: {one}" for one in sinks)
    yield from totals_words(totals)
    yield section("Smallest caps that fit this plan", _caps_table(checked))
    if checked.missing:
        yield section("Missing caps, to paste into the tables named", _paste(checked))
    if machine.shortened_timing:
        names = ", ".join(machine.shortened_timing)
        yield f"Warning: [timing] is shorter or weaker than its defaults: {names}.\n"
    yield from (f"Mind: {finding_text(one)}\n" for one in checked.cautions)
    yield section("How long bottles last", _bottles_table(lasts))
    yield section("How long tubes last", _tubes_table(worn))
    bottles = "\n".join(emptied_words(one) for one in emptied(machine))
    yield section("What a bottle would do that emptied itself", bottles)
    yield _touch(checked)


def _bottles_table(lasts: Sequence[Bottle]) -> str:
    rows = [(one.id, show_volume(one.left_ul), lasting_words(one)) for one in lasts]
    return table(("bottle", ">holds", "lasts (95 %)"), rows)


def _tubes_table(worn: Sequence[tuple[Tube, float | None]]) -> str:
    rows = [
        (one.pump, tube_hours(one), "nothing is run" if days is None else _days(days))
        for one, days in worn
    ]
    return table(("pump", ">has run", "lasts by this plan"), rows)


def _days(days: float) -> str:
    return "beyond ten years" if days > TEN_YEARS_DAYS else f"{days:.0f} days"


def _until_ceiling(left: float | None) -> str:
    if left is None:
        return "this plan never takes alkalinity from its target to a ceiling."
    return f"{hours(left)} from target to alkalinity ceiling if uptake stopped."


def _caps_table(checked: Checked) -> str:
    heads = ("cap", ">fits", ">stated", ">used")
    return table(heads, [_cap_row(one, checked.machine) for one in checked.ceilings])


def _cap_row(one: Ceiling, machine: Machine) -> tuple[str, str, str, str]:
    place = f"[{one.table}] {one.key}"
    if one.table.startswith("node."):
        place = f"{place} for {one.pump}"
    stated = "no limit"
    used = ""
    if one.cap is not None:
        stated = _amount(one.cap, one, machine) if one.cap else "none"
    if one.cap:
        used = f"{float(Fraction(one.fits * 100, one.cap)):.0f} %"
    return place, _amount(one.fits, one, machine), stated, used


def _amount(amount: int, one: Ceiling, machine: Machine) -> str:
    if not one.parameter:
        return show_volume(amount)
    return effect_words(one.parameter, amount, machine.tanks[one.tank])


def _paste(checked: Checked) -> str:
    return "\n".join(f"    {line}" for line in paste_lines(checked))


def _touch(checked: Checked) -> str:
    """What to know before touching a bottle, once for each solution of the plan."""
    names = sorted({line.solution for line in checked.sound.lines})
    solutions = [checked.machine.solutions[name] for name in names]
    lines = [f"  {one.name}: {'; '.join(one.cautions)}" for one in solutions]
    told = [line for line, one in zip(lines, solutions, strict=True) if one.cautions]
    always = f"  All stocks: {ALWAYS}; never mix them; keep children away"
    return section("Before you touch a bottle", "\n".join((*told, always)))


def _page(checked: Checked, sections: Iterable[str]) -> str:
    """The sections with the verdict below, which counts what is warned of in them."""
    text = "\n".join(sections)
    return f"{text}\n{_verdict(checked, len(_WARNED.findall(text)))}"


def _verdict(checked: Checked, warnings: int) -> str:
    if not checked.findings:
        told = "Nothing found"
        if warnings:
            things = show_count(warnings, "thing")
            told = f"Nothing that refuses the plan, but {things} to mind above"
        return f"{told}. Digest {checked.digest[:SHORT_DIGEST]}."
    told = "\n".join(finding_text(one) for one in checked.findings)
    return f"{len(checked.findings)} found, the plan would be refused:\n{told}"
