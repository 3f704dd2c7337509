"""A proposal for people and as a document.

Floor 8. One subject: telling a proposal. Laws here: the best action may be none, and
that is said first; each change is one sentence with its grounds and figures; text and
document come from one record.
"""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from textwrap import wrap

from slackwater.cli.amounts import decimal
from slackwater.cli.document import finding_document
from slackwater.cli.width import within
from slackwater.errors import Finding
from slackwater.facts.plan import PlanLine
from slackwater.facts.proposal import Change, Ground, Grounded, Proposal, Withheld
from slackwater.facts.reasons import Figure
from slackwater.water.parameters import parameter_named
from slackwater.water.show import show_figure, show_volume
from slackwater.water.spellings import units_of

_WIDTH = 78
_DIGITS = 3
_DECIMALS = 6
# What figures are called; those ending in `_ul` are volumes, `days` are days, those of
# `_UNITS` have their own unit, all others are levels or rates of the parameter.
_LABELS: Mapping[str, str] = {
    "at_target_per_day": "uptake at the target",
    "at_level_per_day": "at the level of now",
    "uptake_per_day": "uptake",
    "sd_per_day": "give or take",
    "by_ratio_per_day": "by the ratio to alkalinity",
    "least_by_ratio_per_day": "at least, by the ratio to alkalinity",
    "now_per_day": "the plan gives",
    "level": "level",
    "level_at_35": "level at salinity 35",
    "level_sd": "give or take",
    "target": "target",
    "per_day": "a day",
    "days": "days",
    "after_days": "days until then",
    "same_days": "days without a change",
    "nitrate_mg_per_l": "nitrate",
    "phosphate_mg_per_l": "phosphate",
    "celsius": "water",
    "return_days": "days to come most of the way",
    "by_itself_per_day": "moves by itself",
    "still_coming": "still to come",
    "came_since": "came in since",
    "corrected_beyond": "corrected from this far off",
    "wanted_ul": "wanted",
    "most_ul": "most",
    "given_ul": "given",
    "smallest_ul": "smallest dose",
    "cap": "held by",
    "why": "",
}
# What has a unit of its own, whatever parameter the sentence is about.
_UNITS: Mapping[str, str] = {
    "nitrate_mg_per_l": "mg/L",
    "phosphate_mg_per_l": "mg/L",
    "celsius": "degC",
}
_KINDS = {
    "new": "begins",
    "more": "rises",
    "less": "falls",
    "same": "stays",
    "ends": "ends",
}


def proposal_text(
    proposal: Proposal, findings: Sequence[Finding], missing: Sequence[str] = ()
) -> str:
    """What a person reads; `missing` are sentences about tests that would help."""
    return "\n".join(_sections(proposal, findings, missing))


def proposal_document(
    proposal: Proposal, findings: Sequence[Finding]
) -> dict[str, object]:
    """The proposal as fields of a document; effects as decimal strings."""
    return {
        "tank": proposal.tank,
        "made_on": proposal.made_on.isoformat(),
        "best_action_is_none": proposal.is_none,
        "changes": [_change_document(one) for one in proposal.changes],
        "withheld": [
            {"parameter": one.parameter, "reasons": _grounds(one.grounds)}
            for one in proposal.withheld
        ],
        "lines": [_line_document(one, proposal) for one in proposal.plan.lines],
        "findings": [finding_document(one) for one in findings],
    }


def comments_of(proposal: Proposal) -> Mapping[str, list[str]]:
    """Sentences above each line of the plan file; steps name the first for theirs."""
    chief = {one.pump: one.parameter for one in proposal.changes}
    first: dict[tuple[str, str], str] = {}
    told: dict[str, list[str]] = {}
    for line in proposal.plan.lines:
        grounds = proposal.reasons.get(line.id, ())
        if line.pump not in chief or not grounds:
            continue
        known = first.setdefault((line.pump, _hashable(grounds)), line.id)
        told[line.id] = (
            [sentence(one, chief[line.pump]) for one in grounds]
            if known == line.id
            else [f"For the reasons of {known}."]
        )
    return told


def _hashable(grounds: Sequence[Grounded]) -> str:
    return repr([(one.ground, dict(one.figures)) for one in grounds])


def sentence(grounded: Grounded, parameter: str) -> str:
    """One ground with its figures in the unit people use."""
    figures = [
        f"{_LABELS.get(key, key)} {figure_words(key, value, parameter)}".lstrip()
        for key, value in grounded.figures.items()
        if value is not None
    ]
    return f"{grounded.text} ({', '.join(figures)})" if figures else grounded.text


def figure_words(key: str, value: Figure, parameter: str) -> str:
    """A figure of a ground as people read it."""
    if isinstance(value, str | bool) or value is None:
        return str(value)
    if key.endswith("_ul"):
        return show_volume(round(value))
    if key.endswith("days"):
        return str(value)
    if key in _UNITS:
        return f"{show_figure(value)} {_UNITS[key]}"
    rate = "/day" if key.endswith("per_day") else ""
    return f"{amount_words(parameter, value)}{rate}"


