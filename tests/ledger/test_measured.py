"""Tests of the water by their own time, and what became of each."""

from dataclasses import replace
from pathlib import Path

from slackwater.facts.waters import MeasurementStruck
from slackwater.ledger.measured import all_measured
from tests.ledger.pasts import BEGIN, HOUR, ledger_of
from tests.ledger.water_samples import measured
from tests.ledger.years import DAY, stamped

SINCE = BEGIN + 2 * DAY


def test_what_became_of_each_is_said(tmp_path: Path) -> None:
    """Struck counts before superseded; who did it and why, or what took its place."""
    tests = [
        replace(measured(), **stamped(SINCE), id=name, supersedes=old, taken_at=SINCE)
        for name, old in (("m-1", ""), ("m-2", "m-1"), ("m-3", "m-2"))
    ]
    strike = MeasurementStruck(
        **stamped(SINCE + HOUR), measurement="m-2", by="keeper", why="wrong tank"
    )
    with ledger_of(tmp_path, *tests, strike) as ledger:
        found = all_measured(ledger, "reef", SINCE, SINCE + DAY)

    assert [
        ("m-1", "superseded", "m-2", ""),
        ("m-2", "struck", "keeper", "wrong tank"),
        ("m-3", "", "", ""),
    ] == [(one.kept.id, one.mark, one.by, one.why) for one in found]
