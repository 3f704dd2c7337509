"""The window of charges: exact sums, exact edges, exact taking back."""

from hypothesis import given
from hypothesis import strategies as st

from slackwater.facts.rolling import DAY_MS, HOUR_MS, KEPT_MS, Rolling

STEPS = st.lists(
    st.tuples(st.integers(0, 8 * HOUR_MS), st.integers(0, 10**12)), max_size=60
)


def filled(*entries: tuple[int, int, str]) -> Rolling:
    """A window with these entries."""
    rolling = Rolling()
    for at_ms, amount, tag in entries:
        rolling.add(at_ms, amount, tag)
    return rolling


def test_nothing_sums_to_nothing() -> None:
    """An empty window is a zero, not an error."""
    assert 0 == Rolling().since(-DAY_MS)


def test_the_edge_of_the_window_is_open() -> None:
    """What is exactly as old as the window has left it, a millisecond less has not."""
    rolling = filled((1000, 5, "a"), (2000, 7, "b"))
    assert [12, 12, 7, 0] == [rolling.since(at_ms) for at_ms in (0, 999, 1000, 2000)]


def test_what_no_window_reaches_is_forgotten() -> None:
    """An hour beyond the day: until then an entry stands, at it it goes."""
    rolling = filled((0, 5, "a"), (1, 7, "b"), (KEPT_MS - 1, 1, "c"))
    assert (3, 13) == (len(rolling.entries), rolling.total)
    rolling.add(KEPT_MS, 2, "d")
    assert (3, 10) == (len(rolling.entries), rolling.total)
    rolling.add(5 * KEPT_MS, 4, "e")
    assert ([(5 * KEPT_MS, 4, "e")], 4) == (rolling.entries, rolling.total)


def test_taking_back_needs_the_tag() -> None:
    """Every entry with the tag goes and no other."""
    rolling = filled((1, 5, "a"), (2, 7, "b"), (3, 11, "a"))
    rolling.remove("a")
    rolling.remove("never")
    assert ([(2, 7, "b")], 7) == (rolling.entries, rolling.total)


@given(STEPS)
def test_h35_sums_are_those_of_the_whole_list(steps: list[tuple[int, int]]) -> None:
    """Forgetting never touches what a day or an hour counts."""
    rolling, whole, now_ms = Rolling(), list[tuple[int, int]](), 0
    for step_ms, amount in steps:
        now_ms += step_ms
        rolling.add(now_ms, amount, "")
        whole.append((now_ms, amount))
        for window_ms in (HOUR_MS, DAY_MS):
            after_ms = now_ms - window_ms
            expected = sum(known for at_ms, known in whole if at_ms > after_ms)
            assert expected == rolling.since(after_ms)


@given(
    entries=st.lists(
        st.tuples(st.integers(0, DAY_MS), st.integers(1, 10**9), st.just("a")),
        max_size=40,
    ),
    at_ms=st.integers(-1, DAY_MS),
)
def test_the_order_of_telling_changes_no_sum(
    entries: list[tuple[int, int, str]], at_ms: int
) -> None:
    """What was told late has the place of its own time."""
    told, in_order = filled(*entries), filled(*sorted(entries))
    assert in_order.since(at_ms) == told.since(at_ms)
