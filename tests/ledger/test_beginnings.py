"""What is known of the time before a ledger was made."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from slackwater.facts.events import LedgerMade
from slackwater.facts.history import History
from slackwater.facts.waters import HusbandryNoted
from slackwater.ledger.history import read_history
from slackwater.ledger.store import LedgerFile
from tests.ledger.pasts import BEGIN, END
from tests.ledger.samples import made
from tests.ledger.years import DAY, stamped

HOUR = timedelta(hours=1)
BORN = BEGIN + timedelta(hours=10, minutes=20)
HOURS = 24


def history(folder: Path, first: LedgerMade, *noted: HusbandryNoted) -> History:
    """The past of the reef by a ledger with this beginning."""
    with LedgerFile.create(folder / "live.ledger", first) as ledger:
        ledger.append(noted)
        return read_history(ledger, "reef", BEGIN - 60 * DAY, END)


def beginning(*, answered: bool, alkalinity: int = 0) -> LedgerMade:
    """A first entry with what the last day brought."""
    effects = {"reef": {"alkalinity": alkalinity}, "other": {"alkalinity": 7}}
    return replace(made(), **stamped(BORN), answered=answered, effects=effects)


def undosed(since: datetime, tank: str = "reef") -> HusbandryNoted:
    """A person says that nothing was dosed since then."""
    return HusbandryNoted(
        **stamped(BORN + HOUR),
        id="h-1",
        tank=tank,
        what="nothing_dosed",
        happened_at=since,
        by="keeper",
    )


def cases() -> Iterator[tuple[bool, tuple[HusbandryNoted, ...], datetime]]:
    """Whether init was answered, what was noted, and from when all is known."""
    yield False, (), BORN
    yield True, (), BORN - DAY
    yield True, (undosed(BORN - 9 * DAY),), BORN - 9 * DAY
    yield False, (undosed(BORN - 99 * DAY),), BORN - 99 * DAY
    yield True, (undosed(BORN - 9 * DAY, tank="other"),), BORN - DAY


@pytest.mark.parametrize(("answered", "noted", "since"), list(cases()))
def test_what_came_in_is_known_since(
    tmp_path: Path,
    answered: bool,
    noted: tuple[HusbandryNoted, ...],
    since: datetime,
) -> None:
    """Since the beginning, a day before where that was said, or a person's word."""
    found = history(tmp_path, beginning(answered=answered), *noted)

    assert since == found.known_since


def test_the_answer_of_the_beginning_is_spread_over_its_day(tmp_path: Path) -> None:
    """Whole numbers that add up, in the 24 hours before, of this tank alone."""
    found = history(tmp_path, beginning(answered=True, alkalinity=1001)).deliveries

    assert HOURS == len(found)
    assert 1001 == sum(one.amounts["alkalinity"] for one in found)
    assert found[0].at == BEGIN + 10 * HOUR - DAY
    assert found[-1].at == BEGIN + 9 * HOUR
    assert {41, 42} == {one.amounts["alkalinity"] for one in found}
