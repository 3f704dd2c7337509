"""How much of the past an assessment is given."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from slackwater.cli.opening import opened
from slackwater.errors import InputError
from slackwater.facts.history import Span
from slackwater.facts.safeguards import TubeSwapped
from slackwater.outside.settings import read_machine
from slackwater.service.assessing import LookBack, assessed
from tests.assessment.past import measured
from tests.cli.run_program import SMALLEST, changed
from tests.cli.stage import Stage, stage_of
from tests.cli.test_propose import MEQ_PER_DKH, OLD_SODA, dosed_by_hand
from tests.facts.diary import Diary, calibrated


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """A fresh ledger with a calcium test of 30 and one of 100 days ago."""
    stage = stage_of(tmp_path)
    stamp = stage.stamp()
    for days in (30, 100):
        test = replace(measured("calcium", 420, days), **stamp, tank="reef")
        stage.append(replace(test, taken_at=stamp["at"] - timedelta(days=days)))
    return stage


@pytest.mark.parametrize(("days", "tests"), [(200, 2), (90, 1), (40, 1), (20, 0)])
def test_so_many_days_are_read(stage: Stage, days: int, tests: int) -> None:
    """And no more."""
    machine = read_machine(stage.config)
    with opened(stage.state) as found:
        made = assessed(
            found.ledger,
            machine,
            "reef",
            found.now.utc,
            LookBack(taken_over={}, days=days),
        )
    points = [point for one in made.series for point in one.points]
    assert tests == len(points)


def test_an_unknown_tank_is_refused(stage: Stage) -> None:
    """One clear error."""
    machine = read_machine(stage.config)
    with opened(stage.state) as found, pytest.raises(InputError, match="lagoon"):
        assessed(
            found.ledger, machine, "lagoon", found.now.utc, LookBack(taken_over={})
        )


@pytest.mark.parametrize(
    ("days_ago", "low", "high"), [(None, 0.8, 1.0), (9, -0.1, 0.1)]
)
def test_an_old_doser_counts_until_its_line_was_taken_over(
    tmp_path: Path, days_ago: int | None, low: float, high: float
) -> None:
    """A level that stands: used up is what the old one gave, afterwards nothing."""
    config = changed(tmp_path / "config", SMALLEST, slackwater=("\n[broker]", OLD_SODA))
    stage = stage_of(tmp_path, config)
    stage.append(*(e for e in dosed_by_hand(stage, 0) if e.kind == "measurement_kept"))
    taken_over: dict[str, tuple[Span, ...]] = {}
    if days_ago is not None:
        at = stage.stamp()["at"] - timedelta(days=days_ago)
        taken_over["reef/carbonate"] = ((at, None),)
    with opened(stage.state) as found:
        back = LookBack(taken_over=taken_over)
        machine = read_machine(stage.config)
        made = assessed(found.ledger, machine, "reef", found.now.utc, back)
    assert low < made.uptakes["alkalinity"].per_day / MEQ_PER_DKH < high


def test_a_pump_begins_anew_with_a_calibration_or_a_tube() -> None:
    """The later of both, and nothing of a pump that had neither."""
    diary = Diary()
    diary.write(calibrated(diary))
    measured_at = diary.at
    assert {"carbonate": measured_at} == dict(LookBack.of(diary.state).renewed)
    diary.wait(timedelta(days=3))
    diary.write(TubeSwapped(**diary.stamp, pump="carbonate", by="keeper"))
    assert {"carbonate": diary.at} == dict(LookBack.of(diary.state).renewed)
    diary.wait(timedelta(days=1))
    diary.write(calibrated(diary))
    assert {"carbonate": diary.at} == dict(LookBack.of(diary.state).renewed)
