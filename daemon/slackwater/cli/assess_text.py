"""An assessment for people: what to do in words, then the figures.

Floor 8. One subject: the page of an assessment. Laws here: words come before tables;
every figure has its unit and its error; nothing is wider than 80 columns where nobody
asks for more; what is not known says so.
"""

from collections.abc import Iterable, Iterator, Sequence
from math import floor, log10
from textwrap import wrap

from slackwater.assessment.records import (
    HALF_WIDTH_90,
    Assessment,
    CarbonateState,
    Standing,
    TraceStanding,
    UptakeFound,
)
from slackwater.assessment.trace_bands import OPERATOR, is_trace
from slackwater.cli.amounts import display_unit
from slackwater.cli.render import local
from slackwater.cli.width import within
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_days, show_figure, show_level
from slackwater.water.spellings import units_of

WIDTH = 79
NARROWEST_LAST = 12
# Younger tests have an age in hours.
_TODAY_DAYS = 1.0
_DASH = "-"
_DAYS_A_WEEK = 7
# A slope beyond so many of its errors is more than chance.
HALF_WIDTH_95 = 1.96
_WHOLE_FROM = 1000
_DIGITS_OF_ERROR = 2
_HOW_LEVELS = (
    "Now: carried from the test to now. S 35: at that salinity. Tested: as it was "
    "read. ±: one standard deviation of each."
)
_CARE = (
    "Limits and bands are common practice, no source, unless a source is named. "
    "The program advises; a person decides."
)


def assess_text(found: Assessment, zone: str) -> str:
    """The whole page, parts that say nothing left out."""
    parts = [
        _todo(found),
        _standings(found),
        _uptakes(found),
        _traces(found.traces.values()),
        _others(found),
        _unconfirmed(found),
        _blocks(found),
    ]
    head = f"{found.tank}, {local(found.at, zone)}"
    return "\n\n".join([head, *(part for part in parts if part), _words(_CARE)])


def _todo(found: Assessment) -> str:
    lines = ["What to do"]
    for number, sentence in enumerate(found.todo, start=1):
        lines.append(_words(sentence, first=f"{number:2d}. ", rest="    "))
    return "\n".join(lines)


def _standings(found: Assessment) -> str:
    shown = [
        one
        for one in found.standings.values()
        if one.sampled_at is not None and not is_trace(one.parameter)
    ]
    if not shown:
        return ""
    heads = ("Level", "", ">Now", ">S 35", ">Tested", ">Age", ">Band", "Standing")
    lines = ["Where it stands", columns(heads, [*_rows(shown)])]
    nature = [
        f"{one.parameter} {one.band.factors[0]:g}-{one.band.factors[1]:g} of "
        f"{_number(one.parameter, one.natural or 0.0)}"
        for one in shown
        if one.band is not None and one.band.factors is not None
    ]
    if nature:
        lines.append(_words(f"Bands as parts of nature: {', '.join(nature)}."))
    moving = [trend for one in shown if (trend := _trend(one))]
    if moving:
        lines.append(_words(f"Moving: {', '.join(moving)}."))
    lines.append(_words(_HOW_LEVELS))
    lines += [_words(line) for line in _reasons(shown)]
    return "\n".join(lines)


def _rows(shown: Sequence[Standing]) -> Iterator[tuple[str, ...]]:
    """A row for each level, and one below it for a newer test that is not in it."""
    for one in shown:
        yield _standing(one)
        if one.waiting is not None:
            test = one.waiting
            age = _age(one.waiting_age_days or 0.0)
            tested = _with_error(one.parameter, test.raw, test.sd)
            unit = display_unit(one.parameter)
            yield "", unit, _DASH, _DASH, tested, age, "", "apart: test again"


def _reasons(shown: Sequence[Standing]) -> Iterator[str]:
    """Why a level is what it is, each reason once with all it holds for."""
    by_why: dict[str, list[str]] = {}
    for one in shown:
        for why in one.why:
            by_why.setdefault(why, []).append(one.parameter)
    for why, names in by_why.items():
        yield f"{why[:1].upper()}{why[1:]}: {', '.join(names)}."


