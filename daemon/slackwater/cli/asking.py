"""The questions of `setup`.

Floor 8. One subject: the dialogue on place and pumps. Laws here: questions go to
standard error; an answer that the settings refuse, or that makes the first plan one
that would be refused, is told why and asked again; nothing is written from here.
"""

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import partial
from typing import Protocol, TypeVar, cast

import click

from slackwater.cli.answers import (
    PLANNED,
    UNKNOWN,
    Answers,
    answers_of,
    refuse_comma,
)
from slackwater.cli.questions import tell_again
from slackwater.cli.typed import host_and_port, typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError

NAME = "answers"
NONE = "none"
CHANNELS = "abcdefghijklmnop"
ResultT = TypeVar("ResultT")
Tables = dict[str, object]
Try = Callable[[Answers], object]


class AnewError(Exception):
    """A person wants to answer anew about a pump: no amount may fit what was typed."""


class Fit(Protocol):
    """Refuses a first plan that would be refused; caps named are judged elsewhere."""

    def __call__(self, answers: Answers, told: Collection[str] = ()) -> object:
        """Raise InputError with everything that speaks against the plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judges:
    """Who refuses what the settings would refuse, and who a plan that does not fit."""

    reads: Try
    fits: Fit


_HEAD_QUESTIONS = (
    ("site", "Name of this place", "home"),
    ("tank.id", "Short name of the tank (a-z, 0-9, -)", "reef"),
    ("tank.net_volume", "Its water, rock and sand taken off, like 200 L", None),
    ("tank.zone", "Its time zone, like Europe/Berlin", None),
    ("tank.targets.alkalinity", "Its alkalinity should be, like 8.0 dKH", None),
    ("node.id", "Name of the pump node on the broker", "shelf"),
    ("node.day_limit", "The node's own limit a day and channel, like 80 mL", None),
    ("node.longest_run", "The node's own limit of one run, like 30 s", None),
    ("broker", "The MQTT broker", "localhost:1883"),
)
# What stands for an answer that is still to come, so that each can be judged alone.
_HEAD_STAND_INS: Tables = {
    "site": "home",
    "tank": {"id": "reef", "net_volume": "200 L", "zone": "UTC", "targets": {}},
    "node": {"id": "shelf", "day_limit": "80 mL", "longest_run": "30 s"},
    "broker": {"host": "localhost", "port": 1883, "passwords": True},
}
_PUMP_QUESTIONS = (
    ("bottle", "  Content of its bottle, like 2 L"),
    ("rate", "  Its flow, like 30 mL/min"),
    ("smallest_dose", "  Smallest dose it gives reliably, like 0.5 mL"),
    ("most_per_dose", "  Most it may ever give in one dose, like 4 mL"),
    ("most_per_day", "  Most it may ever give in a day, like 50 mL"),
    ("per_day", f"  What the first plan doses a day, like 12 mL, or {NONE}"),
    ("dosed", f"  What it gave in the last 24 h, like 0 mL, {PLANNED}, or {UNKNOWN}"),
)
# A label begins with a parameter and its figure, a recipe with a formula.
_LABEL = re.compile(r".* per |\s*[A-Za-z]+\s+[.\d]")
# What helps here and now; everything can be changed later.
FITTING = (
    "Give an amount that fits: it is given in twelve doses, and how many can be "
    "changed in the file later. Or type anew to answer anew about this pump."
)
ANEW = "anew"
_WANTED = "An answer is wanted: type one as the question shows."
_LITTLE = "10 uL"
_PUMP_STAND_INS: Tables = {
    "no_effects": True,
    "bottle": "1 L",
    "rate": "30 mL/min",
    "smallest_dose": _LITTLE,
    "most_per_dose": "2 L",
    "most_per_day": "20 L",
    "dosed": "0 mL",
}
# A plan needs a line: that of a pump nobody would name like this.
_PROBE = "zz-setup"
_RECIPES = f"""\
  What its bottle holds, in one of three ways:
    Na2CO3, anhydrous, 100 g/L, 99 %     formula, crystal water, strength, purity
    alkalinity 0.05 dKH per mL in 100 L  what the label says
    {NONE}                                 nothing that is counted"""


def ask_all(judges: Judges) -> Answers:
    """All answers but those on single parameters."""
    head = _ask_head(judges.reads)
    pumps: Tables = {}
    while True:
        try:
            name, pump = again(
                partial(_ask_pump, judges, head, pumps),
                partial(_judge_pump, judges.reads, head, pumps),
            )
        except AnewError:
            continue
        pumps[name] = pump
        if not click.confirm("Another pump?", default=False, err=True):
            return _answers(head, pumps)


def again(ask: Callable[[], ResultT], judge: Callable[[ResultT], object]) -> ResultT:
    """Ask until nothing is wrong with the answer."""
    while True:
        try:
            given = ask()
            judge(given)
        except InputError as error:
            tell_again(error)
        else:
            return given


def ask_text(question: str, default: str | None = None) -> str:
    """What a person typed; an empty answer stands for the default, if there is one."""
    shown = fitted(question, error_columns())
    is_shown = default is not None
    while True:
        # Asked with an empty default: click itself would ask again without a word.
        typed = click.prompt(
            shown, default=default or "", show_default=is_shown, err=True
        )
        if answer := str(typed).strip():
            return answer
        click.echo(fitted(_WANTED, error_columns()), err=True)


def _ask_head(try_out: Try) -> Tables:
    """Tank, node and broker, each answer judged before the next is asked for."""
    tables = _HEAD_STAND_INS
    for place, question, default in _HEAD_QUESTIONS:
        ask = partial(_ask_into, tables, place, (question, default))
        tables = again(ask, partial(_judge_head, try_out))
    passwords = click.confirm(
        "Does it ask for names and passwords?", default=True, err=True
    )
    return _put(tables, "broker.passwords", passwords)


def _ask_into(tables: Tables, place: str, question: tuple[str, str | None]) -> Tables:
    answer = ask_text(*question)
    if place != "broker":
        return _put(tables, place, answer)
    named = host_and_port(answer)
    if named is None:
        raise InputError(_no_broker(answer))
    host, port = named
    return _put(_put(tables, "broker.host", host), "broker.port", port)


def _no_broker(answer: str) -> Finding:
    return Finding(
        what=f'"{answer}"',
        where=f"{NAME}, the broker",
        expected="HOST:PORT, like localhost:1883",
        do="Give its name or address, a colon and its port.",
    )


def _put(tables: Tables, place: str, value: object) -> Tables:
    """A copy of the tables with a value at a place like "tank.id"."""
    key, _, rest = place.partition(".")
    if not rest:
        return {**tables, key: value}
    inner = tables[key]
    return {**tables, key: _put(dict(cast("Tables", inner)), rest, value)}


def _ask_pump(judges: Judges, head: Tables, pumps: Tables) -> tuple[str, Tables]:
    """One pump, each answer judged before the next is asked for."""
    judge = partial(_judge_part, judges, head, pumps)
    name = again(
        partial(ask_text, "A pump: name of its solution (a-z, 0-9, -)"),
        lambda named: judge(named, {}),
    )
    pump: Tables = {}

    def settle(ask: Callable[[], Tables]) -> None:
        pump.update(again(ask, lambda answer: judge(name, {**pump, **answer})))

    channel = CHANNELS[len(pumps) % 16]
    settle(lambda: {"channel": ask_text("  Channel of the node", channel)})
    click.echo(fitted(_RECIPES, error_columns()), err=True)
    settle(lambda: _solution(ask_text("  Its recipe, its label, or none")))
    for key, question in _PUMP_QUESTIONS:
        settle(partial(_figure, key, question))
    return name, pump


def _figure(key: str, question: str) -> Tables:
    answer = ask_text(question)
    if (key, answer) == ("per_day", ANEW):
        raise AnewError
    return {key: None if (key, answer) == ("per_day", NONE) else answer}


def _solution(text: str) -> Tables:
    """A recipe has four parts, a label one or more of parameter and figure.

    Raises: InputError for a decimal comma, as neither could be told from the other.
    """
    if text == NONE:
        return {"no_effects": True}
    refuse_comma(text, f"{NAME}, recipe or label")
    parts = [part.strip() for part in text.split(",")]
    if len(parts) > 1 and not _LABEL.match(text):
        return {"recipe": text}
    pairs = (part.partition(" ") for part in parts)
    return {"label": {name: figure.strip() for name, _, figure in pairs}}


def _answers(head: Tables, pumps: Tables) -> Answers:
    return answers_of({**head, "pump": dict(pumps)}, NAME)


def _judge_pump(
    try_out: Try, head: Tables, pumps: Tables, pair: tuple[str, Tables]
) -> None:
    name, pump = pair
    _refuse_named(pumps, name)
    try_out(_answers(head, {**pumps, name: pump}))


def _judge_part(
    judges: Judges, head: Tables, pumps: Tables, name: str, part: Tables
) -> None:
    """Judge what is known of a pump; what is still to come stands in for itself."""
    _refuse_named(pumps, name)
    pump = {**_PUMP_STAND_INS, "channel": _PROBE, **part}
    if {"recipe", "label"} & part.keys():
        del pump["no_effects"]
    every = {**pumps, name: pump}
    probe = {} if pump.get("per_day") else {_PROBE: _probe()}
    answers = _answers(head, {**every, **probe})
    judges.reads(answers)
    if pump.get("per_day"):
        _refuse_unfit(judges.fits, answers, name)
    elif "per_day" in part:
        # No amount at all is told now, and not when all else was typed.
        _answers(head, every)


def _refuse_unfit(fits: Fit, answers: Answers, name: str) -> None:
    """Refuse an amount a day with all that speaks against it."""
    pump, node = answers.pumps[name], answers.node
    planned, place = str(pump.per_day), f"{NAME} [pump.{name}] per_day"
    found, told = [], []
    for limit, whose, cap in (
        (
            pump.most_per_day,
            "the most it may give in a day",
            f"[pump.{name}] most_per_day",
        ),
        (
            node.day_limit,
            "the node's own limit a day and channel",
            f"[node.{node.id}] day_limit",
        ),
    ):
        if typed_ul(planned, place) > typed_ul(limit, place):
            found.append(_beyond(planned, place, f"at most {limit}, {whose}"))
            told.append(cap)
    try:
        fits(answers, told)
    except InputError as error:
        found += error.findings
    if found:
        raise InputError(found)


def _beyond(planned: str, place: str, expected: str) -> Finding:
    return Finding(what=f"{planned} a day", where=place, expected=expected, do=FITTING)


def _refuse_named(pumps: Tables, name: str) -> None:
    if name in pumps:
        raise InputError(
            Finding(
                what=f"there is a pump {name} already",
                where=NAME,
                expected="another name",
                do="Give the second pump its own name.",
            )
        )


def _judge_head(try_out: Try, tables: Tables) -> None:
    """Judge tank, node and broker with a pump that nothing is wrong with."""
    try_out(_answers(tables, {_PROBE: _probe()}))


def _probe() -> Tables:
    return {
        **_PUMP_STAND_INS,
        "channel": f"{_PROBE}-channel",
        "most_per_dose": _LITTLE,
        "most_per_day": _LITTLE,
        "per_day": _LITTLE,
        "doses": 1,
    }