def amount_words(parameter: str, value: float) -> str:
    """A level or change in the display unit: three digits that count, or all whole."""
    item = parameter_named(parameter, where="")
    number = Fraction(value) / units_of(item)[item.display_unit]
    digits = max(_DIGITS, len(str(round(abs(number)))))
    return f"{show_figure(number, digits)} {item.display_unit}"


def _sections(
    proposal: Proposal, findings: Sequence[Finding], missing: Sequence[str]
) -> Iterator[str]:
    if proposal.is_none:
        yield f"{proposal.tank}: the best action is none. The plan stays as it is.\n"
    else:
        yield f"{proposal.tank}: proposed changes. Nothing runs from a proposal.\n"
    for change in proposal.changes:
        yield from _change_lines(change)
    if proposal.withheld:
        yield "Not dosed:"
        yield from (line for one in proposal.withheld for line in _withheld(one))
        yield ""
    if missing:
        yield "What would make it surer:"
        yield from (line for text in missing for line in wrapped(text))
        yield ""
    if findings:
        yield "This plan would still be refused; `slackwater check` says the same:"
        yield from (
            line
            for one in findings
            for line in wrapped(f"{one.where}: {one.what}. {one.do}")
        )


def _change_lines(change: Change) -> Iterator[str]:
    yield from wrap(_headline(change), within(_WIDTH), subsequent_indent="  ")
    for one in change.grounds:
        yield from wrapped(sentence(one, change.parameter))
    yield ""


def _headline(change: Change) -> str:
    if change.kind == "same":
        stays = "is held" if _is_held(change) else "stays"
        told = f"{change.pump} {stays} at {_daily(change.after_ul)}"
    else:
        adds = ", ".join(
            f"{'+' if value >= 0 else ''}{amount_words(name, value)}"
            for name, value in change.adds.items()
            if value
        )
        told = (
            f"{change.pump} {_KINDS[change.kind]}: {_daily(change.before_ul)} → "
            f"{_daily(change.after_ul)}, {adds} a day"
        )
    if change.correction_ul > 0:
        told += f"; and {_daily(change.correction_ul)} more"
    elif change.correction_ul < 0:
        told += f"; {_daily(-change.correction_ul)} of it withheld"
    return told + (
        f" for {change.correction_days} days" if change.correction_ul else ""
    )


def _is_held(change: Change) -> bool:
    """Whether it stays only because the newest test is too high for any more."""
    return any(one.ground is Ground.ABOVE_BOUND for one in change.grounds)


def _daily(volume_ul: int) -> str:
    return f"{show_volume(volume_ul)} a day" if volume_ul else "nothing"


def _withheld(one: Withheld) -> Iterator[str]:
    name = parameter_named(one.parameter, where="").name
    texts = " ".join(sentence(ground, one.parameter) for ground in one.grounds)
    yield from wrapped(f"{name}: {texts}")


def wrapped(text: str) -> list[str]:
    """A sentence set in below what it belongs to."""
    return wrap(text, within(_WIDTH), initial_indent="  ", subsequent_indent="    ")


def _grounds(grounds: Sequence[Grounded]) -> list[dict[str, object]]:
    return [
        {"code": str(one.ground), "text": one.text, "figures": dict(one.figures)}
        for one in grounds
    ]


def _change_document(change: Change) -> dict[str, object]:
    return {
        "pump": change.pump,
        "solution": change.solution,
        "parameter": change.parameter,
        "kind": change.kind,
        "before_ul": change.before_ul,
        "after_ul": change.after_ul,
        "adds": [
            {
                "parameter": name,
                "added": _decimal(name, value),
                "unit": parameter_named(name, where="").display_unit,
            }
            for name, value in change.adds.items()
        ],
        "correction_ul": change.correction_ul,
        "correction_days": change.correction_days,
        "reasons": _grounds(change.grounds),
    }


def _decimal(parameter: str, value: float) -> str:
    item = parameter_named(parameter, where="")
    return decimal(Fraction(value) / units_of(item)[item.display_unit], _DECIMALS)


def _line_document(line: PlanLine, proposal: Proposal) -> dict[str, object]:
    return {
        "line": f"{line.tank}/{line.id}",
        "pump": line.pump,
        "solution": line.solution,
        "per_day_ul": line.per_day_ul,
        "doses": line.count,
        "every_days": line.every_days,
        "first": line.first_day.isoformat() if line.first_day else None,
        "last": line.last_day.isoformat() if line.last_day else None,
        "purpose": line.purpose,
        "reasons": _grounds(proposal.reasons.get(line.id, ())),
    }
