"""After a gap: what was missed counts on the day on which it was due."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import DoseMissed, SpanMissed
from slackwater.facts.reasons import Code, because
from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import PEQ_PER_DKH, due, live, only_tank

REASONS = (because(Code.WINDOW_PASSED), because(Code.NOT_RUNNING))


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample with pumps enabled."""
    return live(stage_of(tmp_path))


def miss_all(stage: Stage, due_at: list[datetime]) -> None:
    """A daemon comes back and writes them all down in one moment, a tenth dKH each."""

    def told() -> Iterator[DoseMissed]:
        for number, when in enumerate(due_at, 1):
            yield DoseMissed(
                **stamp,
                dose=replace(due(number, 1000, stage), due_at=when),
                reasons=REASONS,
                effects={"alkalinity": PEQ_PER_DKH // 10},
            )

    stamp = stage.stamp()
    stage.append(*told())


def counted(stage: Stage, month: str) -> tuple[int, str]:
    """How many a month's report calls missed, and its page."""
    tanks = stage.run("report", month, "--json").document["tanks"]
    assert isinstance(tanks, list)
    (tank,) = tanks
    missed = sum(one["missed"] for one in tank["doses"])
    return missed, stage.run("report", month).out


def test_a_status_counts_what_was_due_in_24_hours(stage: Stage) -> None:
    """48 hourly doses of a gap in one moment: 24 of them are of this day."""
    now = stage.stamp()["at"]
    miss_all(stage, [now - timedelta(minutes=60 * n + 30) for n in range(48)])
    text = stage.run("status").out
    assert "24 doses in 24 h, the newest of carbonate" in text
    assert ("0", "2.4", "2.4") == tuple(
        f"{float(str(only_tank(stage)[key])):.3g}"
        for key in ("given", "planned", "short")
    )
    missed = stage.run("status", "--json").document["missed_in_24_h"]
    assert isinstance(missed, list)
    assert 24 == len(missed)


def test_a_month_holds_what_was_due_in_it(stage: Stage) -> None:
    """Missed at the end of a month, written down in the next: it stays in its own."""
    now = stage.stamp()["at"]
    end = now.replace(day=1, hour=12) - timedelta(days=1)
    miss_all(stage, [end, end - timedelta(hours=1), end - timedelta(days=40)])
    stage.append(
        SpanMissed(
            **stage.stamp(),
            tank="reef",
            line="carbonate",
            first_due=end - timedelta(hours=9),
            last_due=end - timedelta(hours=2),
            doses=8,
            volume_ul=8000,
            reasons=REASONS,
        )
    )
    before, page = counted(stage, f"{end:%Y-%m}")
    assert 2 == before
    words = " ".join(page.split())
    assert "8 doses of reef/carbonate missed while no daemon was there, from" in words
    after, page = counted(stage, f"{now:%Y-%m}")
    assert 0 == after
    assert "missed while no daemon" not in page