def _trend(one: Standing) -> str:
    """What a level does in a week, where that is more than its error."""
    slope, sd = one.trend_per_day, one.trend_sd
    if slope is None or sd is None or abs(slope) <= HALF_WIDTH_95 * sd:
        return ""
    a_week = _DAYS_A_WEEK * slope / _in_display_unit(one.parameter)
    told = f"{'-' if a_week < 0 else '+'}{show_figure(abs(a_week), 2)}"
    return f"{one.parameter} {told} {display_unit(one.parameter)} a week"


def _standing(one: Standing) -> tuple[str, ...]:
    name = one.parameter
    level, sd = one.level or 0.0, one.level_sd or 0.0
    # As it was read, before any bias was taken off.
    sampled = (one.sampled or 0.0) + one.bias
    tested = (
        f"<{_number(name, 2 * sampled)}"
        if one.censored
        else _with_error(name, sampled, one.sampled_sd)
    )
    if one.above is not None:
        tested = _number(name, one.above)
    age_days = one.age_days if one.above is None else one.above_age_days
    band = one.band
    return (
        name,
        display_unit(name),
        _with_error(name, level, sd),
        _DASH if one.level_35 is None else _number(name, one.level_35),
        tested,
        _age(age_days or 0.0),
        _DASH
        if band is None
        else f"{_number(name, band.low)}-{_number(name, band.high)}",
        one.word if one.confidence == "none" else f"{one.word}, {one.confidence}",
    )


def _uptakes(found: Assessment) -> str:
    if not found.uptakes:
        return ""
    rows = [_uptake(one) for one in found.uptakes.values()]
    heads = ("Used up", "", ">A day", ">90 %", ">Dosed", ">Tests", "Good enough")
    lines = ["What the tank uses up", columns(heads, rows)]
    net = [one.parameter for one in found.uptakes.values() if one.is_net_balance]
    if net:
        lines.append(
            _words(
                f"Net balance of {', '.join(net)}: no outside source is declared; what "
                "limewater, a reactor or food brings hides as much of what is used up."
            )
        )
    return "\n".join(lines)


def _uptake(one: UptakeFound) -> tuple[str, ...]:
    name = one.parameter
    by = one.method or one.provenance
    return (
        name,
        display_unit(name),
        *_rates(name, one.per_day, HALF_WIDTH_90 * one.sd_per_day),
        _rate(name, one.delivered_per_day),
        f"{one.tests} in {show_days(one.span_days)} d",
        f"yes, by {by}" if one.enough else f"no, by {by}: {'; '.join(one.why_not)}",
    )


def _traces(found: Iterable[TraceStanding]) -> str:
    """Those that are watched or dosed in full, the others by name."""
    every = sorted(found, key=lambda one: (-one.at_most / one.act, one.parameter))
    if not every:
        return ""
    full = [one for one in every if _is_worth_a_row(one)]
    lines = ["Traces and contaminants, ug/L"]
    if full:
        heads = (
            "",
            ">Found",
            ">At most",
            ">Nature",
            ">Seen from",
            ">Watch",
            ">Act",
            "",
        )
        lines.append(columns(heads, [_trace(one) for one in full]))
        lines.append(
            _words("At most: with all that was dosed since, less proven uptake only.")
        )
    own = [one.parameter for one in every if one.bands_source == OPERATOR]
    if own:
        lines.append(_words(f"Watch and act as the file says: {', '.join(own)}."))
    for stage in ("usual", "not seen"):
        names = [
            f"{one.parameter} {'<' if one.censored else ''}{_short(one.value)}"
            for one in every
            if one.stage == stage and one not in full
        ]
        if names:
            lines.append(_words(f"{stage.capitalize()}: {', '.join(names)}."))
    return "\n".join(lines)


def _is_worth_a_row(one: TraceStanding) -> bool:
    return one.stage in {"watch", "act"} or one.by_salinity or one.at_most > one.value


def _trace(one: TraceStanding) -> tuple[str, ...]:
    word: str = one.stage
    if one.stage in {"watch", "act"}:
        word = f"{one.stage}, {'confirmed' if one.confirmed else 'seen once'}"
    elif one.by_salinity:
        word = "by salinity only"
    return (
        one.parameter,
        f"{'<' if one.censored else ''}{_short(one.value)}",
        _short(one.at_most),
        _DASH if one.natural is None else _short(one.natural),
        _DASH if one.limit is None else _short(one.limit),
        _short(one.watch),
        _short(one.act),
        word,
    )


