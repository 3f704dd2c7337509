"""Tables fit the screen where they can; no figure is ever cut."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.cli.render import table

HEADS = ("|dose", "what", ">planned", "how")
WORD = st.text("abc", min_size=1, max_size=30)
ROW = st.tuples(WORD, WORD, st.integers(0, 10**9).map(lambda n: f"{n} mL"), WORD)
NARROW = 60


@given(rows=st.lists(ROW, min_size=1, max_size=5), columns=st.integers(40, 120))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_figures_and_names_stay_whole(
    monkeypatch: pytest.MonkeyPatch, rows: list[tuple[str, ...]], columns: int
) -> None:
    """At any width each stands whole in a line, and no line runs over."""
    monkeypatch.setenv("COLUMNS", str(columns))
    lines = table(HEADS, rows).split("\n")
    assert max(map(len, lines)) <= columns
    for row in rows:
        assert [cell for cell in row if not any(cell in line for line in lines)] == []


def test_a_row_without_room_stands_below_its_first_cell(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Figures stay beside their heads, a long text has a line, empty cells none."""
    monkeypatch.setenv("COLUMNS", str(NARROW))
    why = "The pump was held for longer than anybody would like to read of."
    heads = (">no.", "pump", ">given", "|by", "why")
    rows = [("7", "display-reef-carbonate-left", "2.4 mL", "", why)]
    assert table(heads, rows).split("\n") == [
        "no. 7",
        "  pump: display-reef-carbonate-left; given: 2.4 mL",
        "  why: The pump was held for longer than anybody would like",
        "    to read of.",
    ]


def test_a_cell_is_wrapped_between_words_and_never_inside_a_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A name of 34 letters keeps its line though the page is narrow."""
    monkeypatch.setenv("COLUMNS", str(NARROW))
    name = "frags/carbonate-upkeep-every-night"
    shown = table(("line", ">a day", "adds"), [(name, "24 mL", "0.83 dKH of soda")])
    assert name in shown
    assert "24 mL" in shown.split("\n")[2]
    assert "0.83 dKH of" in shown


def test_a_table_that_can_fits_the_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Long reasons are folded, between their words."""
    monkeypatch.setenv("COLUMNS", str(NARROW))
    shown = table(HEADS, [("a/b@2026-05-03#01", "missed", "3 mL", "word " * 20)])
    assert max(map(len, shown.split("\n"))) <= NARROW
    assert 20 == shown.count("word")


def test_a_pipe_has_no_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """A row is as long as it needs to be, so that a search finds all of it."""
    monkeypatch.delenv("COLUMNS", raising=False)
    long = "a reason of many words " * 30
    assert 3 == len(table(HEADS, [("d", "w", "1 mL", long)]).split("\n"))
