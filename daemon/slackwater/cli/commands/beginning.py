"""`init`: make the ledger, and ask what was dosed in the last 24 hours.

Floor 8. One subject: the first entry. Laws here: nothing is guessed: each pump has an
answer or the caps are used up for a day; what was dosed as planned is charged as the
plan's fullest day; a ledger that stands there is never touched.
"""

import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypedDict, Unpack

import click

from slackwater.cli.answers import PLANNED, UNKNOWN
from slackwater.cli.document import Answer
from slackwater.cli.given_lately import within_bottle
from slackwater.cli.opening import local_user
from slackwater.cli.questions import ask_ul_or
from slackwater.cli.reading import read_files
from slackwater.cli.shell import Shell, verb
from slackwater.cli.typed import WORD_AT_MOST, typed_text, typed_ul
from slackwater.cli.width import error_columns, fitted
from slackwater.errors import Finding, InputError, LedgerStorageError, RefusedError
from slackwater.facts.events import LedgerMade
from slackwater.facts.tank import Machine
from slackwater.ledger.store import LedgerFile
from slackwater.outside.clock import SystemClock
from slackwater.outside.settings import read_machine, read_plan
from slackwater.outside.settings.documents import PLAN_FILE
from slackwater.planning.daily import fullest_day_ul
from slackwater.service.memory import LIVE_NAME
from slackwater.water.show import show_volume

LEDGER_ID_BYTES = 16
STATE_MODE = 0o750


@dataclass(frozen=True, slots=True, kw_only=True)
class Lately:
    """What each pump gave in the last 24 hours; None when nobody knows."""

    volumes_ul: Mapping[str, int] | None


class Dosed(TypedDict):
    """The options that say what was dosed in the last 24 hours."""

    dosed: tuple[str, ...]
    dosed_nothing: bool
    unanswered: bool
    by: str | None


class First(Dosed):
    """The same where a plan may say it."""

    as_planned: bool


@verb(
    "init",
    epilog="The answer is charged against the caps of the first 24 hours. "
    'Examples: slackwater init --dosed carbonate="12 mL" --dosed calcium="0 mL"; '
    "slackwater init --as-planned",
)
@click.option(
    "--dosed",
    multiple=True,
    metavar="PUMP=VOLUME",
    help="What a pump gave in the last 24 h; once for each pump.",
)
@click.option(
    "--as-planned",
    is_flag=True,
    help="Each pump gave what plan.toml gives by it on its fullest day.",
)
@click.option("--dosed-nothing", is_flag=True, help="No pump gave anything in 24 h.")
@click.option(
    "--unanswered",
    is_flag=True,
    help="Nobody knows: the daily caps stay used up for 24 h.",
)
@click.option("--by", metavar="NAME", help="Who says so.  [default: the local user]")
def init(shell: Shell, **dosed: Unpack[First]) -> Answer:
    """Make the ledger alone.

    Asks for each pump what it gave in the last 24 hours, unless the answer is given
    as options. Where plan.toml lies beside slackwater.toml, "as planned" is an answer.
    """
    path = shell.state / LIVE_NAME
    refuse_standing(path)
    by = typed_text(dosed["by"] or local_user(), "--by", WORD_AT_MOST)
    read = _machine_of_both if dosed["as_planned"] else read_machine
    machine = read(shell.config)
    lately = _given_first(shell.config, machine, dosed)
    made = first_entry(machine, lately or asked(machine, shell.config), by)
    make_ledger(shell.state, made)
    return Answer(
        fields={
            "ledger": str(path),
            "ledger_id": made.ledger_id,
            "answered": made.answered,
            "dosed_ul": dict(made.dosed_ul),
        },
        text=_told(path, made),
    )


def _machine_of_both(config: Path) -> Machine:
    """The machine, where the plan is asked as well.

    Raises: InputError with everything that is wrong in both files.
    """
    return read_files(config).machine


