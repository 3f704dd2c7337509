"""Ten thousand messages a second on the broker of a daemon that doses each second.

H62. The reef's own integral of what its hose gave is the judge of what flowed.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench.floods import told
from tests.service.floods import BEAT_AT, PER_S, UNRELATED, flooded

pytestmark = pytest.mark.mosquitto

# The numbers that a promise of this project names, and what every run has time for.
WHOLE_S, SLICE_S = 60.0, 1.0
ON_TIME, GROWTH = 0.95, 0.01


def test_h62_a_flood_on_any_topic_gives_no_unsafe_dose(tmp_path: Path) -> None:
    """A slice: both topics at once; each dose is given once or missed with a word."""
    made = flooded(tmp_path, (UNRELATED, BEAT_AT), SLICE_S)
    assert made.sent
    assert [] == made.unsafe
    assert [] == made.unexplained
    assert all(made.missed)


@pytest.mark.long
@pytest.mark.timeout(300)
def test_h62_a_minute_of_flood_elsewhere_delays_no_dose(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    """In time but for a twentieth, the rest missed with a reason; memory stands."""
    made = flooded(tmp_path, (UNRELATED,), WHOLE_S)
    tell(told(UNRELATED, made))
    assert 0.95 * PER_S <= made.per_s
    assert made.on_time >= ON_TIME
    assert ([], []) == (made.unexplained, made.unsafe)
    assert all(made.missed)
    assert made.growth < GROWTH


@pytest.mark.long
@pytest.mark.timeout(600)
def test_h62_a_minute_of_repeated_beats_gives_no_unsafe_dose(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    """They may cost doses, each with its reason, and never make one too many."""
    made = flooded(tmp_path, (BEAT_AT,), WHOLE_S)
    tell(told(BEAT_AT, made))
    assert 0.95 * PER_S <= made.per_s
    assert ([], []) == (made.unexplained, made.unsafe)
    assert all(made.missed)
    assert made.growth < GROWTH
