"""Courses: a series that stays small, block by block and hour by hour.

The figures are worked by hand; a block is half an hour.
"""

from random import Random
from statistics import median

import pytest

from slackwater.facts.courses import (
    HOUR_S,
    Block,
    Course,
)

MIN = 60.0
# Half past nothing: hours begin on it, and so do blocks of a steady probe.
ZERO = 1_000_000 * HOUR_S


def course(*rows: tuple[float, float]) -> Course:
    """Readings by (minute, value)."""
    made = Course()
    for minute, value in rows:
        made.add(ZERO + minute * MIN, value)
    return made


def test_a_block_is_the_median_of_half_an_hour() -> None:
    """Six readings, one far out; jumps 1 1 7 7 1 have the median 1."""
    made = course((0, 1), (5, 2), (10, 3), (15, 10), (20, 3), (25, 4), (30, 5))
    assert [Block(ZERO + 12.5 * MIN, 3.0, 6, 1.0)] == made.blocks
    assert [5] == made.open
    (of_three,) = course((0, 1), (5, 2), (10, 4), (30, 4)).blocks
    assert (2.0, 3) == (of_three.level, of_three.readings)


def test_the_block_under_way_shows_what_it_has() -> None:
    """Two readings of four and two: their middle time and value, one jump."""
    made = course((0, 4), (10, 2))
    assert Block(ZERO + 5 * MIN, 3.0, 2, 2.0) == made.under_way()
    assert Block(ZERO, 4.0, 1, 0.0) == course((0, 4)).under_way()


def test_blocks_begin_with_a_reading_so_that_a_copy_joins_it() -> None:
    """The same sample twenty seconds later belongs to the same block, whenever."""
    made = course((29.9, 4), (30.2, 5), (90, 1))
    assert [(4.5, 2)] == [(block.level, block.readings) for block in made.blocks]


def test_an_hour_is_the_mean_of_its_blocks_weighed() -> None:
    """Two readings of 1 and one of 4 are 2; their times 5, 5 and 40 are 50/3."""
    made = course((0, 1), (10, 1), (40, 4), (100, 0))
    (hour,) = made.hours.values()
    assert (2.0, 3) == (hour.level, hour.readings)
    assert pytest.approx(50 / 3 * MIN) == hour.at_s - ZERO
    # Jumps: 0 within the first block, 3 to the second: (2 * 0 + 1 * 3) / 3.
    assert pytest.approx(1.0) == hour.rough
    # Jumps: 1 within the first block, 4 to the second: (2 * 1 + 1 * 4) / 3.
    (rough,) = course((0, 1), (10, 2), (40, 6), (100, 0)).hours.values()
    assert pytest.approx(2.0) == rough.rough


@pytest.mark.parametrize("minute", [10.0, 9.0])
def test_h48_only_a_later_reading_is_taken_in(minute: float) -> None:
    """The same moment again, or one before: nothing changes."""
    made = course((0, 1), (10, 2))
    before = made.copy()
    made.add(ZERO + minute * MIN, 9.0)
    assert before == made


def test_a_flood_is_cut_within_a_block() -> None:
    """Three thousand readings in ten minutes: two thousand of them count."""
    made = Course()
    for number in range(3000):
        made.add(ZERO + number * 0.2, float(number % 7))
    assert 2000 == len(made.open)
    assert 1999 == len(made.jumps)


def test_a_year_is_no_longer_than_nine_days() -> None:
    """Blocks and hours that no baseline looks at are forgotten."""
    made = Course()
    for number in range(40 * 48):
        made.add(ZERO + number * 30 * MIN, float(number % 3))
    assert 9 * 24 == len(made.hours)
    assert 75 * HOUR_S == made.blocks[-1].at_s - made.blocks[0].at_s
    assert 75 * 2 + 1 == len(made.blocks)


def test_a_run_is_counted_apart_from_the_pairs_before_it() -> None:
    """1 2 2 2 3 3: pairs up to the 3 are four, two of them equal; the run is two."""
    made = course(*((n * 5, v) for n, v in enumerate((1, 2, 2, 2, 3, 3))))
    assert (4, 2, 2) == (made.pairs, made.equal, made.run)
    assert ZERO + 20 * MIN == made.run_since_s


def test_a_long_run_does_not_make_the_next_look_usual() -> None:
    """A hundred equal readings count as ten repetitions once they are over."""
    made = course(*((n * 5, 1.0) for n in range(100)), (500, 2.0))
    assert (11, 10) == (made.pairs, made.equal)


def test_old_pairs_fade() -> None:
    """After two thousand pairs both counts are halved, and the share stays.

    Up and down is a pair each time; each value twice is two, one of them equal.
    """
    single, twice = Course(), Course()
    for number in range(2001):
        single.add(ZERO + number * MIN, float(number % 2))
        twice.add(ZERO + number * MIN, float(number // 2 % 2))
    assert (2000, 0) == (single.pairs, single.equal)
    assert (2000, 1000) == (twice.pairs, twice.equal)
    single.add(ZERO + 2001 * MIN, 1.0)
    assert (1000, 0) == (single.pairs, single.equal)
    for number in range(2001, 2003):
        twice.add(ZERO + number * MIN, float(number // 2 % 2))
    assert (1001, 500) == (twice.pairs, twice.equal)


def test_a_billionth_apart_is_not_the_same() -> None:
    """Less is how a figure is written, not another reading."""
    assert 1 == course((0, 0.0), (5, 1e-9)).run
    assert 2 == course((0, 0.0), (5, 0.9e-9)).run


def test_a_copy_goes_on_alone() -> None:
    """What is added to one is not in the other."""
    made = course((0, 1), (10, 2), (40, 3))
    other = made.copy()
    assert made == other
    other.add(ZERO + 90 * MIN, 4.0)
    other.add(ZERO + 95 * MIN, 5.0)
    assert course((0, 1), (10, 2), (40, 3)) == made


def test_blocks_are_those_of_the_whole_list() -> None:
    """A random probe: each block's median as the statistics module has it."""
    chance = Random(4)  # noqa: S311 -- seeded on purpose
    rows = [(n * 5.0, chance.gauss(3, 0.1)) for n in range(600)]
    made = course(*rows)
    groups = [rows[at : at + 6] for at in range(0, 594, 6)]
    expected = [median(value for _, value in group) for group in groups]
    assert pytest.approx(expected) == [block.level for block in made.blocks]