USE_IT = "Use the ledger that is there; nothing was changed."


def refuse_standing(path: Path, do: str = USE_IT) -> None:
    """Refuse before anything is asked when a ledger stands there.

    `do` is the way out. Raises: RefusedError.
    """
    if path.exists():
        raise RefusedError(
            Finding(
                what="a ledger stands here already",
                where=str(path),
                expected="no file, to make a new ledger",
                do=do,
            )
        )


def given(machine: Machine, options: Dosed) -> Lately | None:
    """The answer given as options; None when no option answers.

    Raises: InputError for answers that are incomplete or contradict each other.
    """
    ways = [key for key in ("dosed", "dosed_nothing", "unanswered") if options[key]]
    if len(ways) > 1:
        raise InputError(_contradicting(ways))
    if options["unanswered"]:
        return Lately(volumes_ul=None)
    if options["dosed_nothing"]:
        return Lately(volumes_ul=dict.fromkeys(sorted(machine.pumps), 0))
    if options["dosed"]:
        return Lately(volumes_ul=_volumes(machine, options["dosed"]))
    return None


def _given_first(config: Path, machine: Machine, options: First) -> Lately | None:
    """The answer given as options, that of a plan among them.

    Raises: InputError as `given`, and for a plan that is not there or at fault.
    """
    if not options["as_planned"]:
        return given(machine, options)
    ways = [key for key in ("dosed", "dosed_nothing", "unanswered") if options[key]]
    if ways:
        raise InputError(_contradicting(["as_planned", *ways]))
    plan = read_plan(config, machine)
    return Lately(volumes_ul=fullest_day_ul(plan, machine))


def asked(machine: Machine, config: Path | None = None) -> Lately:
    """Ask for each pump; as soon as one is unknown, nobody knows.

    `config` is where a plan may lie that answers too.
    """
    planned = {} if config is None else _planned(config, machine)
    also = f', "{PLANNED}" for what {PLAN_FILE} gives a day' if planned else ""
    question = (
        "What did each pump give in the last 24 hours, by whatever drove it? "
        f'Answer like "12 mL" or "0 mL"{also}, or "{UNKNOWN}".'
    )
    click.echo(fitted(question, error_columns()), err=True)
    volumes = {}
    for name, pump in sorted(machine.pumps.items()):
        volume_ul = ask_ul_or(
            f"  {name} ({machine.solutions[pump.solution].name})",
            f"answer for {name}",
            (UNKNOWN,),
            partial(_read_answer, (planned.get(name), _bottle_ul(machine, name))),
        )
        if volume_ul is None:
            return Lately(volumes_ul=None)
        volumes[name] = volume_ul
    return Lately(volumes_ul=volumes)


def _planned(config: Path, machine: Machine) -> dict[str, int]:
    """What a plan gives by each pump on its fullest day; empty where none can say."""
    # A plan at fault is told by `check`; here there is just no such answer.
    with suppress(InputError, OSError):
        return fullest_day_ul(read_plan(config, machine), machine)
    return {}


def _read_answer(known: tuple[int | None, int], text: str, place: str) -> int:
    planned_ul, bottle_ul = known
    if planned_ul is not None and text == PLANNED:
        return planned_ul
    unknown = f'answer "{UNKNOWN}"'
    return within_bottle(typed_ul(text, place), bottle_ul, place, unknown)


def _bottle_ul(machine: Machine, pump: str) -> int:
    return machine.reservoirs[machine.pumps[pump].reservoir].content_ul


