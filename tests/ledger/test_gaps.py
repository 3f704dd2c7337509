"""Absences of the daemon: where they begin and end, and when they matter."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal, get_args

import pytest

from slackwater.facts.audits import Audited
from slackwater.facts.events import (
    AnyEvent,
    HoldRaised,
    PumpsDisabled,
    PumpsEnabled,
    Started,
    Stopped,
    WatchKept,
)
from slackwater.facts.reasons import Code, because
from slackwater.ledger.gaps import OWN, gaps
from slackwater.ledger.reader import ROWS_AT_ONCE
from tests.ledger.pasts import BEGIN, HOUR, ledger_of
from tests.ledger.years import MINUTE, given, stamped

# What a person, a verb or a timer of its own may write while no daemon is there.
OTHERS = {
    "added_by_hand",
    "alarm_changed",
    "alarm_raised",
    "audited",
    "away_declared",
    "away_ended",
    "bottle_moved",
    "bypass_ended",
    "bypass_granted",
    "calibrated",
    "clock_confirmed",
    "half_began",
    "hold_raised",
    "hold_released",
    "entry_settled",
    "husbandry_noted",
    "ledger_made",
    "ledger_restored",
    "level_measured",
    "line_given_back",
    "line_taken_over",
    "measurement_kept",
    "measurement_struck",
    "plan_approved",
    "plan_withdrawn",
    "probe_put_back",
    "probe_taken_out",
    "pumps_disabled",
    "pumps_enabled",
    "relay_checked",
    "report_imported",
    "request_taken_back",
    "reservoir_filled",
    "sample_taken",
    "shot_requested",
    "standard_checked",
    "task_closed",
    "task_set",
    "tube_swapped",
    "water_changed",
}

Mode = Literal["shadow", "live", "calibrate"]


def started(at: datetime, mode: Mode = "live") -> Started:
    """Somebody takes charge."""
    return Started(**stamped(at), version="0", boot_id="b", fence=1, mode=mode)


def stopped(at: datetime) -> Stopped:
    """A clean end."""
    return Stopped(**stamped(at), why="asked to stop")


def enabled(at: datetime) -> PumpsEnabled:
    """A person lets the daemon dose."""
    return PumpsEnabled(**stamped(at), by="keeper", serial=1)


def disabled(at: datetime) -> PumpsDisabled:
    """Back to shadow."""
    return PumpsDisabled(**stamped(at), by="keeper")


def held(at: datetime) -> HoldRaised:
    """A person's hold, while nobody else is there."""
    return HoldRaised(
        **stamped(at),
        hold_id=f"hold/{at:%H%M%S}",
        scope="all",
        reason=because(Code.MANUAL_HOLD),
        latched=True,
        by="keeper",
    )


def found(folder: Path, *events: AnyEvent, until_h: float = 48) -> list[list[float]]:
    """The absences in hours since the beginning; live from the first minute on."""
    until = BEGIN + until_h * HOUR
    with ledger_of(folder, enabled(BEGIN + MINUTE), *events) as ledger:
        return [
            [(moment - BEGIN) / HOUR for moment in (gap.begins, gap.ends)]
            for gap in gaps(ledger, BEGIN, until)
        ]


def audited(at: datetime) -> Audited:
    """The daily audit found nothing."""
    return Audited(
        **stamped(at), since=BEGIN, until=at, doses=0, given=0, missing=0, by="audit"
    )


def hour(number: float) -> datetime:
    """A moment so many hours after the beginning."""
    return BEGIN + number * HOUR


def test_an_absence_lasts_from_the_clean_end_to_the_next_start(tmp_path: Path) -> None:
    """What a person wrote meanwhile changes nothing."""
    events = (started(hour(1)), stopped(hour(5)), held(hour(6)), started(hour(9)))

    assert [[5, 9]] == found(tmp_path, *events, until_h=20)


@pytest.mark.parametrize(("away", "expected"), [(59 * MINUTE, []), (HOUR, [[5, 6]])])
def test_a_restart_is_no_absence(
    tmp_path: Path, away: timedelta, expected: list[list[float]]
) -> None:
    """What is shorter than the hour of a delivery does not count."""
    events = (started(hour(1)), stopped(hour(5)), started(hour(5) + away))

    assert expected == found(tmp_path, *events, until_h=20)


