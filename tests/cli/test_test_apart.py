"""A newest test that does not fit the others: every verb says so, and none hides it.

The floor of the smallest sample is 6.5 dKH; all tests are invented.
"""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.stage import Stage, stage_of
from tests.cli.test_status import live


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A plan, five tests on the way to 7.8 of four days ago, and 6.1 just now."""
    made = stage_of(tmp_path)
    made.nothing_dosed(12)
    assert 0 == made.approve("--now").code
    now: datetime = made.stamp()["at"]
    for back in (8, 7, 6, 5, 4, 0):
        dkh = 7.4 + 0.1 * back if back else 6.1
        at = now - timedelta(days=back, minutes=10)
        words = (f"alkalinity={dkh:.2f} dKH", "--at", at.isoformat(timespec="seconds"))
        assert 0 == made.run("record", *words, "--confirm", "--by", "keeper").code
    return made


def one_line(text: str) -> str:
    """The words of a page, however it is wrapped."""
    return " ".join(text.split())


def test_an_assessment_says_that_the_newest_test_stands_apart(stage: Stage) -> None:
    """Beside the level it is not in, with its age; and no test of now is called old."""
    told = one_line(stage.run("assess").out)
    assert "- - 6.10 ±0.11 0 h apart: test again" in told
    assert "The newest test, 6.10 dKH of " in told
    assert "stands apart and waits for a retest" in told
    assert "The newest test that fits is 4 days old and counts 3" in told
    assert "The newest test is 4 days old" not in told


def test_no_result_of_today_is_called_four_days_old(stage: Stage) -> None:
    """Where a proposal says what would make it surer."""
    told = one_line(stage.run("propose").out)
    assert "the newest result is 4 days old" not in told
    assert "stands apart, and the newest that fits is 4 days old" in told


def test_a_document_has_the_test_that_waits(stage: Stage) -> None:
    """With its value and its age."""
    found = stage.run("assess", "--json").document["standings"]
    assert isinstance(found, dict)
    alkalinity = found["alkalinity"]
    assert 6.1 * 0.356652 == pytest.approx(alkalinity["waiting"]["value"], rel=1e-3)
    assert 1 > 24 * alkalinity["waiting_age_days"]


def test_a_rehearsal_begins_at_the_level_that_a_status_believes(tmp_path: Path) -> None:
    """6.1 of 31 hours ago, and nothing given since: about 4.8 by now, in both."""
    made = live(stage_of(tmp_path))
    made.nothing_dosed(12)
    now: datetime = made.stamp()["at"]
    for back, dkh in ((8, 8.2), (7, 8.1), (6, 8.0), (5, 7.9), (31 / 24, 6.1)):
        at = (now - timedelta(days=back)).isoformat(timespec="seconds")
        words = (f"alkalinity={dkh} dKH", "--at", at, "--confirm", "--by", "keeper")
        assert 0 == made.run("record", *words).code
    status = one_line(made.run("status").out)
    assert "Alkalinity 6.10 dKH, 1 d 7 h old (by hand); about 4.81 dKH by now" in status
    forecast = one_line(made.run("rehearse", "--full").out).split("Forecast ")[1]
    assert forecast.startswith("reef alkalinity: 4.81 dKH now")
    assert "from its last test, as believed at " in forecast
