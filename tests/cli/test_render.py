"""Tables fit the screen where they can; no figure is ever cut."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from slackwater.cli.render import table

HEADS = ("|dose", "what", ">planned", "how")
WORD = st.text("abc", min_size=1, max_size=30)
ROW = st.tuples(WORD, WORD, st.integers(0, 10**9).map(lambda n: f"{n} mL"), WORD)
NARROW = 60


def squeezed(text: str) -> str:
    """The text without any space."""
    return "".join(text.split())


@given(rows=st.lists(ROW, min_size=1, max_size=5), columns=st.integers(40, 120))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_figures_and_names_stay_whole(
    monkeypatch: pytest.MonkeyPatch, rows: list[tuple[str, ...]], columns: int
) -> None:
    """At any width: each stands on one line; the rest has all its letters."""
    monkeypatch.setenv("COLUMNS", str(columns))
    shown = table(HEADS, rows)
    for dose, what, planned, how in rows:
        assert any(dose in line and planned in line for line in shown.split("\n"))
        assert all(shown.count(letter) for letter in squeezed(what + how))
    letters = sum(len(squeezed("".join(row))) for row in rows)
    heads = len("dosewhatplannedhow")
    assert letters + heads == len(squeezed(shown)) - shown.count("─")


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