def test_after_a_crash_it_begins_with_the_last_entry_of_the_daemon(
    tmp_path: Path,
) -> None:
    """No end was written; the dose's end at 4:00:02 was the last sign of life."""
    dose = given("carbonate", hour(4))
    events = [started(hour(1)), *dose, held(hour(6)), started(hour(9))]
    ((begins, ends),) = found(tmp_path, *events, until_h=20)

    assert pytest.approx((4 + 2 / 3600, 9)) == (begins, ends)


def test_more_entries_of_people_than_a_page_hide_no_crash(tmp_path: Path) -> None:
    """It then begins with the oldest entry looked at: too short, never unseen."""
    people = [held(hour(6) + timedelta(seconds=n)) for n in range(ROWS_AT_ONCE)]
    events: list[AnyEvent] = [started(hour(1)), *people, started(hour(9))]

    assert [[6, 9]] == found(tmp_path, *events, until_h=20)


def test_the_daily_audit_hides_no_absence(tmp_path: Path) -> None:
    """It runs by a timer of its own, also while no daemon does."""
    audits = [audited(hour(day * 24)) for day in (1, 2)]
    events: list[AnyEvent] = [started(hour(1)), *audits, started(hour(60))]

    assert [[1, 60]] == found(tmp_path, *events, until_h=70)


def test_every_entry_is_a_daemons_own_or_may_be_written_by_another() -> None:
    """A new kind has to be put on one side; a verb writes none of a daemon's own.

    `stopped` and the outcomes of shots are written by calibration sessions, too.
    """
    kinds = {kind.__dataclass_fields__["kind"].default for kind in get_args(AnyEvent)}

    assert set(OWN) | OTHERS == kinds
    assert not OTHERS & set(OWN)


def test_a_calibration_session_is_no_daemon(tmp_path: Path) -> None:
    """It ends no absence and begins none, even if it crashes."""
    events = (
        started(hour(1)),
        stopped(hour(5)),
        started(hour(6), "calibrate"),
        stopped(hour(7)),
        started(hour(8), "calibrate"),
        started(hour(9)),
    )

    assert [[5, 9]] == found(tmp_path, *events, until_h=20)


def test_a_session_after_a_crash_does_not_hide_it(tmp_path: Path) -> None:
    """The daemon was gone since its last entry."""
    events = (started(hour(1)), started(hour(6), "calibrate"), started(hour(9)))

    assert [[1, 9]] == found(tmp_path, *events, until_h=20)


def test_before_the_first_daemon_there_is_none(tmp_path: Path) -> None:
    """A session that calibrates comes before any plan."""
    events = (started(hour(1), "calibrate"), stopped(hour(2)), started(hour(9)))

    assert [] == found(tmp_path, *events, until_h=20)


@pytest.mark.parametrize(
    ("until_h", "expected"), [(20, []), (27, []), (27.1, [[1, 27.1]])]
)
def test_a_daemon_that_is_silent_for_over_a_day_is_gone(
    tmp_path: Path, until_h: float, expected: list[list[float]]
) -> None:
    """It writes a checkpoint each day; 26 hours after its last entry it is missed."""
    assert expected == found(tmp_path, started(hour(1)), until_h=until_h)


def test_an_absence_that_goes_on_ends_with_the_stretch(tmp_path: Path) -> None:
    """Stopped for good."""
    events = (started(hour(1)), stopped(hour(5)))

    assert [[5, 48]] == found(tmp_path, *events)


def test_only_while_pumps_are_enabled(tmp_path: Path) -> None:
    """In shadow nobody commands a pump, whether the daemon is there or not."""
    events = (
        started(hour(1)),
        stopped(hour(5)),
        disabled(hour(7)),
        disabled(hour(8)),
        enabled(hour(10)),
        enabled(hour(11)),
        started(hour(15)),
    )

    assert [[5, 7], [10, 15]] == found(tmp_path, *events, until_h=20)


def test_only_what_lies_in_the_stretch(tmp_path: Path) -> None:
    """Cut off at both ends."""
    events = (enabled(BEGIN), started(hour(1)), stopped(hour(5)), started(hour(9)))
    with ledger_of(tmp_path, *events) as ledger:
        parts = [
            [(gap.begins, gap.ends) for gap in gaps(ledger, hour(a), hour(b))]
            for a, b in ((6, 8), (0, 5), (9, 12))
        ]

    assert [[(hour(6), hour(8))], [], []] == parts


def test_a_watch_kept_is_a_sign_of_life(tmp_path: Path) -> None:
    """So is any other entry that no person writes."""
    events = (started(hour(1)), WatchKept(**stamped(hour(25))))

    assert [] == found(tmp_path, *events, until_h=50)
