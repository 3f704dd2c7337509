"""The program as a whole: help, versions, exit codes, one clear error."""

import subprocess
import sys
from pathlib import Path

import click
import pytest
import structlog
from click.testing import CliRunner

from slackwater import __version__
from slackwater.cli.main import Program, program
from slackwater.cli.verbs import SECTIONS, VERBS
from slackwater.service import logs
from tests.cli.child import in_process, modules_of, packages_of
from tests.cli.run_program import SMALLEST, changed, run

TOP = Path(__file__).resolve().parents[2]
HEAVY = ("pint", "paho", "apscheduler")
# One slow moment of a shared machine is not the program's speed.


def loaded(*words: str) -> set[str]:
    """Top packages that a run of the program loads."""
    return packages_of(modules_of(in_process(*words)))


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("-h", "--json")])
def test_help_loads_nothing_heavy(words: tuple[str, ...]) -> None:
    """Neither units, wire nor alarm, and no verb either."""
    found = loaded(*words)
    assert set() == found & {*HEAVY, "pydantic", "rich", "sqlite3"}


def printed_by(code: str) -> str:
    """What a fresh process of the daemon's code alone prints."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": str(TOP / "daemon")},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_what_a_verb_loads_is_never_searched_for_rings() -> None:
    """It stays until the end; what the verb makes is searched as ever."""
    code = (
        "import gc; from slackwater.cli.main import program; before = gc.isenabled();"
        "program.get_command(None, 'hold');"
        "print(before, gc.isenabled(), gc.get_freeze_count() > 0)"
    )
    assert "True True True" == printed_by(code)


def test_a_process_that_stays_loads_nothing_for_screens() -> None:
    """Nor keeps the litter of loading; what draws tables can be loaded all the same.

    Each of its frozen records is there once, without the class it was made from, and
    all of them refuse by the same two methods.
    """
    code = (
        "import gc, sys; from slackwater.cli.main import program;"
        "program.get_command(None, 'run'); gone = 'rich' not in sys.modules;"
        "gc.unfreeze(); litter = gc.collect(); import rich.table;"
        "made = [one for one in gc.get_objects() if isinstance(one, type)"
        " and one.__module__.startswith('slackwater.')"
        " and getattr(vars(one).get('__dataclass_params__'), 'frozen', False)];"
        "names = {(one.__module__, one.__qualname__) for one in made};"
        "guards = {(one.__setattr__, one.__delattr__) for one in made};"
        "print('structlog' in sys.modules, gone, litter < 100);"
        "print(len(made) > 100, len(made) == len(names), len(guards))"
    )
    assert "True True True\nTrue True 1" == printed_by(code)


def test_help_has_three_sections_with_every_verb() -> None:
    """Each verb stands under its heading with its purpose."""
    text = run("--help").out
    used = [one for one in SECTIONS if any(verb.section == one for verb in VERBS)]
    places = [text.index(f"{section}:") for section in used]
    assert sorted(places) == places
    for verb in VERBS:
        assert f"  {verb.name} " in text
        assert verb.purpose in " ".join(text.split())


@pytest.mark.parametrize("verb", VERBS, ids=lambda verb: verb.name)
def test_the_table_says_what_the_verb_says(verb: object) -> None:
    """The purpose in the table is the first sentence of the verb's own help."""
    name, purpose = getattr(verb, "name", ""), getattr(verb, "purpose", "")
    command = program.get_command(click.Context(program), name)
    assert isinstance(command, click.Command)
    assert command.help is not None
    assert purpose == command.help.split("\n")[0]


@pytest.mark.parametrize("verb", VERBS, ids=lambda verb: verb.name)
def test_every_verb_explains_itself(verb: object) -> None:
    """Its help names the shared options and ends well."""
    done = run(getattr(verb, "name", ""), "--help")
    assert 0 == done.code
    assert "--json" in done.out
    assert "--config" in done.out


def test_says_its_version() -> None:
    """The version is the package's."""
    assert f"slackwater, version {__version__}\n" == run("--version").out


