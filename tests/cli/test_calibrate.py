"""Calibrating with slips of the hand: none of them becomes a rate (H57).

The dialogue runs with an invented pump that takes 4 s for 2 mL; what a person types is
what is tried. The last tests run the program itself on a real broker.
"""

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from slackwater.cli.commands.calibrating import Measured, measure
from slackwater.errors import InputError, RefusedError, SlackwaterError
from slackwater.facts.events import Calibrated
from slackwater.facts.reasons import Reason
from slackwater.service.calibrating import Shot
from tests.gate.scene import machine
from tests.service.household import TOP, Household, environment, household

SHOT_UL, RAN_MS = 2000, 4000
IN_FORCE_NL_PER_S = 500_000
PUMP = machine().pumps["carbonate"]
SURE = "Measured twice, and sure?"


def shoot(
    _pump: str, volume_ul: int, _watch: Callable[[tuple[Reason, ...]], None]
) -> Shot:
    """A run that ends as it should."""
    assert SHOT_UL == volume_ul
    return Shot(ran_ms=RAN_MS, believed_ul=volume_ul, how="full")


def typed(*words: str) -> Measured | SlackwaterError | None:
    """What the dialogue comes to; None when it still waits for an answer."""
    found: list[Measured | SlackwaterError] = []

    @click.command()
    def dialogue() -> None:
        try:
            found.append(measure(shoot, PUMP, (3, SHOT_UL), IN_FORCE_NL_PER_S))
        except SlackwaterError as error:
            found.append(error)

    outcome = CliRunner().invoke(dialogue, input="".join(f"{w}\n" for w in words))
    assert outcome.exception is None or isinstance(outcome.exception, SystemExit)
    if not found:
        assert SURE in outcome.stderr
        return None
    return found[0]


def ul(*volumes: int) -> list[str]:
    """Volumes as a person may type them."""
    return [f"{volume} uL" for volume in volumes]


def test_what_is_measured_becomes_the_rate() -> None:
    """2.00, 2.02 and 1.98 mL in 4 s each: 500 µL a second, 2 % apart."""
    found = typed("2.00 mL", "2.02 mL", "1.98 mL")
    assert isinstance(found, Measured)
    assert (500_000, 1.0) == (found.rate_nl_per_s, found.ratio)
    assert pytest.approx(2.0) == found.spread_percent


SLIPS = {
    "ten times": "20.0 mL",
    "a tenth": "0.200 mL",
    "lost point": "200 mL",
    "thousand times": "2.00 L",
    "a thousandth": "2.00 uL",
    "double digit": "22.00 mL",
    "swapped digits": "0.02 mL",
    "decimal comma": "2,00 mL",
    "no unit": "2.00",
    "wrong capital": "2.00 ML",
    "letter for nought": "2.O0 mL",
    "minus": "-2.00 mL",
    "exponent": "2e0 mL",
    "not a number": "nan mL",
    "infinity": "inf mL",
    "nothing at all": "0 mL",
    "two numbers": "2.00 2.02 mL",
    "a word": "two mL",
}


@pytest.mark.parametrize("slip", SLIPS.values(), ids=SLIPS)
@pytest.mark.parametrize("at", [0, 1, 2])
def test_h57_one_slip_among_three_shots_is_refused(slip: str, at: int) -> None:
    """Whichever of the three it is: unreadable, or too far from the others."""
    words = ["2.00 mL", "2.02 mL", "1.98 mL"]
    words[at] = slip
    assert isinstance(typed(*words), InputError | RefusedError)


@pytest.mark.parametrize("slip", SLIPS.values(), ids=SLIPS)
def test_h57_the_same_slip_three_times_is_refused(slip: str) -> None:
    """The shots agree, and with the rate in force they do not."""
    assert isinstance(typed(slip, slip, slip), InputError | RefusedError)


@pytest.mark.parametrize(
    ("volume_ul", "expected"),
    [
        (999, "refused"),
        (1000, "asked"),
        (1599, "asked"),
        (1600, "kept"),
        (2500, "kept"),
        (2501, "asked"),
        (4000, "asked"),
        (4001, "refused"),
    ],
)
def test_h57_a_large_change_is_asked_about_and_a_larger_one_refused(
    volume_ul: int, expected: str
) -> None:
    """0.5, 0.8, 1.25 and 2 times the rate in force, to the microlitre."""
    words = ul(volume_ul, volume_ul, volume_ul)
    found = {
        "refused": isinstance(typed(*words), RefusedError),
        "asked": typed(*words) is None,
        "kept": isinstance(typed(*words), Measured),
    }
    assert [expected] == [name for name, true in found.items() if true]


