"""`record`: which values are far from their neighbour in time, and asked about."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of
from tests.cli.test_record import record, recorded


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with a fresh ledger."""
    return stage_of(tmp_path)


@pytest.mark.parametrize(
    ("first", "second", "days", "code"),
    [
        ("nitrate=10 mg/L NO3", "nitrate=15.0 mg/L NO3", 1, 0),
        ("nitrate=10 mg/L NO3", "nitrate=15.2 mg/L NO3", 1, 2),
        ("alkalinity=8.1 dKH", "alkalinity=9.5 dKH", 7, 0),
        ("alkalinity=8.1 dKH", "alkalinity=9.7 dKH", 7, 2),
        ("alkalinity=8.1 dKH", "alkalinity=6.7 dKH", 7, 0),
        ("alkalinity=7.9 dKH", "alkalinity=6.1 dKH", 7, 2),
        ("alkalinity=4.6 dKH", "alkalinity=6.1 dKH", 7, 2),
        ("calcium=420 mg/L", "calcium=495 mg/L", 7, 0),
        ("calcium=420 mg/L", "calcium=500 mg/L", 7, 2),
        ("magnesium=1300 mg/L", "magnesium=1530 mg/L", 7, 0),
        ("magnesium=1300 mg/L", "magnesium=1540 mg/L", 7, 2),
        ("alkalinity=8.1 dKH", "alkalinity=10.4 dKH", 8, 0),
        ("alkalinity=8.1 dKH", "alkalinity=10.6 dKH", 8, 2),
        ("alkalinity=8.1 dKH", "alkalinity=5.7 dKH", 8, 0),
        ("alkalinity=8.1 dKH", "alkalinity=5.5 dKH", 8, 2),
    ],
)
def test_a_jump_is_asked_about(
    stage: Stage, first: str, second: str, days: int, code: int
) -> None:
    """By hand: 30 % of 8.1 dKH are 2.43; five errors of nitrate 10 (1 each) are 5.

    Within a week alkalinity may differ by 1.5 dKH, calcium by 500 - 421.7 and magnesium
    by 1550 - 1313.7 mg/L (a usual level and where dosing ends; common practice, no
    source), and by 30 % where that is less.
    """
    now = stage.stamp()["at"]
    then = f"{now - timedelta(days=days, hours=-1):%Y-%m-%dT%H:%M}Z"
    recorded(stage, first, "--at", then)
    told = record(stage, second)

    assert code == told.code
    if code:
        assert "far from its neighbour in time" in told.errors[0]["what"]
        assert "--confirm" in told.errors[0]["do"]
        recorded(stage, second, "--confirm")


def test_what_two_tests_confirmed_is_a_neighbour_again(stage: Stage) -> None:
    """An hour apart; two readings of one test are one."""
    now = stage.stamp()["at"]
    for hours, level in ((30, 8.1), (3, 6.1), (2.9, 6.1)):
        then = f"{now - timedelta(hours=hours):%Y-%m-%dT%H:%M}Z"
        words = (f"alkalinity={level} dKH", "--at", then)
        recorded(stage, *words, *(("--confirm",) if level < 7 else ()))
    once = record(stage, "alkalinity=6.2 dKH")
    then = f"{now - timedelta(hours=2):%Y-%m-%dT%H:%M}Z"
    recorded(stage, "alkalinity=6.0 dKH", "--at", then, "--confirm")

    assert 2 == once.code
    assert 0 == record(stage, "alkalinity=6.2 dKH").code


def test_a_confirmed_slip_is_no_measure_for_the_next(stage: Stage) -> None:
    """After 8.1 and a confirmed 18 the next 8.0 passes, and the next 17 does not."""
    recorded(stage, "alkalinity=8.1 dKH")
    recorded(stage, "alkalinity=18 dKH", "--confirm")

    assert 2 == record(stage, "alkalinity=17 dKH").code
    assert 0 == record(stage, "alkalinity=8.0 dKH").code


def test_the_neighbour_is_the_one_in_time(stage: Stage) -> None:
    """An old test is held against that of its own day, not against the last entry."""
    now = stage.stamp()["at"]
    then, later = (f"{now - timedelta(days=days):%Y-%m-%dT%H:%M}Z" for days in (28, 27))
    recorded(stage, "nitrate=40 mg/L NO3", "--at", then)
    recorded(stage, "nitrate=5 mg/L NO3", "--confirm")
    told = record(stage, "nitrate=38 mg/L NO3", "--at", later)

    assert 0 == told.code


def test_a_small_change_of_little_is_no_jump(stage: Stage) -> None:
    """Phosphate doubles within what tests differ by."""
    recorded(stage, "phosphate=0.02 mg/L PO4")

    assert 0 == record(stage, "phosphate=0.04 mg/L PO4").code


def test_an_old_value_foretells_nothing(stage: Stage) -> None:
    """After more than a month the next test may be anything plausible."""
    then = stage.stamp()["at"] - timedelta(days=31)
    recorded(stage, "alkalinity=8.1 dKH", "--at", f"{then:%Y-%m-%dT%H:%M}Z")

    assert 0 == record(stage, "alkalinity=12 dKH").code
