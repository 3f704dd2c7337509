"""Calibrating with slips of the hand: none of them becomes a rate (H57).

The dialogue runs with an invented pump that takes 4 s for 2 mL and 12 s for 6 mL; what
a person types is what is tried. The last tests run the program itself on a real broker.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from slackwater.cli.series import Series
from slackwater.cli.shooting import Measured, measure, prime
from slackwater.cli.weighing import typed_density
from slackwater.errors import InputError, RefusedError, SlackwaterError
from slackwater.facts.events import Calibrated
from slackwater.service.calibrating import Shot, Watch
from tests.cli.shots import calibrated, measured
from tests.service.household import household

VOLUMES_UL = (2000, 6000, 2000)
IN_FORCE_NL_PER_S = 500_000
SERIES = Series(
    pump="carbonate", volumes_ul=VOLUMES_UL, rate_nl_per_s=IN_FORCE_NL_PER_S, runs=3
)
SO_FAR = "what the calibration in force gives"
SURE = "Measured twice, and sure?"


def shoot(_pump: str, volume_ul: int, _watch: Watch) -> Shot:
    """A run that ends as it should."""
    return Shot(ran_ms=volume_ul * 2, believed_ul=volume_ul, how="full")


def plenty() -> int:
    """A litre may still flow in this hour."""
    return 10**6


def typed(
    *words: str, series: Series = SERIES, by_person: bool = False
) -> Measured | SlackwaterError | None:
    """What the dialogue comes to; None when it still waits for an answer."""
    found: list[Measured | SlackwaterError] = []

    @click.command()
    def dialogue() -> None:
        sys.stdin.isatty = lambda: by_person  # type: ignore[method-assign]
        try:
            found.append(measure(shoot, series, plenty))
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
    """2, 6 and 2 mL in 4, 12 and 4 s: 500 µL a second, and nothing lost."""
    found = typed("2.00 mL", "6.00 mL", "2.00 mL")
    assert isinstance(found, Measured)
    assert (500_000, 0, 1.0) == (
        found.flow.rate_nl_per_s,
        found.flow.offset_nl,
        found.ratio,
    )
    assert [4000, 12_000, 4000] == [run.ran_ms for run in found.runs]


def test_what_start_and_stop_lose_is_no_part_of_the_rate() -> None:
    """100 µL less in every run, long or short: the rate stays, and the offset says."""
    found = typed("1.90 mL", "5.90 mL", "1.90 mL")
    assert isinstance(found, Measured)
    assert (500_000, -100_000) == (found.flow.rate_nl_per_s, found.flow.offset_nl)


def test_weighed_shots_are_volumes_by_the_density() -> None:
    """2.1 g at 1.05 kg/L are 2 mL; one of them read off a cylinder instead."""
    weighed = replace(SERIES, grams_per_litre=typed_density("1.05 kg/L", "--density"))
    found = typed("2.100 g", "6.00 mL", "2100 mg", series=weighed)
    assert isinstance(found, Measured)
    assert [2000, 6000, 2000] == [run.volume_ul for run in found.runs]


@pytest.mark.parametrize(
    "text", ["1.05", "1050", "0.105 kg/L", "10.5 kg/L", "1,05 kg/L"]
)
def test_h57_a_density_that_cannot_be_right_is_refused(text: str) -> None:
    """No unit, a point moved, a comma: water is 1 kg/L, no brine weighs 1.8."""
    with pytest.raises(InputError):
        typed_density(text, "--density")


def test_a_pump_of_one_pulse_has_a_rate_and_no_offset() -> None:
    """Behind a relay that knows one length, start and stop are part of the rate."""
    series = replace(SERIES, volumes_ul=(2000, 2000, 2000), one_length=True)
    found = typed("1.98 mL", "2.00 mL", "2.02 mL", series=series)
    assert isinstance(found, Measured)
    assert pytest.approx(500_000, abs=100) == found.flow.rate_nl_per_s
    assert 0 == found.flow.offset_nl
    two = typed(
        "1.98 mL", "2.00 mL", "2.02 mL", series=replace(series, one_length=False)
    )
    assert isinstance(two, RefusedError)


@pytest.mark.parametrize(
    ("words", "primed"),
    [
        (("yes",), []),
        (("3 mL", "2 mL", "yes"), [3000, 2000]),
        (("y",), []),
        (("2 mL", "Y"), [2000]),
        (("maybe",), None),
        (("0 mL",), None),
    ],
)
def test_the_hose_is_filled_until_a_person_says_so(
    words: tuple[str, ...], primed: list[int] | None
) -> None:
    """Each volume is pumped, a yes ends it, anything else is an error."""
    ran: list[int] = []

    def counted(pump: str, volume_ul: int, watch: Watch) -> Shot:
        ran.append(volume_ul)
        return shoot(pump, volume_ul, watch)

    @click.command()
    def dialogue() -> None:
        prime(counted, "carbonate")

    outcome = CliRunner().invoke(dialogue, input="".join(f"{w}\n" for w in words))
    assert (primed is None) == isinstance(outcome.exception, InputError)
    assert (primed or []) == ran


SLIPS = {
    "ten times": "20.0 mL",
    "a tenth": "0.200 mL",
    "lost point": "200 mL",
    "thousand times": "2.00 L",
    "a thousandth": "2.00 uL",
    "double digit": "22.00 mL",
    "grams without density": "2.00 g",
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
    words = ["2.00 mL", "6.02 mL", "1.98 mL"]
    words[at] = slip
    assert isinstance(typed(*words), InputError | RefusedError)


@pytest.mark.parametrize("slip", SLIPS.values(), ids=SLIPS)
def test_h57_the_same_slip_three_times_is_refused(slip: str) -> None:
    """The shots agree, and with the rate in force they do not."""
    assert isinstance(typed(slip, slip, slip), InputError | RefusedError)


def test_h57_who_mistypes_at_a_terminal_is_asked_again() -> None:
    """Nobody has to measure anew for a decimal point; what is said twice was meant."""
    slipped = ("20.0 mL", "2.00 mL", "6.00 mL", "0.2 mL", "0 mL", "2.00 mL", "no")
    found = typed(*slipped, by_person=True)
    assert isinstance(found, Measured)
    assert [2000, 6000, 2000] == [run.volume_ul for run in found.runs]
    meant = typed("20.0 mL", "20 mL", "2.00 mL", "6.00 mL", "2.00 mL", by_person=True)
    assert isinstance(meant, RefusedError)


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
    words = ul(volume_ul, 3 * volume_ul, volume_ul)
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
    assert isinstance(typed(*ul(1400, 4200, 1400), answer), expected)


@pytest.mark.parametrize(("third_ul", "expected"), [(2102, True), (2103, False)])
def test_h57_shots_five_per_cent_apart_are_the_limit(
    third_ul: int, *, expected: bool
) -> None:
    """102 of the weighted mean, 2049, are 4.98 %; 103 of 2049 are 5.03 %."""
    found = typed(*ul(2000, 6100, third_ul))
    assert expected == isinstance(found, Measured)


@pytest.mark.parametrize(("long_ul", "expected"), [(5236, True), (5100, False)])
def test_h57_one_long_shot_misread_shows_as_an_offset(
    long_ul: int, *, expected: bool
) -> None:
    """What start and stop are said to add is a fifth of a short shot at the most."""
    found = typed(*ul(2000, long_ul, 2000))
    assert expected == isinstance(found, Measured)


def near(volume_ul: int) -> st.SearchStrategy[list[int]]:
    """Two short shots and a long one, each a tenth off at most."""
    about = st.integers(volume_ul * 90 // 100, volume_ul * 110 // 100)
    return st.tuples(about, about.map(lambda one: 3 * one), about).map(list)


ANY = st.lists(st.integers(0, 40_000), min_size=3, max_size=3)


@given(st.integers(800, 4500).flatmap(near) | ANY)
def test_h57_nothing_far_off_is_kept_without_a_question(volumes: list[int]) -> None:
    """Whatever is typed: a rate taken silently is near the old one and of one mind."""
    found = typed(*ul(*volumes))
    if isinstance(found, Measured):
        assert 0.8 <= found.flow.rate_nl_per_s / IN_FORCE_NL_PER_S <= 1.25
        assert abs(volumes[2] - volumes[0]) <= 0.0501 * max(volumes[0], volumes[2])
        least_ul = min(volumes)
        assert abs(found.flow.offset_nl) <= 0.2001 * 1000 * least_ul
        for asked_ul, volume_ul in zip(VOLUMES_UL, volumes, strict=True):
            assert 0.5 <= volume_ul / asked_ul <= 2


@pytest.mark.parametrize("slip", ["20 mL", "0.2 mL", "2,00 mL", "2.00"])
def test_h57_a_slip_ends_it_before_the_next_run(slip: str) -> None:
    """Ten times, a tenth, a comma, no unit: nothing is spent on further runs."""
    ran: list[object] = []

    def counted(*asked: object) -> Shot:
        ran.append(asked)
        return shoot("carbonate", 2000, lambda _reasons: None)

    @click.command()
    def dialogue() -> None:
        measure(counted, SERIES, plenty)

    outcome = CliRunner().invoke(dialogue, input=f"{slip}\n6 mL\n2 mL\n")
    assert isinstance(outcome.exception, SlackwaterError)
    assert (1, 1) == (len(ran), len(outcome.exception.findings))


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("20 mL",), f"20 mL in 4.0 s is 10.00 times {SO_FAR}"),
        (("0.2 mL",), f"200 µL in 4.0 s is 0.10 times {SO_FAR}"),
        (("2,00 mL",), '"2,00 mL" does not begin with a plain number'),
        (("2 mL", "6 mL", "2.2 mL"), "the runs differ by 9.6 %"),
    ],
)
def test_h57_each_slip_is_told_in_its_own_words(
    words: tuple[str, ...], what: str
) -> None:
    """One finding says which figure cannot be right; 0.2 of 2.09 mL is 9.6 %."""
    found = typed(*words)
    assert isinstance(found, SlackwaterError)
    assert [what] == [finding.what for finding in found.findings]


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_h57_the_program_keeps_nothing_of_a_slip(tmp_path: Path) -> None:
    """Ten times in the first shot: refused and no entry, and nothing more has run."""
    with household(tmp_path) as home:
        slipped = calibrated(home, "yes", "yes", "5 mL", "5 mL")
        found = json.loads(slipped.stdout)
        assert not found["ok"]
        assert SO_FAR in found["errors"][0]["what"]
        kinds = [type(event).__name__ for event in home.events()]
    assert (0, 1) == (kinds.count("Calibrated"), kinds.count("DoseEnded"))


@pytest.mark.mosquitto
@pytest.mark.timeout(120)
def test_the_program_measures_short_and_long_runs(tmp_path: Path) -> None:
    """A pump that gives 490 µL a second and loses 30 µL at the start of each run."""
    with household(tmp_path) as home:
        found = measured(home, hose=("0.5 mL", "yes"), proofs=("yes", "yes", "no"))
        kept = [e for e in home.events() if isinstance(e, Calibrated)]
    assert found["ok"], found
    assert [("identity", "cut-off")] == [event.proofs for event in kept]
    assert pytest.approx(490_000, rel=0.01) == kept[0].rate_nl_per_s
    assert pytest.approx(-30_000, abs=5_000) == kept[0].offset_nl
    assert 3 == len(kept[0].runs) == len(found["runs"])
    assert kept[0].smallest_ul == found["smallest_ul"] > 0
