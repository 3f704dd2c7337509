"""How alarms stand after their entries, and what is forgotten."""

from datetime import UTC, datetime, timedelta

import pytest

from slackwater.facts.alarms import (
    AlarmChanged,
    AlarmRaised,
    AlarmWord,
    Cause,
    Priority,
    StandingAlarm,
    alarm_id,
)
from slackwater.facts.fold import fold
from slackwater.facts.now import Mark
from slackwater.facts.state import State

START = datetime(2026, 5, 3, 12, 0, tzinfo=UTC)
ABSENT = alarm_id(Cause.NODE_ABSENT, "shelf")


def begun() -> State:
    """A ledger that has just begun."""
    return State(mark=Mark(utc=START, boot_s=0.0, boot_id="boot", proven_ms=0))


def raise_it(
    state: State,
    hours: float = 0.0,
    priority: Priority = "soon",
    *,
    about: str = "shelf",
    reminder: int = 0,
) -> None:
    """A node was not heard, so many hours after the start."""
    fold(
        state,
        AlarmRaised(
            at=START + timedelta(hours=hours),
            boot_s=hours * 3600,
            proven_ms=int(hours * 3_600_000),
            alarm=alarm_id(Cause.NODE_ABSENT, about),
            cause=Cause.NODE_ABSENT,
            about=about,
            priority=priority,
            reminder=reminder,
        ),
    )


def change_it(state: State, to: AlarmWord, hours: float = 0.0, by: str = "") -> None:
    """Somebody said something of it."""
    at = START + timedelta(hours=hours)
    fold(
        state,
        AlarmChanged(
            at=at,
            boot_s=hours * 3600,
            proven_ms=int(hours * 3_600_000),
            alarm=ABSENT,
            to=to,
            by=by or "daemon",
            until=at + timedelta(hours=8) if to == "suppressed" else None,
        ),
    )


def known(state: State) -> StandingAlarm:
    """The alarm of the node."""
    return state.alarms[ABSENT]


def test_an_alarm_begins_active_and_is_acknowledged_with_a_name() -> None:
    """A person saw it; it stands on."""
    state = begun()
    raise_it(state)
    assert ("active", True, True) == (
        known(state).word,
        known(state).is_standing,
        known(state).wants_eyes,
    )
    change_it(state, "acknowledged", 1, by="keeper")
    assert ("acknowledged", "keeper", False) == (
        known(state).word,
        known(state).by,
        known(state).wants_eyes,
    )


def test_what_ended_unseen_still_wants_eyes() -> None:
    """Gone and unseen is another thing than gone and seen (ISA-18.2: RTN unack)."""
    state = begun()
    raise_it(state)
    change_it(state, "returned", 1)
    assert ("returned", True) == (known(state).word, known(state).wants_eyes)
    change_it(state, "acknowledged", 2, by="keeper")
    assert ("returned", False) == (known(state).word, known(state).wants_eyes)


def test_a_reminder_wakes_what_was_acknowledged() -> None:
    """It grew worse: whoever saw it must see it again; it began when it began."""
    state = begun()
    raise_it(state)
    change_it(state, "acknowledged", 1)
    raise_it(state, 3, reminder=10)
    assert ("active", True, START) == (
        known(state).word,
        known(state).wants_eyes,
        known(state).first.at,
    )
    assert 10 == known(state).raised.reminder


@pytest.mark.parametrize(
    ("priority", "word"), [("soon", "suppressed"), ("urgent", "active")]
)
def test_only_what_is_more_pressing_breaks_a_silence(
    priority: Priority, word: AlarmWord
) -> None:
    """A reminder waits for the end of the silence; a higher priority does not."""
    state = begun()
    raise_it(state)
    change_it(state, "suppressed", 1)
    raise_it(state, 2, priority, reminder=25)
    assert word == known(state).word


def test_a_silence_that_ends_leaves_it_active() -> None:
    """And takes its end away."""
    state = begun()
    raise_it(state)
    change_it(state, "suppressed", 1)
    assert START + timedelta(hours=9) == known(state).until
    change_it(state, "active", 9)
    assert ("active", None) == (known(state).word, known(state).until)


def test_an_alarm_that_comes_back_within_a_day_is_counted() -> None:
    """The same trouble again; after a quiet day it is a new one."""
    state = begun()
    for hours in (0, 5, 10):
        raise_it(state, hours)
        change_it(state, "returned", hours + 1)
    assert 3 == known(state).times
    raise_it(state, 40)
    assert 1 == known(state).times
    assert START + timedelta(hours=40) == known(state).first.at


def test_what_ended_is_forgotten_after_a_week() -> None:
    """Standing ones are kept for as long as they stand."""
    state = begun()
    raise_it(state)
    raise_it(state, about="rack")
    change_it(state, "returned", 1)
    raise_it(state, 24 * 7, about="closet")
    assert {"node-absent.shelf", "node-absent.rack", "node-absent.closet"} == set(
        state.alarms
    )
    raise_it(state, 24 * 7 + 2, about="closet")
    assert {"node-absent.rack", "node-absent.closet"} == set(state.alarms)


def test_the_times_of_ten_tellings_are_kept() -> None:
    """Enough to know whether there were ten within ten minutes."""
    state = begun()
    for number in range(13):
        raise_it(state, number)
    assert [hours * 3_600_000 for hours in range(3, 13)] == state.told_ms


def test_a_word_about_an_unknown_alarm_changes_nothing() -> None:
    """It may have been forgotten meanwhile."""
    state = begun()
    change_it(state, "acknowledged")
    assert {} == state.alarms
