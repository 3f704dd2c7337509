"""What answers of `setup` come to, tried out before anything is written.

Floor 8. One subject: answers as files, and what speaks against them. Laws here:
everything is read back through the settings; the first plan is held to what is known
of its limits; nothing is left on the disk.
"""

import tempfile
from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

from slackwater.cli.amounts import cap_words
from slackwater.cli.answers import Answers
from slackwater.cli.asking import FITTING
from slackwater.cli.reading import Files, read_files
from slackwater.cli.writing import broker_acl, machine_toml, plan_toml
from slackwater.errors import Finding, InputError
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings.documents import MACHINE_FILE, PLAN_FILE
from slackwater.planning.ceilings import check
from slackwater.planning.daily import ALKALINITY
from slackwater.planning.suggestions import suggestions
from slackwater.water.parameters import PARAMETERS

ACL_FILE = "mosquitto-acl"


def night_first(answers: Answers) -> Answers:
    """The same with the pumps first that move alkalinity: the plan begins by night."""
    machine = read_back(drafts(answers)).machine

    def moves_none(name: str) -> bool:
        effects = machine.solutions[machine.pumps[name].solution].effects
        return ALKALINITY not in effects

    names = sorted(answers.pumps, key=moves_none)
    pumps = {name: answers.pumps[name] for name in names}
    return answers.model_copy(update={"pumps": pumps})


def adding(answers: Answers) -> dict[str, list[str]]:
    """The pumps that add each parameter, by its name in order."""
    machine = read_back(drafts(answers)).machine
    found: dict[str, list[str]] = {}
    for name, pump in machine.pumps.items():
        for parameter in machine.solutions[pump.solution].effects:
            found.setdefault(parameter, []).append(name)
    return dict(sorted(found.items()))


def try_plan(answers: Answers, told: Collection[str] = ()) -> None:
    """Hold the first plan to what is known of its limits.

    A parameter without a ceiling is still to be asked about; `told` names caps, as
    `[table] key`, that were judged already.
    Raises: InputError with everything that speaks against the plan.
    """
    found = against(answers, told)
    if found:
        raise InputError([replace(one, do=FITTING) for one in found])


def against(answers: Answers, told: Collection[str] = ()) -> list[Finding]:
    """Everything that speaks against the first plan, as `try_plan` holds it."""
    files = read_back(drafts(night_first(answers)))
    tank = files.machine.tanks[answers.tank.id]
    to_come = {
        f"[tank.{tank.id}.caps.{parameter}] {key}"
        for parameter in PARAMETERS.keys() - tank.caps.keys()
        for key in ("gross", "net_rise")
    }
    found = check(files.plan, files.machine, to_come | {*told})
    return [_as_answer(one) for one in found]


def suggested_caps(answers: Answers) -> dict[str, dict[str, str]]:
    """A daily ceiling for each parameter that the first plan would need."""
    files = read_back(drafts(answers))
    tank = files.machine.tanks[answers.tank.id]
    found: dict[str, dict[str, str]] = {}
    for one in suggestions(files.plan, files.machine):
        if one.parameter and one.parameter not in tank.caps:
            words = cap_words(one.parameter, one.value, tank)
            found.setdefault(one.parameter, {})[one.key] = words
    return found


def uncapped(caps: Mapping[str, Mapping[str, str]], name: str) -> Finding:
    """That the first plan adds what nobody gave a ceiling, of which none would run.

    Shape: `caps` as `suggested_caps` gives them, one or more; `name` is where the
    answers come from.
    """
    lines = " and ".join(f"{one} = {_inline(texts)}" for one, texts in caps.items())
    return Finding(
        what=f"the plan adds {' and '.join(caps)} without a ceiling",
        where=f"{name} [tank.caps]",
        expected="the most of each that may be poured in in a day (gross), and how far "
        "it may climb (net_rise)",
        do=f"Nothing was written. The plan would fit {lines} : write a line for each "
        "below [tank.caps], as it is or as you know your water.",
    )


def _inline(texts: Mapping[str, str]) -> str:
    pairs = (f'{key} = "{text}"' for key, text in texts.items())
    return f"{{ {', '.join(pairs)} }}"


def drafts(answers: Answers) -> dict[str, str]:
    """The three files by name."""
    return {
        MACHINE_FILE: machine_toml(answers),
        PLAN_FILE: plan_toml(answers, _today(answers.tank.zone)),
        ACL_FILE: broker_acl(answers),
    }


def _today(zone: str) -> date:
    """The date of the tank; for a zone that is none the settings will refuse."""
    utc = SystemClock().now().utc
    with suppress(ValueError, OSError, LookupError):
        return utc.astimezone(ZoneInfo(zone)).date()
    return utc.date()


def read_back(texts: Mapping[str, str]) -> Files:
    """What the settings read in the texts.

    Raises: InputError with everything that is wrong, told as answers.
    """
    with tempfile.TemporaryDirectory(prefix="slackwater-setup-") as folder:
        for name, text in texts.items():
            (Path(folder) / name).write_text(text, "utf-8")
        try:
            # Ceilings are still to come: nothing can be held to them.
            return read_files(Path(folder), is_held=False)
        except InputError as error:
            raise InputError([_as_answer(one) for one in error.findings]) from error


def _as_answer(finding: Finding) -> Finding:
    return Finding(
        what=finding.what,
        where=f"answers, for {finding.where}",
        expected=finding.expected,
        do=finding.do,
    )
