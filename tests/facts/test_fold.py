"""Folding entries: stages, watching, approvals, holds, clocks and what is forgotten."""

from datetime import timedelta

from slackwater.facts.events import Started, Stopped
from tests.facts.diary import BOOT, begun

HOUR = timedelta(hours=1)
HOUR_MS = 3_600_000


def test_a_calibration_session_is_not_watched_time() -> None:
    """Its end neither counts as shadow nor says that the plan was looked at."""
    diary = begun()
    diary.approve(1)
    diary.write(Stopped(**diary.stamp, why="asked to"))
    decided_at = diary.state.decided_at
    diary.wait(5 * HOUR)
    diary.write(
        Started(**diary.stamp, version="0", boot_id=BOOT, fence=8, mode="calibrate")
    )
    diary.wait(HOUR)
    diary.write(Stopped(**diary.stamp, why="calibration ended"))
    assert (0, decided_at) == (diary.state.shadow_ms, diary.state.decided_at)


def test_a_calibration_session_hides_no_unclean_end() -> None:
    """A daemon that crashed before it still counts as one when it starts again."""
    diary = begun()
    diary.write(
        Started(**diary.stamp, version="0", boot_id=BOOT, fence=8, mode="calibrate"),
        Stopped(**diary.stamp, why="calibration ended"),
    )
    diary.start(9)
    assert [diary.at] == diary.state.unclean_starts