@pytest.mark.parametrize(
    ("answer", "expected"),
    [("yes", Measured), ("no", RefusedError), ("7", RefusedError)],
)
def test_h57_only_a_plain_yes_makes_sure(answer: str, expected: type) -> None:
    """0.7 times the rate in force; anything else keeps nothing."""
    assert isinstance(typed(*ul(1400, 1400, 1400), answer), expected)


@pytest.mark.parametrize(("third_ul", "expected"), [(2101, True), (2102, False)])
def test_h57_shots_five_per_cent_apart_are_the_limit(
    third_ul: int, *, expected: bool
) -> None:
    """(2101 - 2000) / 2033.7 is 4.97 %, (2102 - 2000) / 2034 is 5.01 %."""
    found = typed(*ul(2000, 2000, third_ul))
    assert expected == isinstance(found, Measured)


def near(volume_ul: int) -> st.SearchStrategy[list[int]]:
    """Three volumes that differ by a tenth at most."""
    about = st.integers(volume_ul * 95 // 100, volume_ul * 105 // 100)
    return st.lists(about, min_size=3, max_size=3)


ANY = st.lists(st.integers(0, 40_000), min_size=3, max_size=3)


@given(st.integers(800, 4500).flatmap(near) | ANY)
def test_h57_nothing_far_off_is_kept_without_a_question(volumes: list[int]) -> None:
    """Whatever is typed: a rate taken silently is near the old one and of one mind."""
    found = typed(*ul(*volumes))
    if isinstance(found, Measured):
        mean_ul = sum(volumes) / 3
        assert 0.8 * SHOT_UL <= mean_ul <= 1.25 * SHOT_UL
        assert max(volumes) - min(volumes) <= 0.05 * mean_ul


@pytest.mark.parametrize("slip", ["20 mL", "0.2 mL", "2,00 mL", "2.00"])
def test_h57_a_slip_ends_it_before_the_next_run(slip: str) -> None:
    """Ten times, a tenth, a comma, no unit: nothing is spent on further runs."""
    ran: list[object] = []

    def counted(*asked: object) -> Shot:
        ran.append(asked)
        return shoot("carbonate", SHOT_UL, lambda _reasons: None)

    @click.command()
    def dialogue() -> None:
        measure(counted, PUMP, (3, SHOT_UL), IN_FORCE_NL_PER_S)

    outcome = CliRunner().invoke(dialogue, input=f"{slip}\n2 mL\n2 mL\n")
    assert isinstance(outcome.exception, SlackwaterError)
    assert (1, 1) == (len(ran), len(outcome.exception.findings))


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("20 mL",), "20 mL in 4.0 s is 10.00 times the rate in force"),
        (("0.2 mL",), "200 µL in 4.0 s is 0.10 times the rate in force"),
        (("2,00 mL",), '"2,00 mL" does not begin with a plain number'),
        (("2 mL", "2.2 mL", "2 mL"), "the shots differ by 9.7 %"),
    ],
)
def test_h57_each_slip_is_told_in_its_own_words(
    words: tuple[str, ...], what: str
) -> None:
    """One finding says which figure cannot be right; 100 * 0.2 / 2.0667 is 9.7."""
    found = typed(*words)
    assert isinstance(found, SlackwaterError)
    assert [what] == [finding.what for finding in found.findings]


def calibrated(home: Household, *words: str) -> "subprocess.CompletedProcess[str]":
    """Run the program; the words are typed line by line."""
    places = ("--config", str(home.config), "--state", str(home.state), "--json")
    wishes = ("--volume", "0.5 mL", "--by", "keeper")
    program = (sys.executable, "-m", "slackwater", "calibrate", "carbonate")
    return subprocess.run(
        (*program, *places, *wishes),
        input="".join(f"{word}\n" for word in words),
        env=environment(),
        cwd=TOP,
        capture_output=True,
        check=False,
        text=True,
    )


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_h57_the_program_keeps_nothing_of_a_slip(tmp_path: Path) -> None:
    """Ten times in all three shots: refused and no entry; measured well, one entry."""
    with household(tmp_path) as home:
        slipped = calibrated(home, "yes", "5 mL", "5 mL", "5 mL", "yes")
        assert 1 == slipped.returncode
        what = json.loads(slipped.stdout)["errors"][0]["what"]
        # A run of 501 ms for 500 is no slip: 9.99.
        assert re.search(r"\b(9\.9\d?|10\.\d+)\b", what), what
        assert [] == [e for e in home.events() if isinstance(e, Calibrated)]
        well = calibrated(home, "yes", *["0.49 mL"] * 3, "yes", "yes", "no")
        assert 0 == well.returncode, well.stderr
        kept = [e for e in home.events() if isinstance(e, Calibrated)]
    assert [("identity", "cut-off")] == [event.proofs for event in kept]
    assert pytest.approx(490_000, rel=0.02) == kept[0].rate_nl_per_s
