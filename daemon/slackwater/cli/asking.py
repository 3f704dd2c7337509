"""The questions of `setup`.

Floor 8. One subject: the dialogue. Laws here: questions go to standard error; a part
that the settings refuse is told why and asked again; nothing is written from here.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import TypeVar, cast

import click

from slackwater.cli.amounts import display_unit
from slackwater.cli.answers import (
    PLANNED,
    RECIPE_PARTS,
    UNKNOWN,
    Answers,
    CapAnswer,
    TankAnswer,
    UptakeAnswer,
    answers_of,
)
from slackwater.cli.questions import tell_again
from slackwater.cli.typed import host_and_port, typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError

NAME = "answers"
NONE = "none"
# Only an example to type like.
_USED = {"alkalinity": "1.0"}
CHANNELS = "abcdefghijklmnop"
ResultT = TypeVar("ResultT")
Tables = dict[str, object]
Try = Callable[[Answers], object]

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


def ask_all(try_out: Try) -> Answers:
    """All answers but those on single parameters.

    `try_out` refuses what the settings would refuse.
    """
    head = _ask_head(try_out)
    pumps: Tables = {}
    while True:
        name, pump = _again(
            partial(_ask_pump, try_out, head, pumps),
            partial(_judge_pump, try_out, head, pumps),
        )
        pumps[name] = pump
        if not click.confirm("Another pump?", default=False, err=True):
            return _answers(head, pumps)


def ask_uptake(answers: Answers, parameters: Iterable[str], try_out: Try) -> Answers:
    """The same with what the tank uses up of each parameter, where that is known."""
    for parameter in parameters:
        ask = partial(_ask_uptake, answers.tank, parameter)
        tank = _again(ask, partial(_judge_tank, try_out, answers))
        answers = answers.model_copy(update={"tank": tank})
    return answers


def ask_caps(
    answers: Answers, suggested: Mapping[str, Mapping[str, str]], try_out: Try
) -> Answers:
    """The same with daily ceilings, each suggested and accepted or replaced."""
    for parameter, texts in suggested.items():
        ask = partial(_ask_cap, answers.tank, parameter, texts)
        tank = _again(ask, partial(_judge_tank, try_out, answers))
        answers = answers.model_copy(update={"tank": tank})
    return answers


def _again(ask: Callable[[], ResultT], judge: Callable[[ResultT], object]) -> ResultT:
    """Ask until nothing is wrong with the answer."""
    while True:
        try:
            given = ask()
            judge(given)
        except InputError as error:
            tell_again(error)
        else:
            return given


def _ask(question: str, default: str | None = None) -> str:
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
        tables = _again(ask, partial(_judge_head, try_out))
    passwords = click.confirm(
        "Does it ask for names and passwords?", default=True, err=True
    )
    return _put(tables, "broker.passwords", passwords)


def _ask_into(tables: Tables, place: str, question: tuple[str, str | None]) -> Tables:
    answer = _ask(*question)
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


def _ask_pump(try_out: Try, head: Tables, pumps: Tables) -> tuple[str, Tables]:
    """One pump, each answer judged before the next is asked for."""
    judge = partial(_judge_part, try_out, head, pumps)
    name = _again(
        partial(_ask, "A pump: name of its solution (a-z, 0-9, -)"),
        lambda named: judge(named, {}),
    )
    pump: Tables = {}

    def settle(ask: Callable[[], Tables]) -> None:
        pump.update(_again(ask, lambda answer: judge(name, {**pump, **answer})))

    channel = CHANNELS[len(pumps) % 16]
    settle(lambda: {"channel": _ask("  Channel of the node", channel)})
    click.echo(fitted(_RECIPES, error_columns()), err=True)
    settle(lambda: _solution(_ask("  Its recipe, its label, or none")))
    for key, question in _PUMP_QUESTIONS:
        settle(partial(_figure, key, question))
    return name, pump


def _figure(key: str, question: str) -> Tables:
    answer = _ask(question)
    return {key: None if (key, answer) == ("per_day", NONE) else answer}


def _solution(text: str) -> Tables:
    """A recipe has four parts, a label one or more of parameter and figure."""
    if text == NONE:
        return {"no_effects": True}
    parts = [part.strip() for part in text.split(",")]
    if len(parts) == RECIPE_PARTS and " per " not in text:
        return {"recipe": text}
    pairs = (part.partition(" ") for part in parts)
    return {"label": {name: figure.strip() for name, _, figure in pairs}}


def _ask_uptake(tank: TankAnswer, parameter: str) -> TankAnswer:
    rate = f"{_USED.get(parameter, '5')} {display_unit(parameter)}/day"
    question = f"What the tank uses of {parameter}, best estimate like {rate}"
    estimate = _ask(f"{question}, or {UNKNOWN}", UNKNOWN)
    if estimate == UNKNOWN:
        return tank
    low = _ask("  and what it surely uses, not more", estimate)
    uptake = {**tank.uptake, parameter: UptakeAnswer(estimate=estimate, low=low)}
    return tank.model_copy(update={"uptake": uptake})


def _ask_cap(
    tank: TankAnswer, parameter: str, suggested: Mapping[str, str]
) -> TankAnswer:
    gross = _ask(f"Most {parameter} to pour in in a day", suggested.get("gross"))
    net_rise = suggested.get("net_rise")
    if net_rise is not None:
        net_rise = _ask(f"Most {parameter} may climb in a day", net_rise)
    cap = CapAnswer(gross=gross, net_rise=net_rise)
    return tank.model_copy(update={"caps": {**tank.caps, parameter: cap}})


def _answers(head: Tables, pumps: Tables) -> Answers:
    return answers_of({**head, "pump": dict(pumps)}, NAME)


def _judge_tank(try_out: Try, answers: Answers, tank: TankAnswer) -> None:
    try_out(answers.model_copy(update={"tank": tank}))


def _judge_pump(
    try_out: Try, head: Tables, pumps: Tables, pair: tuple[str, Tables]
) -> None:
    name, pump = pair
    _refuse_named(pumps, name)
    try_out(_answers(head, {**pumps, name: pump}))


def _judge_part(
    try_out: Try, head: Tables, pumps: Tables, name: str, part: Tables
) -> None:
    """Judge what is known of a pump; what is still to come stands in for itself."""
    _refuse_named(pumps, name)
    pump = {**_PUMP_STAND_INS, "channel": _PROBE, **part}
    if {"recipe", "label"} & part.keys():
        del pump["no_effects"]
    probe = {} if pump.get("per_day") else {_PROBE: _probe()}
    try_out(_answers(head, {**pumps, name: pump, **probe}))
    _refuse_beyond(name, pump)


def _refuse_beyond(name: str, pump: Tables) -> None:
    """Refuse a first plan that gives more a day than was just allowed."""
    place = f"{NAME} [pump.{name}] per_day"
    planned, most = str(pump.get("per_day") or _LITTLE), str(pump["most_per_day"])
    if typed_ul(planned, place) > typed_ul(most, place):
        raise InputError(
            Finding(
                what=f"{planned} a day",
                where=place,
                expected=f"at most {most}, the most it may give in a day",
                do="Plan less; to allow more, change most_per_day in the file later.",
            )
        )


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