@pytest.mark.parametrize(
    "words",
    [
        ("rehears",),
        ("check", "--confg", "x"),
        ("rehearse", "--days", "ten"),
        ("rehearse", "--days", "0"),
        ("rehearse", "--from", "03.05.2026"),
        ("check", "surplus"),
        ("check", "--config"),
    ],
)
def test_wrong_usage_is_one_clear_error(words: tuple[str, ...]) -> None:
    """Exit code 2, one finding in four words, as text and as a document."""
    told = run(*words)
    assert (2, "") == (told.code, told.out)
    assert 1 == told.err.count("error: ")
    assert "Traceback" not in told.err
    assert all(word in told.err for word in ("found", "expected", "do"))
    (error,) = run("--json", *words).errors
    assert {"what", "where", "expected", "do"} == set(error)
    assert all(error.values())


def test_a_slip_of_the_hand_gets_a_hint() -> None:
    """The nearest verb is named."""
    assert "`slackwater rehearse`" in run("rehears").err
    assert "`slackwater rehearse`" in run("--config", SMALLEST, "rehears").err


def test_a_wrong_option_of_a_right_verb_names_no_other_verb() -> None:
    """Even where an option before the verb resembles one."""
    told = run("--config", SMALLEST, "check", "--wyh").err
    assert "Did you mean `slackwater" not in told
    assert "See `slackwater check --help`." in told


@pytest.mark.parametrize("words", [(), ("--config", "config"), ("--state", "levels")])
def test_another_word_for_a_verb_is_known_and_no_value_is_taken_for_one(
    words: tuple[str, ...],
) -> None:
    """A directory called config is no slip of the hand for `conform`."""
    told = run("log", *words).err
    assert "Did you mean `slackwater ledger`? " in told
    assert "conform" not in told
    other = run("xyzzy", *words).err
    assert "Did you mean" not in other


def test_who_has_no_ledger_is_shown_to_setup_first(tmp_path: Path) -> None:
    """On a new machine there are no files either, and `init` alone makes none."""
    for name in ("status", "alarms"):
        told = run(name, "--state", tmp_path, "--config", tmp_path).err
        assert "`slackwater setup`" in told
        assert told.index("`slackwater setup`") < told.index("`slackwater init`")


def test_shared_options_may_stand_before_or_behind() -> None:
    """Both places read the same directory."""
    before = run("--config", SMALLEST, "--json", "check")
    behind = run("check", "--config", SMALLEST, "--json")
    assert before == behind
    assert 0 == before.code


