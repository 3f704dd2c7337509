"""Readings of a calibration that are taken back: one slip costs one run at the most.

The dialogue runs with an invented pump of 500 µL a second, 2 mL and 6 mL in turn.
"""

import sys
from dataclasses import replace

import click
import pytest
from click.testing import CliRunner

from slackwater.cli.series import Series
from slackwater.cli.shooting import Measured, measure
from slackwater.errors import InputError, RefusedError, SlackwaterError
from slackwater.service.calibrating import Shot, Watch

THREE = Series(pump="carbonate", volumes_ul=(2000, 6000), rate_nl_per_s=500_000, runs=3)
OPEN = replace(THREE, runs=None, within_percent=0.6)
LITRE_UL = 10**6


class Bench:
    """A pump over a cylinder, what may flow of it, and somebody who types."""

    def __init__(self, series: Series, *, room_ul: int = LITRE_UL) -> None:
        """Nothing has flowed yet."""
        self.series = series
        self.room_ul = room_ul
        self.shots_ul: list[int] = []
        self.text = ""

    def shoot(self, _pump: str, volume_ul: int, _watch: Watch) -> Shot:
        """A shot that ends as it should and counts against what may flow."""
        self.shots_ul.append(volume_ul)
        return Shot(ran_ms=volume_ul * 2, believed_ul=volume_ul, how="full")

    def left_ul(self) -> int:
        """What may still flow: nothing that flowed is given back."""
        return self.room_ul - sum(self.shots_ul)

    def typed(
        self, *words: str, by_person: bool = False
    ) -> Measured | SlackwaterError | None:
        """What the dialogue comes to; None when it still waits for an answer."""
        found: list[Measured | SlackwaterError] = []

        @click.command()
        def dialogue() -> None:
            sys.stdin.isatty = lambda: by_person  # type: ignore[method-assign]
            try:
                found.append(measure(self.shoot, self.series, self.left_ul))
            except SlackwaterError as error:
                found.append(error)

        outcome = CliRunner().invoke(dialogue, input="".join(f"{w}\n" for w in words))
        self.text = " ".join(outcome.stderr.split())
        return found[0] if found else None


def volumes(found: object) -> list[int]:
    """What was kept, run by run."""
    assert isinstance(found, Measured), found
    return [run.volume_ul for run in found.runs]


@pytest.mark.parametrize("by_person", [False, True])
def test_a_misread_run_is_read_anew_from_the_next_question(*, by_person: bool) -> None:
    """2.2 was 2.0: nothing flows once more, and the run in the cylinder is read."""
    bench = Bench(THREE)
    words = ("2.2 mL", "back", "2.0 mL", "6.0 mL", "2.0 mL", "no")
    assert [2000, 6000, 2000] == volumes(bench.typed(*words, by_person=by_person))
    assert [2000, 6000, 2000] == bench.shots_ul
    assert "Run 1 was 2.2 mL." in bench.text


def test_a_spilled_run_flows_once_more_and_stays_charged() -> None:
    """Its length is the same again; what flowed twice counts twice."""
    bench = Bench(replace(THREE, shots=2))
    words = ("4.0 mL", "again", "12.0 mL", "4.0 mL")
    assert [4000, 12_000, 4000] == volumes(bench.typed(*words))
    assert [2000, 2000, *[6000] * 4, 2000, 2000] == bench.shots_ul
    assert LITRE_UL - 32_000 == bench.left_ul()


def test_a_run_before_is_left_out_and_comes_again() -> None:
    """Run 1 again after run 2 was read, in its place and with its length."""
    bench = Bench(THREE)
    words = ("2.2 mL", "BACK", "Again", "6.0 mL", "2.0 mL", "2.01 mL")
    assert [2000, 6000, 2010] == volumes(bench.typed(*words))
    assert [2000, 6000, 2000, 2000] == bench.shots_ul
    assert "Run 1 is left out and comes again" in bench.text


def test_there_is_nothing_before_the_first_run() -> None:
    """The word is no reading there, and a script is refused."""
    assert isinstance(Bench(THREE).typed("back"), InputError)


def test_back_reads_what_was_read_last_and_no_lower_number() -> None:
    """After run 1 came again, it is the one before run 3."""
    bench = Bench(THREE)
    words = ("2.2 mL", "back", "again", "6.0 mL", "2.1 mL", "back", "2.0 mL", "2.0 mL")
    assert [2000, 6000, 2000] == volumes(bench.typed(*words))
    assert "Run 1 was 2.1 mL." in bench.text


