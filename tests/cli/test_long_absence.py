"""Doses that one entry missed all together are named wherever doses are listed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import SpanMissed
from slackwater.facts.reasons import Code, because
from tests.cli.stage import Stage, stage_of
from tests.cli.test_ledger import missed

BEGIN = datetime(2026, 5, 1, 1, tzinfo=UTC)
NAMES = ("reef/carbonate@2026-05-01#03", "reef/carbonate@2026-05-02#11")


@pytest.fixture
def stage(tmp_path: Path) -> Stage:
    """The smallest sample, in which nobody was there on the first two days of May."""
    stage = stage_of(tmp_path)
    assert 0 == stage.approve("--now").code
    stage.append(
        SpanMissed(
            **stage.stamp(),
            tank="reef",
            line="carbonate",
            first_due=BEGIN,
            last_due=BEGIN + timedelta(hours=43),
            doses=44,
            volume_ul=44_000,
            reasons=(because(Code.WINDOW_PASSED), because(Code.NOT_RUNNING)),
        )
    )
    return stage


@pytest.mark.parametrize("rows", ["days", "doses"])
def test_they_stand_below_the_rows_they_are_not_in(stage: Stage, rows: str) -> None:
    """Else a table that looks whole hides two days."""
    stage.append(missed(stage, 3, 1))
    text = " ".join(stage.run("ledger", "--rows", rows).out.split())
    assert "reef/carbonate: 44 doses, 44 mL, missed in a long absence" in text
    assert f"in no row of these {rows}." in text
    document = stage.run("ledger", "--rows", rows, "--json").document
    absences = document["long_absences"]
    assert isinstance(absences, list)
    assert [("reef/carbonate", 44, 44_000)] == [
        (one["line"], one["doses"], one["volume_ul"]) for one in absences
    ]


def test_they_are_left_out_where_a_time_or_a_dose_leaves_them_out(stage: Stage) -> None:
    """What was asked for is a time before they were written, or one dose."""
    for words in (("--until", "2026-05-20"), ("--dose", "reef/trace@2026-05-03#01")):
        found = stage.run("ledger", "--rows", "days", *words, "--json").document
        assert [] == found["long_absences"]


@pytest.mark.parametrize("name", NAMES)
def test_why_names_the_absence_of_a_dose(stage: Stage, name: str) -> None:
    """A dose without a row of its own is no unknown dose."""
    told = stage.run("why", name)
    assert (1, True) == (told.code, told.out.startswith(f"{name}  missed"))
    assert "44 doses" in told.out
    document = stage.run("why", name, "--json").document
    assert "missed" == document["became"]


@pytest.mark.parametrize(
    "name",
    [
        "reef/carbonate@2026-04-30#03",
        "reef/carbonate@2026-05-21#03",
        "reef/calcium@2026-05-02#03",
        "bay/carbonate@2026-05-02#03",
        "reef/carbonate@someday#03",
    ],
)
def test_a_dose_of_another_day_or_line_stays_unknown(stage: Stage, name: str) -> None:
    """The absence speaks for its own line and days alone."""
    told = stage.run("why", name)
    assert 2 == told.code
    assert "nobody knows a dose" in told.err
