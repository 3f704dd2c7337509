"""The 25 hourly slots of a pump head, over power-up and over days."""

from hypothesis import given
from hypothesis import strategies as st

from demo.node.node import HOUR_MS, Budget

LIMIT_UL = 24_000


def test_power_up_leaves_no_room() -> None:
    """Room starts at nothing, also where the limit does not divide by 24."""
    assert [Budget(limit).room_ul(0) for limit in (LIMIT_UL, 1, 24_001)] == [0, 0, 0]


def test_room_comes_back_by_the_hour_after_power_up() -> None:
    """Each hour up frees one 24th of the day limit, and nothing in between.

    Hand-worked: limit 24 000 uL, so 1 000 uL an hour.
    """
    budget = Budget(LIMIT_UL)
    rooms = [budget.room_ul(hour * HOUR_MS) for hour in range(26)]
    assert [hour * 1_000 for hour in range(25)] + [24_000] == rooms
    assert Budget(LIMIT_UL).room_ul(HOUR_MS - 1) == 0


def test_a_reboot_can_only_lose_room() -> None:
    """At any hour a node just powered up has no more room than the one before."""
    old = Budget(LIMIT_UL)
    old.take(500, 0)
    for hour in range(30):
        assert Budget(LIMIT_UL).room_ul(0) <= old.room_ul(hour * HOUR_MS)


def test_a_volume_counts_for_its_hour_and_the_24_after_it() -> None:
    """What was delivered in hour 30 is free again in hour 55, not in hour 54."""
    budget = Budget(LIMIT_UL)
    budget.take(7_000, 30 * HOUR_MS + 5)
    assert budget.room_ul(54 * HOUR_MS + HOUR_MS - 1) == 17_000
    assert budget.room_ul(55 * HOUR_MS) == 24_000


def test_time_that_goes_back_frees_nothing() -> None:
    """An earlier uptime reads the slots as they stand."""
    budget = Budget(LIMIT_UL)
    budget.take(7_000, 30 * HOUR_MS)
    assert budget.room_ul(29 * HOUR_MS) == 17_000
    assert budget.room_ul(54 * HOUR_MS) == 17_000


@given(
    steps=st.lists(
        st.tuples(st.integers(0, 3 * HOUR_MS), st.integers(1, 9_000)), max_size=80
    )
)
def test_no_24_hours_see_more_than_the_limit(steps: list[tuple[int, int]]) -> None:
    """A greedy client gets at most the day limit in every rolling 24 hours."""
    budget = Budget(LIMIT_UL)
    up_ms = 0
    taken: list[tuple[int, int]] = []
    for span_ms, wanted_ul in steps:
        up_ms += span_ms
        volume_ul = min(wanted_ul, budget.room_ul(up_ms))
        budget.take(volume_ul, up_ms)
        taken.append((up_ms, volume_ul))
        window = [ul for at_ms, ul in taken if up_ms - at_ms <= 24 * HOUR_MS]
        assert sum(window) <= LIMIT_UL
