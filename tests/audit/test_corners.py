"""What is not decided yet, long absences, kinds nobody knows, pumps that are gone."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.audit.reasons import Missing
from slackwater.facts.doses import SpanMissed
from slackwater.facts.events import ShotRequested
from slackwater.facts.reasons import Code, because
from tests.audit.books import BEGIN, DAY, Days, ended, intended, stamp, wrongs
from tests.ledger.audit_samples import inputs

HOUR = timedelta(hours=1)


def halfway() -> Days:
    """Only the first twelve hours were dosed."""
    days = Days()
    for intent in days.intents():
        if intent.at >= BEGIN + 12 * HOUR:
            days.drop(intent)
    return days


def test_what_may_still_begin_is_pending() -> None:
    """Asked at noon, the afternoon's doses are no gaps."""
    days = halfway()
    noon = BEGIN + 12 * HOUR
    found = days.audited(BEGIN + DAY, now=noon, decided_at=noon)
    assert ([], []) == (found.departures, found.missing)
    assert 8 == found.pending


def test_a_daemon_that_shows_no_sign_of_life_is_off() -> None:
    """It decided nothing since noon: what it missed it has not written down yet."""
    found = halfway().audited(BEGIN + DAY, decided_at=BEGIN + 12 * HOUR)
    assert [] == found.departures
    assert {Missing.OFF} == {one.reason for one in found.missing}
    assert 8 == len(found.missing)


def test_a_long_absence_may_be_one_entry() -> None:
    """A span says why for every dose of its line within it, and for no other line."""
    days = halfway()
    days.live.append(
        SpanMissed(
            **stamp(BEGIN + 2 * DAY),
            tank="reef",
            line="carbonate",
            first_due=BEGIN + 12 * HOUR,
            last_due=BEGIN + 2 * DAY,
            doses=18,
            volume_ul=54_000,
            reasons=(because(Code.NOT_RUNNING),),
        )
    )
    found = days.audited()
    assert {Missing.OFF} == {one.reason for one in found.missing}
    assert {"reef/carbonate"} == {one.dose.split("@")[0] for one in found.missing}
    assert {"reef/trace"} == {name.split("@")[0] for _, name in wrongs(found)}


def test_a_kind_nobody_knows_is_extra() -> None:
    """Whatever a later version may call it, this one did not approve of it."""
    days = Days()
    intent = days.one()
    days.change(intent, dose_kind="a later kind")
    found = days.audited()
    assert [("extra", intent.dose.id)] == list(wrongs(found))
    assert "nobody knows a dose of kind a later kind" == found.departures[0].what
    assert (1, 0) == (found.count("extra"), found.count("altered"))


def test_a_pump_that_was_never_approved_is_altered() -> None:
    """Neither its place nor its device can be told."""
    days = Days()
    intent = days.one()
    days.live.insert(days.live.index(intent), inputs(stamp(intent.at)))
    days.change(intent, dose=replace(intent.dose, pump="unknown"))
    found = [what for what in days.audited().departures if what.dose == intent.dose.id]
    assert ["altered"] == [one.wrong for one in found]
    assert "pump unknown instead of carbonate-reef" == found[0].what


@pytest.mark.parametrize(("in_water", "wrong"), [(False, []), (True, ["altered"])])
def test_a_calibration_run_is_not_counted_as_given(
    wrong: list[str], *, in_water: bool
) -> None:
    """Its outlet hangs in a cylinder."""
    days = Days()
    shot = replace(days.doses()[0], id="shot-1", line="")
    days.rules.append(
        ShotRequested(
            **stamp(shot.due_at),
            request="shot-1",
            pump=shot.pump,
            volume_ul=shot.volume_ul,
            until=shot.due_at + HOUR,
            by="keeper",
        )
    )
    at = shot.due_at + timedelta(seconds=9)
    made = replace(
        intended(shot, days.machine, at), dose_kind="calibrate", in_water=in_water
    )
    days.live += [made, ended(made)]
    assert wrong == [one.wrong for one in days.audited().departures]
