"""The page of an audit: every line a person may meet, within eighty columns."""

from datetime import timedelta

import pytest

from slackwater.cli.audit_text import audit_text
from slackwater.facts.doses import DoseHanded
from slackwater.facts.events import PumpsDisabled
from slackwater.facts.reasons import Code
from slackwater.service.replaying import Difference, Replay
from tests.audit.books import BEGIN, DAY, Days, ended, missed, stamp

HOUR = timedelta(hours=1)
SCREEN = 80


@pytest.fixture(autouse=True)
def screen(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal of eighty columns."""
    monkeypatch.setenv("COLUMNS", str(SCREEN))


def test_what_is_missing_is_counted_and_listed() -> None:
    """By reason, the first twenty by name, and that nothing is made up."""
    days = Days()
    for intent in days.intents():
        days.drop(intent)
        days.live.append(missed(intent.dose, Code.NODE_ABSENT))
    text = audit_text(days.audited())
    assert "Missing   32, will not be made up: 32 node away" in text
    assert "  reef/carbonate@2026-05-03#01  3 mL  node away" in text
    assert "  and 12 more; --json lists all" in text
    assert max(map(len, text.splitlines())) <= SCREEN


def test_imagined_doses_are_called_so() -> None:
    """From noon of the first day on pumps were disabled."""
    days = Days()
    noon = BEGIN + 12 * HOUR
    days.rules.append(PumpsDisabled(**stamp(noon - HOUR / 2), by="keeper"))
    for intent in days.intents():
        if intent.at >= noon - HOUR / 2:
            days.drop(intent)
            days.shadow += [intent, ended(intent)]
    text = audit_text(days.audited())
    assert "Dosed     8 doses" in text
    assert "Imagined  24 doses" in text
    assert "would have flowed" in text
    assert " shadow\n" in f"{text}\n"
    assert " live\n" in text


def test_departures_stand_under_their_kind() -> None:
    """The kind with its sentence, then every dose and what was wrong with it."""
    days = Days()
    for intent in days.intents():
        for second in (1, 2):
            at = stamp(intent.at + timedelta(seconds=second))
            handed = DoseHanded(**at, attempt=intent.command.attempt, certain=True)
            days.live.append(handed)
    text = audit_text(days.audited())
    assert "DUPLICATE: begun more than once" in text
    assert "its command left 2 times" in text
    assert "duplicate 32" in text


def test_doses_ahead_are_told() -> None:
    """In the middle of a day."""
    days = Days()
    noon = BEGIN + 12 * HOUR
    for intent in days.intents():
        if intent.at >= noon:
            days.drop(intent)
    found = days.audited(BEGIN + DAY, now=noon, decided_at=noon)
    assert "Ahead     8 doses may still begin" in audit_text(found)


def test_a_replay_shows_then_and_now() -> None:
    """The first forty doses in both ways, and how many more there are."""
    different = [
        Difference(
            dose=f"reef/carbonate@2026-05-03#{number:02d}",
            at=BEGIN,
            then="granted 3000 uL in 3000 ms, cut 3450 ms",
            now="nothing",
        )
        for number in range(1, 43)
    ]
    text = audit_text(Days().audited(), Replay(decisions=50, differences=different))
    assert "Replayed  50 live decisions" in text
    assert "those of a shadow run are not replayed" in text
    assert "42 differ" in text
    assert "    then granted 3000 uL in 3000 ms, cut 3450 ms\n    now  nothing" in text
    assert "  and 2 more; --json lists all" in text
