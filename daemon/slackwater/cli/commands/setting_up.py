"""`setup`: answers become two files, an access list and a ledger.

Floor 8. One subject: putting it all in place. Laws here: everything is read back
through the settings before anything is written; what stands there is never touched;
all of it is put in place or nothing; nothing is started.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from errno import EACCES
from functools import partial
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.answers import (
    PLANNED,
    UNKNOWN,
    Answers,
    PumpAnswer,
    answers_form,
    answers_in,
)
from slackwater.cli.asking import Judges, ask_all
from slackwater.cli.asking_water import ask_caps, ask_uptake
from slackwater.cli.checked import check_files
from slackwater.cli.commands.beginning import (
    Lately,
    first_entry,
    make_ledger,
    refuse_standing,
)
from slackwater.cli.document import REFUSED, Answer, finding_text
from slackwater.cli.given_lately import within_bottle
from slackwater.cli.opening import local_user
from slackwater.cli.reading import Files
from slackwater.cli.shell import Shell, verb
from slackwater.cli.trying_out import (
    ACL_FILE,
    adding,
    against,
    drafts,
    night_first,
    read_back,
    suggested_caps,
    try_plan,
    uncapped,
)
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.errors import Finding, InputError, RefusedError
from slackwater.outside.settings.documents import MACHINE_FILE, PLAN_FILE
from slackwater.service.memory import LIVE_NAME

FILES_MODE = 0o640
CONFIG_MODE = 0o755


class Wishes(TypedDict):
    """The options of the verb."""

    answers: Path | None
    by: str | None


@verb(
    "setup",
    epilog="Nothing is started and nothing can be dosed before a plan is approved and "
    "pumps are enabled. Before you fill a bottle: eye protection, never mix stocks, "
    f"keep children away. A file of answers holds {answers_form()}. Of recipe, label "
    'and no_effects a pump has one; targets are like { alkalinity = "8.0 dKH" }, '
    'label like { calcium = "0.3 mg/L per mL in 100 L" }, '
    'uptake like { alkalinity = { estimate = "1.0 dKH/day", low = "0.8 dKH/day" } }, '
    'caps like { calcium = { gross = "15 mg/L/day" } }; port and doses are numbers, '
    "passwords and no_effects true or false; all else is typed as in the dialogue, in "
    'quotes, like per_day = "12 mL".',
)
@click.option(
    "--answers",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Take the answers from a TOML file instead of asking.",
)
@click.option("--by", metavar="NAME", help="Who answers.  [default: the local user]")
def setup(shell: Shell, **wishes: Unpack[Wishes]) -> Answer:
    """Answer questions, get files.

    Ten on the place and ten on each pump, then what the tank uses of each parameter
    and may get of it. Writes slackwater.toml, plan.toml and the broker's access list,
    and makes the ledger. Starts nothing and overwrites nothing.
    """
    who = typed_text(wishes["by"] or local_user(), "--by", WORD_AT_MOST)
    for directory in (shell.config, shell.state):
        _refuse_place(directory)
    for name in (MACHINE_FILE, PLAN_FILE, ACL_FILE):
        _refuse_file(shell.config / name)
    refuse_standing(shell.state / LIVE_NAME)
    answers = night_first(_answers(wishes["answers"]))
    lately = _lately(answers)
    texts = drafts(answers)
    files = read_back(texts)
    made = first_entry(files.machine, lately, who)
    with _placed(shell.config, texts):
        make_ledger(shell.state, made)
    return _told(shell, answers, files)


def _answers(path: Path | None) -> Answers:
    """The answers of a file, or those of a person, each judged as it comes."""
    if path is not None:
        answers = answers_in(path)
        _try_out(answers)
        _refuse_uncapped(answers, path.name)
        return answers
    judges = Judges(reads=_try_out, fits=try_plan)
    answers = ask_all(judges)
    moved = adding(answers)
    answers = ask_uptake(answers, moved, judges.reads)
    planned = {
        parameter: [name for name in names if answers.pumps[name].per_day]
        for parameter, names in moved.items()
    }
    return ask_caps(answers, suggested_caps(answers), planned, judges)


def _refuse_uncapped(answers: Answers, name: str) -> None:
    """Refuse a plan without its ceilings, or one of which a line is at fault.

    Raises: InputError with all that speaks against it.
    """
    try:
        missing = suggested_caps(answers)
    except InputError as error:
        raise InputError(against(answers)) from error
    if missing:
        raise InputError(uncapped(missing, name))


def _try_out(answers: Answers) -> None:
    """Read back what the answers come to.

    Raises: InputError with everything that is wrong.
    """
    found: list[Finding] = []
    for judge in (partial(read_back, drafts(answers)), partial(_lately, answers)):
        try:
            judge()
        except InputError as error:
            found += error.findings
    if found:
        raise InputError(found)


def _lately(answers: Answers) -> Lately:
    """What was dosed in the last 24 hours; unknown for one pump is unknown.

    Raises: InputError with every answer that is no volume.
    """
    findings: list[Finding] = []
    volumes: dict[str, int] = {}
    for name, pump in answers.pumps.items():
        if pump.dosed.strip() == UNKNOWN:
            continue
        try:
            volumes[name] = _dosed_ul(name, pump)
        except InputError as error:
            findings.extend(error.findings)
    if findings:
        raise InputError(findings)
    everybody = len(volumes) == len(answers.pumps)
    return Lately(volumes_ul=volumes if everybody else None)


def _dosed_ul(name: str, pump: PumpAnswer) -> int:
    """What a pump gave.

    Raises: InputError for no volume, and for more than its bottle holds.
    """
    place = f"answers [pump.{name}] dosed"
    if pump.dosed.strip() == PLANNED:
        return typed_ul(pump.per_day or "0 mL", place)
    volume_ul = typed_ul(pump.dosed, place)
    try:
        bottle_ul = typed_ul(pump.bottle, place)
    except InputError:
        # The settings tell what is wrong with it.
        return volume_ul
    return within_bottle(volume_ul, bottle_ul, place, f'answer "{UNKNOWN}"')


def _refuse_place(directory: Path) -> None:
    """Refuse before anything is asked a directory that could not be written to.

    Raises: InputError, PermissionError.
    """
    there = directory if directory.exists() else directory.parent
    if not there.is_dir():
        raise InputError(
            Finding(
                what="there is no directory to make it in",
                where=str(directory),
                expected=f"a directory {there}",
                do="Make that directory, or name another place with --config DIR and "
                "--state DIR. Nothing was changed.",
            )
        )
    if not os.access(there, os.W_OK | os.X_OK):
        raise PermissionError(EACCES, os.strerror(EACCES), str(there))


def _refuse_file(path: Path) -> None:
    if path.exists() or path.is_symlink():
        raise RefusedError(
            Finding(
                what="a file stands here already",
                where=str(path),
                expected="a place without it",
                do="Move it away, or name another directory with --config DIR. "
                "Nothing was changed.",
            )
        )


@contextmanager
def _placed(config: Path, texts: Mapping[str, str]) -> Iterator[None]:
    """Put files in place; what fails inside takes them away again.

    Raises: InputError when the directory cannot be written.
    """
    written: list[Path] = []
    try:
        config.mkdir(mode=CONFIG_MODE, exist_ok=True)
        for name, text in texts.items():
            path = config / name
            # Refused where somebody put a file since it was looked at.
            with path.open("x", encoding="utf-8") as file:
                written.append(path)
                file.write(text)
            path.chmod(FILES_MODE)
        yield
    except BaseException as error:
        for path in written:
            path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise InputError(_unwritable(config, error)) from error
        raise


def _unwritable(config: Path, error: OSError) -> Finding:
    return Finding(
        what=f"the files cannot be written ({error.strerror})",
        where=str(config),
        expected="a directory this user may write to",
        do="Nothing was left behind. Make the directory, or name another with "
        "--config DIR.",
    )


def _told(shell: Shell, answers: Answers, files: Files) -> Answer:
    findings = check_files(files).findings
    places = [str(shell.config / n) for n in (MACHINE_FILE, PLAN_FILE, ACL_FILE)]
    places.append(str(shell.state / LIVE_NAME))
    steps = list(_steps(answers, shell.program))
    found = "".join(f"\n{finding_text(one)}" for one in findings)
    things = "one thing" if len(findings) == 1 else f"{len(findings)} things"
    head = f"A check finds {things} to mend first:{found}\n\n"
    written = "\n".join(("Written:", *(f"  {place}" for place in places)))
    numbered = "\n".join(f"  {n}. {step}" for n, step in enumerate(steps, 1))
    return Answer(
        fields={"written": places, "next": steps},
        text=f"{written}\n\n{head if findings else ''}Next:\n{numbered}",
        findings=findings,
        is_told=True,
        exit_code=REFUSED if findings else 0,
    )


def _steps(answers: Answers, program: str) -> Iterator[str]:
    if answers.broker.passwords:
        yield (
            f"Give the broker {ACL_FILE} and a password for each user named in it; "
            "write the daemon's two into observe.password and actuate.password"
        )
    yield f"{program} check"
    for name in answers.pumps:
        yield f"{program} calibrate {name}  (outlet in a cylinder, goggles on)"
    yield f"{program} rehearse --faults"
    yield f"{program} approve"
    yield f"{program} run  (in shadow, as a service)"
    yield f"{program} enable  (after a day in shadow)"
