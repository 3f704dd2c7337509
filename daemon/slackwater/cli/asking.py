"""The questions of `setup`.

Floor 8. One subject: the dialogue. Laws here: questions go to standard error; a part
that the settings refuse is told why and asked again; nothing is written from here.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import TypeVar

import click

from slackwater.cli.answers import (
    RECIPE_PARTS,
    UNKNOWN,
    Answers,
    CapAnswer,
    TankAnswer,
    UptakeAnswer,
    answers_of,
)
from slackwater.cli.document import finding_text
from slackwater.errors import Finding, InputError

NAME = "answers"
NONE = "none"
CHANNELS = "abcdefghijklmnop"
ResultT = TypeVar("ResultT")
Tables = dict[str, object]
Try = Callable[[Answers], object]

_PUMP_QUESTIONS = (
    ("bottle", "  Content of its bottle, like 2 L"),
    ("rate", "  Its flow, like 30 mL/min"),
    ("smallest_dose", "  Smallest dose it gives reliably, like 0.5 mL"),
    ("most_per_dose", "  Most it may ever give in one dose, like 4 mL"),
    ("most_per_day", "  Most it may ever give in a day, like 50 mL"),
    ("per_day", f"  What the first plan doses a day, like 36 mL, or {NONE}"),
    ("dosed", f"  What it gave in the last 24 h, like 0 mL, or {UNKNOWN}"),
)


def ask_all(try_out: Try) -> Answers:
    """All answers but those on single parameters.

    `try_out` refuses what the settings would refuse.
    """
    head = _again(_ask_head, partial(_judge_head, try_out))
    pumps: Tables = {}
    while True:
        name, pump = _again(
            partial(_ask_pump, len(pumps)), partial(_judge_pump, try_out, head, pumps)
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
        given = ask()
        try:
            judge(given)
        except InputError as error:
            for finding in error.findings:
                click.echo(finding_text(finding), err=True)
            click.echo("Once more, please.", err=True)
        else:
            return given


def _ask(question: str, default: str | None = None) -> str:
    return str(click.prompt(question, default=default, err=True)).strip()


def _ask_head() -> Tables:
    site = _ask("Name of this place", "home")
    tank = {
        "id": _ask("Short name of the tank (a-z, 0-9, -)", "reef"),
        "net_volume": _ask("Its water, rock and sand taken off, like 200 L"),
        "zone": _ask("Its time zone, like Europe/Berlin"),
        "targets": {"alkalinity": _ask("Its alkalinity should be, like 8.0 dKH")},
    }
    node = {
        "id": _ask("Name of the pump node on the broker", "shelf"),
        "day_limit": _ask("The node's own limit a day and channel, like 80 mL"),
        "longest_run": _ask("The node's own limit of one run, like 30 s"),
    }
    host, _, port = _ask("The MQTT broker", "localhost:1883").partition(":")
    broker: Tables = {"host": host, "port": int(port) if port.isdecimal() else port}
    broker["passwords"] = click.confirm(
        "Does it ask for names and passwords?", default=True, err=True
    )
    return {"site": site, "tank": tank, "node": node, "broker": broker}


def _ask_pump(number: int) -> tuple[str, Tables]:
    name = _ask("A pump: name of its solution (a-z, 0-9, -)")
    pump: Tables = {"channel": _ask("  Channel of the node", CHANNELS[number % 16])}
    question = (
        '  Recipe like "Na2CO3, anhydrous, 100 g/L, 99 %", label like '
        f'"alkalinity 0.05 dKH per mL in 100 L", or {NONE}'
    )
    pump.update(_solution(_ask(question)))
    pump.update({key: _ask(question) for key, question in _PUMP_QUESTIONS})
    if pump["per_day"] == NONE:
        del pump["per_day"]
    return name, pump


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
    question = f"What the tank uses of {parameter} a day, best estimate, or {UNKNOWN}"
    estimate = _ask(question, UNKNOWN)
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
    if name in pumps:
        raise InputError(
            Finding(
                what=f"there is a pump {name} already",
                where=NAME,
                expected="another name",
                do="Give the second pump its own name.",
            )
        )
    try_out(_answers(head, {**pumps, name: pump}))


def _judge_head(try_out: Try, tables: Tables) -> None:
    """Judge tank, node and broker with a pump that nothing is wrong with."""
    pump = {
        "channel": "a",
        "no_effects": True,
        "bottle": "1 L",
        "rate": "30 mL/min",
        "smallest_dose": "1 mL",
        "most_per_dose": "1 mL",
        "most_per_day": "1 mL",
        "per_day": "1 mL",
        "doses": 1,
        "dosed": "0 mL",
    }
    try_out(_answers(tables, {"probe": pump}))
