"""The program's own dialogue of calibrating, spoken with from outside."""

import json
import subprocess
import sys
from typing import Any

from slackwater.facts.events import DoseEnded
from tests.service.household import TOP, Household, environment

# An invented pump: what a second gives, and what each start and stop takes away.
UL_PER_MS, LOST_UL = 0.49, 30


def begun(home: Household) -> "subprocess.Popen[str]":
    """The program, before it has asked anything: 0.5, 1 and 0.5 mL."""
    places = ("--config", str(home.config), "--state", str(home.state), "--json")
    few = ("--runs", "3", "--shots", "1")
    volumes = (*few, "--volume", "0.5 mL", "--volume", "1 mL")
    program = (sys.executable, "-m", "slackwater", "calibrate", "carbonate")
    return subprocess.Popen(
        (*program, *places, *volumes, "--by", "keeper"),
        env=environment(),
        cwd=TOP,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def calibrated(home: Household, *words: str) -> "subprocess.CompletedProcess[str]":
    """The program with all its answers typed beforehand, line by line."""
    program = begun(home)
    output, said = program.communicate("".join(f"{word}\n" for word in words))
    return subprocess.CompletedProcess(program.args, program.returncode, output, said)


def measured(
    home: Household,
    hose: tuple[str, ...] = ("yes",),
    proofs: tuple[str, ...] = ("yes", "yes", "yes"),
) -> dict[str, Any]:
    """What the program answers to a person who measures well.

    The node says how long it ran, because a slow machine lets it run on.
    """
    program = begun(home)
    answer(program, "yes", *hose)
    for _ in range(3):
        asked(program, "Measured in the cylinder")
        answer(program, f"{_last_run_ms(home) * UL_PER_MS - LOST_UL:.1f} uL")
    output, _ = program.communicate("".join(f"{word}\n" for word in proofs))
    found: dict[str, Any] = json.loads(output)
    return found


def asked(program: "subprocess.Popen[str]", *words: str) -> str:
    """Wait until the program asks one of these; what it says before is passed over."""
    assert program.stderr is not None
    said = ""
    while not any(word in said for word in words):
        letter = program.stderr.read(1)
        assert letter, said
        said += letter
    return next(word for word in words if word in said)


def answer(program: "subprocess.Popen[str]", *words: str) -> None:
    """Type these, a line each."""
    assert program.stdin is not None
    program.stdin.write("".join(f"{word}\n" for word in words))
    program.stdin.flush()


def _last_run_ms(home: Household) -> int:
    return [one.ran_ms for one in home.events() if isinstance(one, DoseEnded)][-1]