def test_runs_as_a_module() -> None:
    """`python -m slackwater` is the same program."""
    done = subprocess.run(
        [sys.executable, "-m", "slackwater", "check", "--config", str(SMALLEST)],
        env={"PYTHONPATH": str(TOP / "daemon")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert "Nothing that refuses the plan" in done.stdout


@pytest.mark.parametrize(
    ("words", "where", "what", "expected"),
    [
        (
            ("rehearse", "--days", "0"),
            "--days",
            "0 is not accepted",
            "a whole number from 1 to 3660",
        ),
        (
            ("rehearse", "--from", "3.5.2026"),
            "--from",
            "'3.5.2026' is not accepted",
            "a date like 2026-05-03",
        ),
        (
            ("ledger", "--rows", "weeks"),
            "--rows",
            "'weeks' is not accepted",
            "one of entries, doses, days",
        ),
        (("clock",), "slackwater clock", "ACT is missing", "one of confirm"),
        (
            ("calibrate",),
            "slackwater calibrate",
            "PUMP is missing",
            "slackwater calibrate PUMP",
        ),
        (
            ("withdraw", "x"),
            "slackwater withdraw",
            "'x' is not accepted",
            "a whole number, 1 or more",
        ),
        (
            ("run", "--credentials", "nowhere"),
            "--credentials",
            "directory 'nowhere' does not exist",
            "a directory that is there",
        ),
    ],
)
def test_a_wrong_word_is_told_with_what_would_be_right(
    words: tuple[str, ...], where: str, what: str, expected: str
) -> None:
    """The option, its value, and what it takes; not how the parser says it."""
    (error,) = run(*words, "--json").errors
    assert (where, what, expected) == (error["where"], error["what"], error["expected"])
    assert f"`slackwater {words[0]} --help`" in error["do"]


@pytest.mark.parametrize(
    "words",
    [
        ("added", "carbonate", "-5 mL"),
        ("water-change", "-10 L"),
        ("level", "carbonate", "-.5 L", "--by", "keeper"),
    ],
)
def test_a_negative_amount_is_told_as_one(words: tuple[str, ...]) -> None:
    """It is no option, and nobody is told to look for one."""
    told = run(*words, "--json")
    assert 2 == told.code
    (error,) = told.errors
    amount = next(word for word in words if word[1:2] in set(".15"))
    assert f'"{amount}" is negative' == error["what"]
    assert f"slackwater {words[0]}" == error["where"]
    assert "option" not in error["what"] + error["expected"]
    assert f"`slackwater {words[0]} --help`" in error["do"]


def test_no_word_at_all_gets_the_help() -> None:
    """Not an error with the whole help in it; still not a success."""
    told = run()
    assert (2, "") == (told.code, told.err)
    assert run("--help").out == told.out


def test_a_question_that_ends_leaves_its_line() -> None:
    """The error begins on a line of its own."""
    told = run("setup", typed="")
    assert 2 == told.code
    assert "\nerror: standard input\n" in told.err


def to(stream: str, *words: str) -> "subprocess.CompletedProcess[str]":
    """The program with its standard output led away by a shell."""
    line = f'exec "$0" -m slackwater "$@" {stream}'
    return subprocess.run(
        ["/bin/sh", "-c", line, sys.executable, *words],
        env={"PYTHONPATH": str(TOP / "daemon")},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("check",)])
@pytest.mark.parametrize(
    ("stream", "code"), [(">&-", 0), (">/dev/full", 2), ("2>&-", 0), ("| head -c 1", 0)]
)
def test_output_that_cannot_be_written_is_no_traceback(
    words: tuple[str, ...], stream: str, code: int
) -> None:
    """Closed from the start, a full disk, a reader that has enough."""
    done = to(stream, *words, "--config", str(SMALLEST))
    assert code == done.returncode
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    assert (code == 2) == ("No space left on device" in done.stderr)


def test_a_reader_that_has_enough_leaves_the_exit_code(tmp_path: Path) -> None:
    """What was found stays found, although nobody read it to its end."""
    # Eight days are twice what a pipe takes in (pipe(7): 64 KiB).
    words = "rehearse --json --days 8"
    line = f'set -o pipefail; "$0" -m slackwater {words} "$@" | head -c 1'
    bad = changed(tmp_path / "bad", SMALLEST, plan=('"36 mL"', '"50 mL"'))
    done = subprocess.run(
        ["bash", "-c", line, sys.executable, "--config", str(bad)],
        env={"PYTHONPATH": str(TOP / "daemon")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (1, "{", "") == (done.returncode, done.stdout, done.stderr)


class Faulty(Program):
    """The program with a verb that breaks."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:
        """Give the broken verb, whatever is asked for."""
        del ctx
        return Broken(cmd_name, params=[click.Option(["--json"], is_flag=True)])


class Broken(click.Command):
    """A verb with a fault in it."""

    def invoke(self, ctx: click.Context) -> object:
        """Break."""
        del ctx
        message = "a part\n  broke"
        raise RuntimeError(message)


class Denied(Faulty):
    """The program of a user who may not read something."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:
        """Give a verb that is denied a file."""
        del ctx

        def denied() -> None:
            raise PermissionError(13, "Permission denied", "/var/lib/slackwater")

        return click.Command(cmd_name, callback=denied)


def test_a_file_this_user_may_not_read_is_no_fault() -> None:
    """The path, and as whom to run it."""
    result = CliRunner().invoke(Denied("slackwater"), ["status"])
    assert 2 == result.exit_code
    assert "error: /var/lib/slackwater\n" in result.stderr
    assert "fault" not in result.stderr
    assert "sudo -u slackwater" in result.stderr


@pytest.mark.parametrize("words", [["check"], ["check", "--json"]])
def test_a_fault_is_told_without_a_traceback(words: list[str]) -> None:
    """Whatever breaks below, a person reads one error with exit code 2."""
    result = CliRunner().invoke(Faulty("slackwater"), words)
    assert 2 == result.exit_code
    assert "an unexpected fault: RuntimeError: a part broke" in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(("stated", "coloured"), [("", True), ("1", False)])
def test_no_colour_where_none_is_wanted(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    stated: str,
    *,
    coloured: bool,
) -> None:
    """NO_COLOR with anything in it, as no-color.org says."""
    monkeypatch.setenv("NO_COLOR", stated)
    logs.set_up(terminal=True)
    structlog.get_logger().info("looked")
    structlog.reset_defaults()
    shown = capsys.readouterr().err
    assert "looked" in shown
    assert coloured == ("\x1b[" in shown)
