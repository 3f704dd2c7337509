"""Every sample of `config/`, rehearsed: the audit's own code finds each dose approved.

The rehearsal decides by the real turn; what it intends is looked at as the daemon looks
at an intent before it is written.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from slackwater.audit.consent import consent_of
from slackwater.audit.history import History, Standing
from slackwater.audit.intents import departures
from slackwater.cli.reading import read_files
from slackwater.facts.doses import DoseIntended
from slackwater.facts.events import AnyEvent
from slackwater.facts.sight import Sight
from slackwater.facts.state import State
from slackwater.rehearsal.rehearsal import rehearse
from tests.audit.books import approved
from tests.cli.run_program import CONFIG

SAMPLES = sorted(path.parent for path in CONFIG.glob("*/plan.toml"))
DAYS = 4


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
def test_each_dose_of_a_sample_is_as_approved(sample: Path) -> None:
    """Several days of it: nothing departs, whatever drives its pumps."""
    files = read_files(sample)
    intents: list[DoseIntended] = []

    def watch(event: AnyEvent, _state: State, _sight: Sight) -> None:
        if isinstance(event, DoseIntended):
            intents.append(event)

    rehearse(files.machine, files.plan, files.plan.starts, DAYS, watch)
    starts = files.plan.starts - timedelta(days=2)
    at = datetime.combine(starts, datetime.min.time(), UTC)
    entry = approved(1, at, (files.machine, files.plan))
    standing = Standing(consent=consent_of(entry), at=at, from_order=0)
    history = History(approvals=[standing])
    assert len(intents) > DAYS
    assert [] == [one for each in intents for one in departures(history, each, 1)]
