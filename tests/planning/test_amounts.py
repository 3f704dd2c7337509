"""Splitting amounts, rounding run times, and amounts in words."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slackwater.planning.amounts import (
    amounts_words,
    flow_s,
    largest_ul,
    pico_word,
    run_s,
    smallest_ul,
    volumes_ul,
)
from tests.planning.plans import line, machine, pump


@given(per_day_ul=st.integers(1, 20_000_000), count=st.integers(1, 288))
def test_parts_sum_to_the_day_and_differ_by_one_at_most(
    per_day_ul: int, count: int
) -> None:
    """No split of any amount loses or makes a microlitre."""
    parts = volumes_ul(per_day_ul, count)
    split = line(per_day_ul=per_day_ul, count=count)

    assert (per_day_ul, count) == (sum(parts), len(parts))
    assert (smallest_ul(split), largest_ul(split)) == (min(parts), max(parts))
    assert max(parts) - min(parts) <= 1


@given(per_day_ul=st.integers(1, 20_000_000), count=st.integers(1, 288))
def test_every_stretch_of_doses_is_within_a_microlitre_of_its_share(
    per_day_ul: int, count: int
) -> None:
    """The remainder is spread, not piled up at one end of the day."""
    parts = volumes_ul(per_day_ul, count)
    sums = [sum(parts[: number + 1]) for number in range(count)]

    assert all(
        abs(total * count - (number + 1) * per_day_ul) < count
        for number, total in enumerate(sums)
    )


@pytest.mark.parametrize(
    ("volume_ul", "run", "flow"),
    # By hand: 1 mL/s nominal, 20 % longer until the flow has surely ended.
    [(1_000, 1, 2), (1_001, 2, 2), (10_000, 10, 12), (50_000, 50, 60), (1, 1, 1)],
)
def test_run_times_are_rounded_up(volume_ul: int, run: int, flow: int) -> None:
    """A started second counts as a whole one."""
    one = pump("carbonate")

    assert (run, flow) == (run_s(one, volume_ul), flow_s(one, volume_ul))


@pytest.mark.parametrize(
    ("amount", "parameter", "expected"),
    # By hand, for 250 L; a German degree is 20/56.077 meq/L (10 mg/L CaO).
    [
        (1_234, "", "1.234 mL"),
        (25 * 10**9, "alkalinity", "0.2804 dKH"),
        (25 * 10**9, "calcium", "0.1 mg/L"),
        (25 * 10**9, "carbon", "0.1 mmol/L"),
        (750_000_000, "iodine", "3 ug/L"),
        (25 * 10**15, "calcium", "100000 mg/L"),
    ],
)
def test_amounts_stand_in_the_unit_people_use(
    amount: int, parameter: str, expected: str
) -> None:
    """Four digits, no unit that only the program counts in, and no exponent."""
    tank = machine().tanks["reef"]
    assert (expected,) == amounts_words((amount,), parameter, tank)


def test_two_amounts_that_differ_are_written_differently() -> None:
    """One picoequivalent beyond the cap shows, and equal ones stay equal."""
    cap = 25 * 10**9
    tank = machine().tanks["reef"]
    found, most, same = amounts_words((cap + 1, cap, cap), "alkalinity", tank)
    assert found != most
    assert most == same
    assert found.startswith("0.28")


def test_two_amounts_are_told_apart_beyond_the_digits_of_a_float() -> None:
    """100 kg in 250 m3, and a picogram more: the eighteenth digit says so."""
    tank = replace(machine().tanks["reef"], net_ul=250 * 10**9)
    most = 10**17
    assert ("400.000000000000004 mg/L", "400 mg/L") == amounts_words(
        (most + 1, most), "calcium", tank
    )


def test_pico_units_follow_the_parameter() -> None:
    """Equivalents, moles or grams."""
    assert [
        pico_word(parameter) for parameter in ("alkalinity", "carbon", "strontium")
    ] == ["peq", "pmol", "pg"]
