"""Lines that fit the screen: wrapped below their own column, never cut."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.cli.width import error_columns, fitted, page_columns, within
from tests.cli.run_program import run

FINDING = "  found     a figure that is a good deal too long for one line of this page"
LISTED = "    All stocks: eye protection; never mix them; keep children away from them"


def test_a_finding_goes_on_below_its_own_column() -> None:
    """The label stays alone at the left."""
    lines = fitted(FINDING, 40).split("\n")
    assert 3 == len(lines)
    assert FINDING[:11] == lines[0][:11]
    assert all(line[:12] == " " * 12 != line[12:13] for line in lines[1:])


def test_what_has_no_label_goes_on_two_further_in() -> None:
    """So that the next thing that begins can be told from it."""
    lines = fitted(LISTED, 40).split("\n")
    assert [4, 6, 6] == [len(line) - len(line.lstrip()) for line in lines]


def test_a_line_that_fits_stays_as_it_is() -> None:
    """Tables and short lines are not touched, empty ones neither."""
    text = "a   b\n\n  c  d"
    assert text == fitted(text, 80)


@given(st.text("ab -µ", max_size=300), st.integers(40, 120))
def test_nothing_is_lost_and_nothing_runs_over(text: str, columns: int) -> None:
    """Every word is there in its order, and no line is longer than the screen."""
    shown = fitted(text, columns)
    assert all(len(line) <= columns for line in shown.split("\n"))
    assert "".join(text.split()) == "".join(shown.split())


@pytest.mark.parametrize(
    ("stated", "expected"),
    [("60", 60), ("1", 40), ("0", None), ("wide", None), ("-5", None), ("", None)],
)
def test_columns_come_from_whoever_states_them(
    monkeypatch: pytest.MonkeyPatch, stated: str, expected: int | None
) -> None:
    """COLUMNS when it is a number (POSIX.1, environment variables); else none here."""
    monkeypatch.setenv("COLUMNS", stated)
    assert (expected, expected) == (page_columns(), error_columns())


def test_without_a_terminal_a_line_is_as_long_as_it_needs_to_be() -> None:
    """A search through a pipe finds whole lines."""
    long = "word " * 100
    assert long == fitted(long, None)


@pytest.mark.parametrize(("stated", "expected"), [("60", 60), ("100", 79), ("", 79)])
def test_prose_with_lines_of_its_own_keeps_to_the_screen(
    monkeypatch: pytest.MonkeyPatch, stated: str, expected: int
) -> None:
    """No wider than it was made for, narrower where the screen is."""
    monkeypatch.setenv("COLUMNS", stated)
    assert expected == within(79)


@pytest.mark.parametrize("columns", [60, 80])
def test_first_aid_is_read_on_any_screen(
    monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    """Steps are wrapped below their own number, once and not twice."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = run("first-aid", "overdose").out.splitlines()
    assert max(map(len, lines)) <= columns
    further = [line for line in lines if line.startswith("   ")]
    assert further
    assert all(line[3] != " " for line in further)


def test_a_step_with_directories_can_be_copied_whole() -> None:
    """A line end before the verb would make two commands of it; prose is broken."""
    step = f"  1. slackwater --config {'/far' * 12} --state {'/far' * 12} check"
    assert step == fitted(step, 80)
    assert "\n" in fitted(f"  1. see {'word ' * 20}", 80)
