"""Completion in a shell: verbs, options and names, quickly and in silence."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from slackwater.cli.completing import VARIABLE
from slackwater.cli.main import program
from slackwater.cli.verbs import VERBS
from tests.cli.child import TOP, in_process, modules_of, packages_of
from tests.cli.run_program import CONFIG, run

TANKS = CONFIG / "two-tanks"
SHELLS = ("bash", "zsh", "fish")


def asked(line: str, **extra: str) -> Result:
    """What the program tells a bash in which this line was typed so far."""
    typed = {"COMP_WORDS": line, "COMP_CWORD": str(line.count(" "))}
    surroundings = {VARIABLE: "bash_complete", **typed, **extra}
    return CliRunner().invoke(program, [], env=surroundings)


def offered(line: str) -> list[str]:
    """The words that are offered for the last one; nothing goes wrong meanwhile."""
    done = asked(line)
    assert (0, "") == (done.exit_code, done.stderr)
    return [word.removeprefix("plain,") for word in done.stdout.split()]


def test_every_verb_is_offered_and_none_is_loaded() -> None:
    """From the table alone: a key must not wait for sixty modules."""
    done = in_process(
        **{VARIABLE: "bash_complete", "COMP_WORDS": "slackwater ", "COMP_CWORD": "1"}
    )
    words = [word.removeprefix("plain,") for word in done.stdout.split()]
    assert [verb.name for verb in VERBS] == words
    loaded = packages_of(modules_of(done))
    assert set() == loaded & {"pint", "paho", "apscheduler", "pydantic", "sqlite3"}


def test_a_verb_begun_and_its_options() -> None:
    """Only what begins so; options with their two dashes."""
    begun = {"setup", "status", "since", "swap-tube", "sample"}
    assert begun == set(offered("slackwater s"))
    assert ["--reason"] == offered("slackwater dose --r")


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("dose frags-c", ["frags-calcium", "frags-carbonate"]),
        ("why frags-t", ["frags-trace"]),
        ("assess --tank fr", ["frags"]),
        ("refill mag", ["magnesium"]),
        ("conform ", ["left", "right"]),
        ("hold --scope tank/r", ["tank/reef"]),
        ("out-of-service kh-", ["kh-one", "kh-two"]),
        ("history alk", ["alkalinity"]),
        ("ledger --rows d", ["doses", "days"]),
        ("completion f", ["fish"]),
    ],
)
def test_names_come_from_the_files(words: str, expected: list[str]) -> None:
    """Tanks, pumps, bottles, nodes, probes; parameters from the program's own table."""
    assert expected == offered(f"slackwater --config {TANKS} {words}")


def test_lines_come_from_the_plan() -> None:
    """Those of the plan file as it lies there."""
    found = offered(f"slackwater take-over --config {CONFIG / 'smallest'} ")
    assert ["calcium", "carbonate"] == found


@pytest.mark.parametrize(
    "text",
    [
        b"\xff\xfe",
        b"[pump",
        b"pump = 3",
        b'[pump."a b\\n$(x)"]\n',
        b"a = " + b"[" * 20_000,
        b"#" * 300_000,
    ],
)
def test_a_file_that_is_no_good_offers_nothing_and_says_nothing(
    tmp_path: Path, text: bytes
) -> None:
    """Nobody can read an error in the middle of a line that is being typed."""
    (tmp_path / "slackwater.toml").write_bytes(text)
    assert [] == offered(f"slackwater --config {tmp_path} dose ")


def test_no_file_and_a_pipe_offer_nothing(tmp_path: Path) -> None:
    """Nobody waits for a pipe that nobody writes to."""
    assert [] == offered(f"slackwater --config {tmp_path} dose ")
    os.mkfifo(tmp_path / "slackwater.toml")
    assert [] == offered(f"slackwater --config {tmp_path} dose ")


@pytest.mark.parametrize(
    "extra",
    [{"COMP_CWORD": "x"}, {VARIABLE: "x_y"}, {VARIABLE: "tcsh_complete"}],
)
def test_a_shell_that_asks_wrongly_gets_silence(extra: dict[str, str]) -> None:
    """Exit code 1 and not a word on either stream."""
    done = asked("slackwater s", **extra)
    assert (1, "", "") == (done.exit_code, done.stdout, done.stderr)


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_names_the_program_and_how_it_asks(shell: str) -> None:
    """As text, and whole in the document."""
    text = run("completion", shell).out
    assert f"{VARIABLE}={shell}_complete" in text
    assert text == run("completion", shell, "--json").document["script"]


def test_bash_completes_with_the_script(tmp_path: Path) -> None:
    """A real bash, the script as printed, and a word of which one letter stands."""
    started = tmp_path / "slackwater"
    started.write_text(f'#!/bin/sh\nexec {sys.executable} -m slackwater "$@"\n')
    started.chmod(0o755)
    (tmp_path / "script").write_text(run("completion", "bash").out, "utf-8")
    line = (
        f". {tmp_path}/script; COMP_WORDS=(slackwater wh); COMP_CWORD=1; "
        'complete -p slackwater; _slackwater_completion slackwater; echo "$COMPREPLY"'
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", line],
        env={
            "PYTHONPATH": str(TOP / "daemon"),
            "PATH": f"{tmp_path}:/usr/bin:/bin",
        },
        capture_output=True,
        text=True,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert "-F _slackwater_completion slackwater" in done.stdout
    assert "why" == done.stdout.splitlines()[-1]
