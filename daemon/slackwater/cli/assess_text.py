"""An assessment for people: what to do in words, then the figures.

Floor 8. One subject: the page of an assessment. Laws here: words come before tables;
every figure has its unit and its error; nothing is wider than 80 columns where nobody
asks for more; what is not known says so.
"""

from collections.abc import Iterable
from textwrap import wrap

from slackwater.assessment.records import (
    HALF_WIDTH_90,
    Assessment,
    CarbonateState,
    Standing,
    TraceStanding,
    UptakeFound,
)
from slackwater.assessment.trace_bands import is_trace
from slackwater.cli.amounts import display_unit
from slackwater.cli.render import local, table
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_level
from slackwater.water.spellings import units_of

WIDTH = 79
# Younger tests have an age in hours.
_TODAY_DAYS = 1.0
_DASH = "-"
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
    rows = [
        _standing(one)
        for one in found.standings.values()
        if one.sampled_at is not None and not is_trace(one.parameter)
    ]
    if not rows:
        return ""
    heads = ("Level", ">Now", ">At S 35", ">Tested", ">Age", "Band", "Standing")
    return f"Where it stands\n{table(heads, rows)}\n{_why(found)}".rstrip()


def _standing(one: Standing) -> tuple[str, ...]:
    name = one.parameter
    now = _DASH
    if one.level is not None and one.level_sd is not None:
        now = f"{_number(name, one.level)} ±{_number(name, one.level_sd)}"
    sampled = one.sampled or 0.0
    tested = (
        f"<{_number(name, 2 * sampled)}" if one.censored else _number(name, sampled)
    )
    return (
        _named(name),
        now,
        _DASH if one.level_35 is None else _number(name, one.level_35),
        tested,
        _age(one.age_days or 0.0),
        _band(one),
        f"{one.word}, {one.confidence}" if one.confidence != "none" else one.word,
    )


def _band(one: Standing) -> str:
    if one.band is None:
        return _DASH
    bounds = (_number(one.parameter, edge) for edge in (one.band.low, one.band.high))
    factors = one.band.factors
    nature = "" if factors is None else f" {factors[0]:g}-{factors[1]:g} n"
    return f"{'-'.join(bounds)}{nature}"


def _why(found: Assessment) -> str:
    """What stands behind the figures, and the factor of nature explained."""
    lines = []
    if any(one.band and one.band.factors for one in found.standings.values()):
        lines.append(_words("n: times what natural sea water holds at S = 35."))
    lines += [
        _words(f"{one.parameter}: {'; '.join(one.why)}.")
        for one in found.standings.values()
        if one.why and one.sampled_at is not None and not is_trace(one.parameter)
    ]
    return "\n".join(lines)


def _uptakes(found: Assessment) -> str:
    if not found.uptakes:
        return ""
    rows = [_uptake(one) for one in found.uptakes.values()]
    heads = ("Used up", ">A day", ">90 %", ">Dosed", "By", ">Tests", "Good enough")
    lines = [f"What the tank uses up\n{table(heads, rows)}"]
    net = [one.parameter for one in found.uptakes.values() if one.is_net_balance]
    if net:
        lines.append(
            _words(
                f"Net balance of {', '.join(net)}: no outside source is declared, and "
                "what one brings would be missing here."
            )
        )
    return "\n".join(lines)


def _uptake(one: UptakeFound) -> tuple[str, ...]:
    name = one.parameter
    return (
        _named(name),
        _rate(name, one.per_day),
        f"±{_rate(name, HALF_WIDTH_90 * one.sd_per_day)}",
        _rate(name, one.delivered_per_day),
        one.method or one.provenance,
        f"{one.tests} in {one.span_days:.0f} d",
        "yes" if one.enough else f"no: {'; '.join(one.why_not)}",
    )


def _traces(found: Iterable[TraceStanding]) -> str:
    rows = [_trace(one) for one in found]
    if not rows:
        return ""
    heads = (
        *("ug/L", ">Found", ">At most", ">Nature", ">Seen from", ">Watch", ">Act"),
        "Standing",
    )
    return (
        f"Traces and contaminants\n{table(heads, rows)}\n"
        f"{_words('At most: with everything dosed since, less proven uptake only.')}"
    )


def _trace(one: TraceStanding) -> tuple[str, ...]:
    word: str = one.stage
    if one.stage in {"watch", "act"}:
        word = f"{one.stage}, {'confirmed' if one.confirmed else 'seen once'}"
    elif one.by_salinity:
        word = "by salinity only"
    return (
        one.parameter,
        f"{'<' if one.censored else ''}{one.value:.3g}",
        f"{one.at_most:.3g}",
        _DASH if one.natural is None else f"{one.natural:.2g}",
        _DASH if one.limit is None else f"{one.limit:.2g}",
        f"{one.watch:.3g}",
        f"{one.act:.3g}",
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


def _blocks(found: Assessment) -> str:
    words = {
        "dose": "no dose",
        "correction": "no correction",
        "change": "no change of dose",
    }
    lines = [
        _words(f"{one.parameter}: {words[one.stops]}. {one.text}", rest="  ")
        for one in found.blocks
    ]
    return "\n".join(["What is held back", *lines]) if lines else ""


def _named(parameter: str) -> str:
    return f"{parameter} {display_unit(parameter)}"


def _number(parameter: str, level: float) -> str:
    """A level without its unit."""
    return show_level(parameter, level).split(" ")[0]


def _rate(parameter: str, per_day: float) -> str:
    """A rate with three digits: it is small beside the level."""
    shown = per_day / _in_display_unit(parameter)
    return f"{shown:.3g}"


def _in_display_unit(parameter: str) -> float:
    item = parameter_named(parameter, where="")
    return float(units_of(item)[item.display_unit])


def _age(days: float) -> str:
    return f"{24 * days:.0f} h" if days < _TODAY_DAYS else f"{days:.0f} d"


def _two_digits(number: float) -> str:
    return f"{float(f'{number:.2g}'):.0f}"


def _words(text: str, first: str = "", rest: str = "") -> str:
    return "\n".join(wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest))
