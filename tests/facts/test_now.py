"""Proven time: the smallest difference that a trusted clock shows."""

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.facts.now import Mark, Now, proven_ms

T0 = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
MARK = Mark(utc=T0, boot_s=1000.0, boot_id="one", proven_ms=5000)


@pytest.mark.parametrize(
    ("wall_s", "boot_s", "expected_ms"),
    [
        (60.0, 1060.0, 65_000),
        (86_400.0, 1060.0, 65_000),
        (60.0, 5000.0, 65_000),
        (-3600.0, 1060.0, 5000),
        (60.0, 990.0, 5000),
        (0.0015, 1000.0015, 5001),
    ],
)
def test_h37_h38_the_smaller_difference_counts_within_a_boot(
    wall_s: float, boot_s: float, expected_ms: int
) -> None:
    """A step of the wall clock, either way, proves nothing; parts round down."""
    now = Now(
        utc=T0 + timedelta(seconds=wall_s),
        boot_s=boot_s,
        boot_id="one",
        synchronised=True,
    )
    assert expected_ms == proven_ms(MARK, now)


@pytest.mark.parametrize(
    ("wall_s", "boot_s", "synchronised", "expected_ms"),
    [
        (14_400.0, 40.0, True, 14_405_000),
        (14_400.0, 40.0, False, 45_000),
        (315_360_000.0, 40.0, False, 45_000),
        (30.0, 40.0, False, 35_000),
        (-3600.0, 40.0, True, 5000),
    ],
)
def test_h39_after_a_reboot_only_a_vouched_wall_clock_tells_of_the_outage(
    wall_s: float, boot_s: float, *, synchronised: bool, expected_ms: int
) -> None:
    """A board that starts in another year frees no cap by it."""
    now = Now(
        utc=T0 + timedelta(seconds=wall_s),
        boot_s=boot_s,
        boot_id="two",
        synchronised=synchronised,
    )
    assert expected_ms == proven_ms(MARK, now)
