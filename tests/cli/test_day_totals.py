"""`check` says how closely the total of a day is known, and what would be closer.

The interval itself is compared with scipy in `tests/pump/test_day_total.py`, and with
invented pumps in `tests/cli/test_runs.py`; 1 % is a goal of the project's own.
"""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from slackwater.facts.safeguards import TubeSwapped
from slackwater.pump.day_total import day_within_percent
from slackwater.pump.flow import MeasuredRun
from tests.cli.run_program import SMALLEST, changed, run
from tests.cli.stage import Stage, stage_of

# Twenty shots of 1 s and of 3 s, 0.5 mL a second; the second pump scatters more.
STEADY = ((20_000, 9_980), (60_000, 30_010), (20_000, 10_010), (60_000, 29_990))
UNSTEADY = ((20_000, 9_960), (60_000, 30_090), (20_000, 10_045), (60_000, 29_930))


def measured(stage: Stage, runs: tuple[tuple[int, int], ...], smallest_ul: int) -> None:
    """The carbonate pump was measured so; three rounds of such runs."""
    stage.commission("carbonate")
    known = stage.folded().calibrations["carbonate"]
    stage.append(
        replace(
            known,
            **stage.stamp(),
            runs=runs * 3,
            shots_each=20,
            smallest_ul=smallest_ul,
        )
    )


def told(stage: Stage) -> tuple[dict[str, Any], str]:
    """What is told of the carbonate line, as a document and as a page."""
    document = stage.run("check", "--json").document
    (line,) = [
        one
        for one in document["day_totals"]  # type: ignore[attr-defined]  # a list of tables
        if one["line"] == "reef/carbonate"
    ]
    return line, " ".join(stage.run("check").out.split())


def test_without_a_calibration_nothing_is_known() -> None:
    """No ledger, no figure; the page says how to come to one."""
    lines = run("check", "--config", SMALLEST, "--json").document["day_totals"]
    assert [None, None] == [one["within_percent"] for one in lines]  # type: ignore[attr-defined]  # a list of tables
    page = run("check", "--config", SMALLEST).out
    assert "not yet: slackwater calibrate carbonate" in page


def test_a_steady_pump_is_told_with_its_figure_and_no_warning(tmp_path: Path) -> None:
    """12 doses of 3 mL, by the interval of such runs; a bound is rounded up."""
    stage = stage_of(tmp_path)
    measured(stage, STEADY, 500)
    line, page = told(stage)
    runs = [MeasuredRun(ran_ms=ms, volume_ul=ul, shots=20) for ms, ul in STEADY * 3]
    expected = day_within_percent(runs, 3000, 12, one_length=False)
    assert line["within_percent"] == pytest.approx(expected, abs=0.005)
    assert 0.7 < expected < 1
    assert line["doses_enough"] is None
    assert "Warning: reef/carbonate is within" not in page


def test_more_doses_are_told_where_they_make_it_one_percent(tmp_path: Path) -> None:
    """The least number that does, and with how much; the page warns in words."""
    stage = stage_of(tmp_path)
    measured(stage, UNSTEADY, 500)
    line, page = told(stage)
    count = line["doses_enough"]
    assert line["within_percent"] > 1 >= line["within_percent_then"]
    assert count > 12
    assert f"more than 1 %; {count} doses of" in page


def test_no_more_doses_are_told_than_are_reliable(tmp_path: Path) -> None:
    """Where doses so small are not vouched for, the figure stands alone."""
    stage = stage_of(tmp_path)
    measured(stage, UNSTEADY, 2_900)
    line, page = told(stage)
    assert line["within_percent"] > 1
    assert line["doses_enough"] is None
    assert "would make it" not in page


def test_a_calibration_without_its_runs_tells_nothing(tmp_path: Path) -> None:
    """Entries of earlier versions hold a rate alone."""
    stage = stage_of(tmp_path, changed(tmp_path / "config", SMALLEST))
    stage.commission("carbonate")
    line, page = told(stage)
    assert (None, True) == (line["within_percent"], line["measured_at"] is not None)
    assert "but its runs are not kept" in page


def test_a_new_tube_makes_what_was_measured_unknown(tmp_path: Path) -> None:
    """No figure stands beside it, the page warns, and a new calibration ends that."""
    stage = stage_of(tmp_path)
    measured(stage, STEADY, 500)
    stage.append(TubeSwapped(**stage.stamp(), pump="carbonate", by="keeper"))
    line, page = told(stage)
    assert (None, None) == (line["within_percent"], line["doses_enough"])
    assert line["tube_swapped_at"] >= line["measured_at"]
    assert (
        "Warning: reef/carbonate: not known: the tube was swapped after it was measured"
        in page
    )
    assert "slackwater calibrate carbonate" in page
    measured(stage, STEADY, 500)
    line, page = told(stage)
    assert line["within_percent"] < 1
    assert line["tube_swapped_at"] is None
    assert "tube was swapped after" not in page