def first_entry(machine: Machine, lately: Lately, who: str) -> LedgerMade:
    """The entry a ledger begins with; effects follow from the solutions."""
    volumes = lately.volumes_ul or {}
    effects: dict[str, dict[str, int]] = {}
    for name, volume_ul in volumes.items():
        pump = machine.pumps[name]
        sums = effects.setdefault(pump.tank, {})
        for parameter, per_ul in machine.solutions[pump.solution].effects.items():
            sums[parameter] = sums.get(parameter, 0) + per_ul * volume_ul
    now = SystemClock().now()
    return LedgerMade(
        at=now.utc,
        boot_s=now.boot_s,
        proven_ms=0,
        ledger_id=secrets.token_hex(LEDGER_ID_BYTES),
        boot_id=now.boot_id,
        answered=lately.volumes_ul is not None,
        dosed_ul=volumes,
        effects=effects,
        by=who,
    )


def make_ledger(state_dir: Path, made: LedgerMade) -> None:
    """Make the ledger, and its directory when only that is missing.

    Raises: RefusedError when anything stands there, LedgerStorageError.
    """
    make_directory(state_dir)
    LedgerFile.create(state_dir / LIVE_NAME, made).close()


def make_directory(state_dir: Path) -> bool:
    """Make the state directory when only that is missing; whether it was made.

    Raises: LedgerStorageError.
    """
    try:
        state_dir.mkdir(mode=STATE_MODE)
    except FileExistsError:
        if state_dir.is_dir():
            return False
        raise LedgerStorageError(
            _no_directory(state_dir, "a file stands there")
        ) from None
    except OSError as error:
        why = error.strerror or str(error)
        raise LedgerStorageError(_no_directory(state_dir, why)) from error
    return True


def _no_directory(state_dir: Path, why: str) -> Finding:
    return Finding(
        what=f"the state directory cannot be made ({why})",
        where=str(state_dir),
        expected="a place where this user may make a directory",
        do="Make it and give it to the daemon's user, or name another with "
        "--state DIR.",
    )


def _volumes(machine: Machine, words: tuple[str, ...]) -> dict[str, int]:
    findings: list[Finding] = []
    volumes: dict[str, int] = {}
    for word in words:
        name, _, text = word.partition("=")
        if name not in machine.pumps or name in volumes:
            findings.append(_unknown_pump(machine, word, twice=name in volumes))
            continue
        try:
            place, bottle_ul = f"--dosed {name}", _bottle_ul(machine, name)
            volume_ul = typed_ul(text, place)
            unknown = "say --unanswered"
            volumes[name] = within_bottle(volume_ul, bottle_ul, place, unknown)
        except InputError as error:
            volumes[name] = 0
            findings.extend(error.findings)
    findings.extend(
        _left_out(name) for name in sorted(machine.pumps) if name not in volumes
    )
    if findings:
        raise InputError(findings)
    return volumes


def _told(path: Path, made: LedgerMade) -> str:
    if not made.answered:
        return (
            f"Made {path}.\nNobody said what was dosed: the daily caps stay used up "
            "for 24 hours, and nothing is dosed by plan."
        )
    lines = [
        f"  {name}: {show_volume(volume_ul)}"
        for name, volume_ul in sorted(made.dosed_ul.items())
    ]
    return "\n".join(
        (f"Made {path}.", "Charged against the caps of the next 24 hours:", *lines)
    )


def _contradicting(ways: list[str]) -> Finding:
    named = " and ".join(f"--{way.replace('_', '-')}" for way in ways)
    return Finding(
        what=f"{named} are given",
        where="init",
        expected="one answer to what was dosed",
        do="Give one of them.",
    )


def _unknown_pump(machine: Machine, word: str, *, twice: bool) -> Finding:
    return Finding(
        what=f"{word} " + ("names a pump twice" if twice else "names no pump"),
        where="--dosed",
        expected=f"PUMP=VOLUME with one of {', '.join(sorted(machine.pumps))}, once",
        do='Write it like  --dosed carbonate="12 mL"',
    )


def _left_out(name: str) -> Finding:
    return Finding(
        what=f"nothing is said about {name}",
        where="--dosed",
        expected="an answer for each pump",
        do=f'Add  --dosed {name}="0 mL"  if it gave nothing.',
    )
