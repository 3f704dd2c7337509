"""Alkalinity tests by hand, laid into a ledger as they were then."""

from datetime import timedelta

from slackwater.facts.waters import MeasurementKept
from tests.cli.stage import Stage
from tests.cli.test_status import MEQ_PER_DKH


def by_hand(stage: Stage, dkh: float, ago: timedelta, name: str = "m-1") -> None:
    """A test of the reef so long ago, asked about by nobody."""
    stage.append(
        MeasurementKept(
            **stage.stamp(),
            id=name,
            tank="reef",
            parameter="alkalinity",
            value=dkh * MEQ_PER_DKH,
            typed=f"{dkh} dKH",
            taken_at=stage.stamp()["at"] - ago,
            provenance="hand",
            by="keeper",
        )
    )