def test_what_is_read_anew_is_judged_like_any_reading() -> None:
    """Ten times is refused there too, and nothing is kept."""
    found = Bench(THREE).typed("2.0 mL", "back", "20 mL")
    assert isinstance(found, RefusedError)
    assert "10.00 times" in found.findings[0].what


def test_runs_that_contradict_each_other_are_mended_at_a_terminal() -> None:
    """The third was misread, and there is no fourth question to take it back at."""
    slipped = ("2.0 mL", "6.0 mL", "2.2 mL")
    bench = Bench(THREE)
    found = bench.typed(*slipped, "9", "3", "2.02 mL", "no", by_person=True)
    assert [2000, 6000, 2020] == volumes(found)
    assert "cannot be kept: the runs differ by 9.6 %" in bench.text
    assert "Run 3: 2.2 mL, 1.100 times what the calibration in force gives" in (
        bench.text
    )
    given_up = Bench(THREE).typed(*slipped, "no", by_person=True)
    assert isinstance(given_up, RefusedError)
    assert "the runs differ by 9.6 %" == given_up.findings[0].what
    assert isinstance(Bench(THREE).typed(*slipped), RefusedError)


def test_the_very_last_run_is_asked_about_at_a_terminal() -> None:
    """A slip too small to contradict the others would else be kept."""
    bench = Bench(THREE)
    words = ("2.0 mL", "6.0 mL", "2.09 mL", "3", "again", "2.0 mL", "no")
    assert [2000, 6000, 2000] == volumes(bench.typed(*words, by_person=True))
    assert [2000, 6000, 2000, 2000] == bench.shots_ul


def test_a_run_left_out_is_made_up_for_before_the_flow_is_judged() -> None:
    """Six runs without the fifth are five, of which the lengths are no equal share."""
    bench = Bench(OPEN)
    four = ("2.00 mL", "5.96 mL", "2.02 mL", "6.05 mL")
    words = (*four, "1.92 mL", "back", "again", "6.00 mL", "2.00 mL", "enough")
    bench.typed(*words)
    assert [2000, 6000] * 3 + [2000] == bench.shots_ul[:7]
    assert 2 == bench.text.count("Run 5:")
    assert 1 == bench.text.count("Run 6:")


def test_who_had_enough_may_still_read_anew() -> None:
    """The end stays the end where a figure changes; a run that comes again goes on."""
    four = ("2.00 mL", "5.96 mL", "2.02 mL", "6.05 mL")
    kept = Bench(OPEN).typed(*four, "enough", "4", "6.04 mL", "no", by_person=True)
    assert [2000, 5960, 2020, 6040] == volumes(kept)
    bench = Bench(OPEN)
    words = (*four, "enough", "4", "again", "6.03 mL", "enough", "no")
    assert [2000, 5960, 2020, 6030] == volumes(bench.typed(*words, by_person=True))


def test_no_run_flows_again_without_room_for_those_to_come() -> None:
    """A person is told and reads it; a script is refused, and nothing more flows."""
    bench = Bench(THREE, room_ul=11_999)
    words = ("again", "2.0 mL", "6.0 mL", "2.0 mL", "no")
    assert [2000, 6000, 2000] == volumes(bench.typed(*words, by_person=True))
    assert "run 1 cannot flow once more: with what is to come it takes 10 mL" in (
        bench.text
    )
    refused = Bench(THREE, room_ul=11_999)
    assert isinstance(refused.typed("again"), RefusedError)
    assert [2000] == refused.shots_ul
    assert [2000, 6000, 2000] == volumes(
        Bench(THREE, room_ul=12_000).typed("again", "2 mL", "6 mL", "2 mL")
    )


def test_a_run_before_needs_room_beside_the_one_in_the_cylinder() -> None:
    """What is in the cylinder has flowed; the run left out and the third are to come.

    Where there is no room the reading stays as it was.
    """
    words = ("2.0 mL", "back", "again", "6.0 mL", "2.0 mL", "2.0 mL")
    assert [2000, 6000, 2000] == volumes(Bench(THREE, room_ul=12_000).typed(*words))
    bench = Bench(THREE, room_ul=11_999)
    found = bench.typed(
        "2.0 mL", "back", "again", "6.0 mL", "2.01 mL", "no", by_person=True
    )
    assert [2000, 6000, 2010] == volumes(found)
