"""Households sailed through weeks of faults, in bursts; the judge sees the water.

Hazards: H01 to H05, H07, H10 to H15, H17 to H20, H23 to H27, H29, H30, H32, H33, H37 to
H40, H44, H60, H61. `python -m tests.faults SEED` tells one of them again.
"""

from collections.abc import Callable

import pytest

from tests.faults.fleet import Fleet, fleet, report
from tests.faults.voyage import sail, story

SEEDS, DAYS = range(900, 904), 2.0
LONG_SEED, LONG_VOYAGES, LONG_DAYS = 10_000, 120, 20.0


def test_no_law_breaks_in_a_few_short_voyages() -> None:
    """A week in all; the long ones and their figures are those of the stage of CI."""
    sailed = Fleet()
    for seed in SEEDS:
        sailed.take(sail(seed, DAYS))

    assert not sailed.broken, "\n".join(map(str, sailed.broken))
    assert sailed.doses > 0
    assert sailed.faults > len(SEEDS)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_no_law_breaks_in_pump_years_and_every_fault_befalls_somebody(
    tell: Callable[[str], None],
) -> None:
    """A fleet on all cores; what never befell anybody would prove nothing."""
    sailed = fleet(LONG_SEED, LONG_VOYAGES, LONG_DAYS)
    for line in report(sailed):
        tell(line)

    assert not sailed.broken
    assert set() == sailed.never()


def test_a_voyage_is_told_again_word_for_word() -> None:
    """From its seed alone: same faults, same entries, same water, at the same times."""
    first = list(story(SEEDS[0], 1.0))

    assert first == list(story(SEEDS[0], 1.0))
    assert first[-1] == "nothing was broken"
    assert any("dose_intended" in line for line in first)
