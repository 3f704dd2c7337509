"""The questions of `setup` on what the tank uses and may get of each parameter.

Floor 8. One subject: uptake and daily ceilings. Laws here: a ceiling below what the
first plan gives is told when it is typed, and asked for again together with the amount
of the plan, because it may be the amount that is too much.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import click

from slackwater.cli.amounts import display_unit
from slackwater.cli.answers import (
    UNKNOWN,
    Answers,
    CapAnswer,
    TankAnswer,
    UptakeAnswer,
)
from slackwater.cli.asking import Judges, Try, again, ask_text
from slackwater.cli.questions import tell_again
from slackwater.errors import InputError

# Only an example to type like.
_USED = {"alkalinity": "1.0"}
Texts = Mapping[str, str]
_HIGHER = (
    "Give an amount that fits, or a higher ceiling where you know that the water takes "
    "it."
)
_KEEP = "Keep it so, and mend it in the files later?"


def ask_uptake(answers: Answers, parameters: Iterable[str], reads: Try) -> Answers:
    """The same with what the tank uses up of each parameter, where that is known."""
    for parameter in parameters:
        ask = partial(_ask_uptake, answers.tank, parameter)
        tank = again(ask, partial(_judge_tank, reads, answers))
        answers = answers.model_copy(update={"tank": tank})
    return answers


def ask_caps(
    answers: Answers,
    suggested: Mapping[str, Texts],
    adding: Mapping[str, Sequence[str]],
    judges: Judges,
) -> Answers:
    """The same with daily ceilings, each suggested and accepted or replaced.

    `adding` names the pumps that add a parameter by the plan.
    """
    for parameter, texts in suggested.items():
        names = adding.get(parameter, ())
        answers = _settle_cap(answers, (parameter, texts), names, judges)
    return answers


def _settle_cap(
    answers: Answers, asked: tuple[str, Texts], pumps: Sequence[str], judges: Judges
) -> Answers:
    """Ask until the plan keeps to the ceilings of a parameter."""
    parameter, texts = asked
    is_first = True
    while True:
        ask = partial(_ask_cap, answers.tank, parameter, texts)
        tank = again(ask, partial(_judge_tank, judges.reads, answers))
        given = answers.model_copy(update={"tank": tank})
        try:
            _fit(judges, given)
        except InputError as error:
            tell_again(error)
        else:
            return given
        # Where no answer may do nobody is kept here: a check says it once more.
        if not is_first and click.confirm(_KEEP, default=False, err=True):
            return given
        is_first = False
        for name in pumps:
            answers = _ask_amount(answers, name, judges)


def _ask_amount(answers: Answers, name: str, judges: Judges) -> Answers:
    """The same with another amount a day of a pump, or the one that stands there."""
    pump = answers.pumps[name]
    question = f"What the first plan doses a day of {name}"

    def ask() -> Answers:
        typed = ask_text(question, pump.per_day)
        changed = pump.model_copy(update={"per_day": typed})
        pumps = {**answers.pumps, name: changed}
        made: Answers = answers.model_copy(update={"pumps": pumps})
        return made

    judge: Try = partial(_judge_amount, judges)
    return again(ask, judge)


def _judge_amount(judges: Judges, answers: Answers) -> None:
    judges.reads(answers)
    _fit(judges, answers)


def _fit(judges: Judges, answers: Answers) -> None:
    """Hold the plan to the ceilings that are known by now."""
    try:
        judges.fits(answers)
    except InputError as error:
        raise InputError(
            [replace(one, do=_HIGHER) for one in error.findings]
        ) from error


def _judge_tank(reads: Try, answers: Answers, tank: TankAnswer) -> None:
    reads(answers.model_copy(update={"tank": tank}))


def _ask_uptake(tank: TankAnswer, parameter: str) -> TankAnswer:
    rate = f"{_USED.get(parameter, '5')} {display_unit(parameter)}/day"
    question = f"What the tank uses of {parameter}, best estimate like {rate}"
    estimate = ask_text(f"{question}, or {UNKNOWN}", UNKNOWN)
    if estimate == UNKNOWN:
        return tank
    low = ask_text("  and what it surely uses, not more", estimate)
    uptake = {**tank.uptake, parameter: UptakeAnswer(estimate=estimate, low=low)}
    return tank.model_copy(update={"uptake": uptake})


def _ask_cap(tank: TankAnswer, parameter: str, suggested: Texts) -> TankAnswer:
    gross = ask_text(f"Most {parameter} to pour in in a day", suggested.get("gross"))
    net_rise = suggested.get("net_rise")
    if net_rise is not None:
        net_rise = ask_text(f"Most {parameter} may climb in a day", net_rise)
    cap = CapAnswer(gross=gross, net_rise=net_rise)
    return tank.model_copy(update={"caps": {**tank.caps, parameter: cap}})
