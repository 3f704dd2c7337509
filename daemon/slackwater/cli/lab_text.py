"""A laboratory's report as a table and as a document.

Floor 8. One subject: showing what a report came to. Laws here: what was censored reads
as less than its limit; a small figure keeps two digits that count, and no digit of the
report is dropped; whatever was assumed or left out is said; what is to be acted on is
said at once, for only an assessment raises its alarm.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor, log10
from textwrap import fill

from slackwater.assessment.trace_bands import is_trace, trace_band
from slackwater.cli.lab_filing import Place
from slackwater.cli.lab_striking import DIGITS_SHOWN, value_words
from slackwater.cli.render import NARROWEST, local, table
from slackwater.facts.tank import TraceLimits
from slackwater.facts.waters import OWN_TESTS_ONLY
from slackwater.ledger.codec import timestamp
from slackwater.outside.lab import LabReport, LabValue
from slackwater.water.parameters import PARAMETERS, Parameter
from slackwater.water.show import show_figure
from slackwater.water.spellings import units_of, zero_of

_DIGITS_SHOWN = 12
_FIGURE = re.compile(r"[^A-Za-zµμ°%]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Filed:
    """A report with the water it is about, and whether it was stored.

    `bands` are the operator's own limits of traces; `program` is how a person types
    the program.
    """

    report: LabReport
    place: Place
    laboratory: str
    zone: str
    stored: bool
    program: str
    bands: Mapping[str, TraceLimits] = field(default_factory=dict)

    @property
    def acted_on(self) -> dict[str, tuple[float, float]]:
        """Traces at which something is done: the level, and from which on; ug/L."""
        found = {}
        for one in self.report.values:
            if one.censored or not is_trace(one.parameter):
                continue
            limit = None if one.limit is None else float(one.limit)
            band = trace_band(one.parameter, limit, self.bands.get(one.parameter))
            if one.level >= band.act:
                found[one.parameter] = (float(one.level), band.act)
        return found


def report_text(filed: Filed) -> str:
    """The report for people."""
    report, place = filed.report, filed.place
    by = f" by {filed.laboratory}" if filed.laboratory else ""
    sample = f", sample {place.sample}" if place.sample else ""
    heads = ("element", ">value", "unit", "note")
    return "\n".join(
        (
            _wrapped(f"{report.file}{by}"),
            f"Tank {place.tank}{sample}, taken {local(place.sampled_at, filed.zone)}",
            "",
            table(heads, [_row(one) for one in report.values]),
            "",
            *map(_wrapped, _remarks(filed)),
            *_next(filed),
        )
    )


def report_document(filed: Filed) -> dict[str, object]:
    """The report as keys of a JSON document; values canonical."""
    report, place = filed.report, filed.place
    return {
        "stored": filed.stored,
        "report": report.digest,
        "file": report.file,
        "tank": place.tank,
        "sample": place.sample,
        "sampled_at": timestamp(place.sampled_at),
        "laboratory": filed.laboratory,
        "values": [_value_document(one) for one in report.values],
        "limits": dict(report.limits),
        "skipped": list(report.skipped),
        "assumed": list(report.assumed),
        "act": sorted(filed.acted_on),
    }


def _remarks(filed: Filed) -> Iterator[str]:
    report = filed.report
    yield from report.assumed
    if report.skipped:
        yield f"Left out: {', '.join(report.skipped)}."
    own = [one.parameter for one in report.values if one.parameter in OWN_TESTS_ONLY]
    if own:
        names = ", ".join(PARAMETERS[name].name for name in sorted(set(own)))
        yield f"Kept, but only tests at the tank are judged for: {names}."
    yield from _to_act_on(filed)
    values = value_words(len(report.values))
    yield (
        f"Stored: {values}, report {report.digest[:DIGITS_SHOWN]}."
        if filed.stored
        else f"Nothing was stored (--dry-run); {values} would be."
    )


def _next(filed: Filed) -> Iterator[str]:
    """What to do now, on a line of its own: a command that is wrapped is no command."""
    if filed.stored:
        yield f"Next: `{filed.program} assess` judges it."


def _to_act_on(filed: Filed) -> Iterator[str]:
    """Where an assessment presses, because something is to be acted on."""
    told = [
        f"{name} {show_figure(level)} ug/L (from {show_figure(act)} on)"
        for name, (level, act) in sorted(filed.acted_on.items())
    ]
    if told:
        yield (
            f"TO ACT ON: {', '.join(told)}. Assess it now: that raises the alarm and "
            "says what to do."
        )


def _wrapped(line: str) -> str:
    return fill(line, NARROWEST)


def _row(one: LabValue) -> tuple[str, str, str, str]:
    item = PARAMETERS[one.parameter]
    name = item.symbol if item.kind != "state" else item.name
    figure = written(one.level, item, one.typed)
    return (
        name,
        f"< {figure}" if one.censored else figure,
        item.display_unit,
        "; ".join(one.notes),
    )


def written(level: Fraction, item: Parameter, typed: str) -> str:
    """A level in the unit people use, with at least two digits that count.

    Where the digits of the text it came as say it exactly, none of them is dropped.
    """
    unit = item.display_unit
    exact = (level - zero_of(unit)) / units_of(item)[unit]
    number = float(exact)
    decimals = max(item.decimals, _decimals_typed(exact, typed))
    if number:
        decimals = max(decimals, 1 - floor(log10(abs(number))))
    return f"{number:.{min(decimals, _DIGITS_SHOWN)}f}"


def _decimals_typed(exact: Fraction, typed: str) -> int:
    """Decimals that say a number exactly; 0 where it takes more digits than a text has.

    A number that was converted has digits of its own, which nobody measured.
    """
    figure = _FIGURE.match(typed)
    most = sum(letter.isdigit() for letter in figure[0]) if figure else 0
    for decimals in range(most):
        whole = abs(exact) * 10**decimals
        if whole.denominator == 1:
            return decimals if len(str(whole)) <= most else 0
    return 0


def _value_document(one: LabValue) -> dict[str, object]:
    item = PARAMETERS[one.parameter]
    return {
        "parameter": one.parameter,
        "name": one.name,
        "value": float(one.level),
        "unit": item.canonical_unit,
        "censored": one.censored,
        "typed": one.typed,
        "method": one.method,
        "notes": list(one.notes),
        "replicates": one.replicates,
        "spread": None if one.spread is None else float(one.spread),
        "sd": None if one.sd is None else float(one.sd),
        "limit": None if one.limit is None else float(one.limit),
        "confirmed": one.confirmed,
    }