def _others(found: Assessment) -> str:
    lines = [_words(check.text) for check in found.checks]
    if found.carbonate is not None:
        lines.append(_words(_carbonate(found.carbonate)))
    lines += [
        _words(f"{notice.text[:1].upper()}{notice.text[1:].rstrip('.')}.")
        for notice in found.notices
        if notice.weight == "note"
    ]
    return "\n".join(["Does it hang together", *lines]) if lines else ""


def _carbonate(one: CarbonateState) -> str:
    calcium = "measured" if one.calcium_measured else "natural"
    return (
        f"Saturation of aragonite {one.omega:.2g} ±{one.omega_sd:.1g}, carbon dioxide "
        f"{_two_digits(one.pco2_uatm)} ±{_two_digits(one.pco2_sd_uatm)} uatm, from pH "
        f"{one.ph:.2f} on the {one.ph_scale} scale and {calcium} calcium; nothing is "
        "dosed on it."
    )


def _unconfirmed(found: Assessment) -> str:
    """What waits to be confirmed, marked as that."""
    lines = [
        _words(f"{one.parameter}: {one.text} See `slackwater confirm`.", rest="  ")
        for one in found.unconfirmed
    ]
    return "\n".join(["Entered from afar, counted nowhere", *lines]) if lines else ""


def _blocks(found: Assessment) -> str:
    words = {
        "dose": "no dose",
        "correction": "no correction",
        "change": "no change of dose",
        "rise": "no more of it",
    }
    lines = [
        _words(f"{one.parameter}: {words[one.stops]}. {one.text}", rest="  ")
        for one in found.blocks
    ]
    return "\n".join(["What is held back", *lines]) if lines else ""


def _with_error(parameter: str, level: float, sd: float | None) -> str:
    """A level with its standard deviation, where one is known; without its unit."""
    told = _number(parameter, level)
    return told if sd is None else f"{told} ±{_number(parameter, sd)}"


def _number(parameter: str, level: float) -> str:
    """A level without its unit."""
    return show_level(parameter, level).split(" ")[0]


def _rates(parameter: str, per_day: float, half_width: float) -> tuple[str, str]:
    """A rate with its interval: no digit beyond what the interval leaves of it."""
    unit = _in_display_unit(parameter)
    rate, half = per_day / unit, half_width / unit
    if half <= 0:
        return _rate(parameter, per_day), f"±{half:g}"
    places = max(_DIGITS_OF_ERROR - 1 - floor(log10(half)), 0)
    # What rounds to nothing is nothing, on neither side of it.
    return f"{round(rate, places) + 0.0:.{places}f}", f"±{half:.{places}f}"


def _rate(parameter: str, per_day: float) -> str:
    """A rate with three digits: it is small beside the level."""
    shown = per_day / _in_display_unit(parameter)
    return show_figure(shown)


def _in_display_unit(parameter: str) -> float:
    item = parameter_named(parameter, where="")
    return float(units_of(item)[item.display_unit])


def _age(days: float) -> str:
    return f"{24 * days:.0f} h" if days < _TODAY_DAYS else f"{days:.0f} d"


def _short(number: float) -> str:
    return f"{number:.0f}" if number >= _WHOLE_FROM else show_figure(number)


def _two_digits(number: float) -> str:
    return f"{float(f'{number:.2g}'):.0f}"


def columns(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under heads; one that begins with ">" to the right, the last one folds."""
    names = [head.removeprefix(">") for head in heads]
    widths = [
        max(len(line[place]) for line in (names, *rows))
        for place in range(len(heads) - 1)
    ]
    left = sum(widths) + len(widths)
    folded = [
        (row, wrap(row[-1], max(within(WIDTH) - left, NARROWEST_LAST)) or [""])
        for row in (names, *rows)
    ]
    lines = []
    for row, last in folded:
        cells = [
            cell.rjust(width) if head.startswith(">") else cell.ljust(width)
            for cell, width, head in zip(row, widths, heads, strict=False)
        ]
        lines.append(" ".join([*cells, last[0]]).rstrip())
        lines += [" " * left + more for more in last[1:]]
    return "\n".join(lines)


def _words(text: str, first: str = "", rest: str = "") -> str:
    return "\n".join(
        wrap(text, within(WIDTH), initial_indent=first, subsequent_indent=rest)
    )
