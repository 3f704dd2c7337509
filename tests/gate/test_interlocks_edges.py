"""Interlocks at the very moment, volume and order at which their word changes.

Limits are those of the scene: 200 MB of room, a minute after the start, a beat of 15 s.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.reasons import Code
from slackwater.gate.interlocks import refusals
from tests.facts.diary import Diary, attempt
from tests.gate.scene import NOW, PROVEN_MS, ask, beat, moment
from tests.gate.test_edges import the
from tests.gate.test_interlocks import codes, hold
from tests.gate.test_stores import bottle, drawn
from tests.gate.watched import DAY, Watched, watched_machine


def test_room_for_the_ledger_may_be_just_enough() -> None:
    """200 MB themselves are not too little, a byte less is, and both are told."""
    at = moment()
    least = at.machine.timing.free_space_bytes
    at.sight.free_bytes = least
    assert [] == codes(at)
    at.sight.free_bytes = least - 1
    (reason,) = refusals(at, ask(at))
    assert {"free_bytes": least - 1, "least_bytes": least} == dict(reason.figures)


@pytest.mark.parametrize(("up_s", "left_s"), [(0.5, 60), (10.25, 50), (59.5, 1)])
def test_the_rest_of_the_first_minute_is_told_in_whole_seconds(
    up_s: float, left_s: int
) -> None:
    """Rounded up: what is told has passed when it is over."""
    at = moment()
    at.sight.started_boot_s = at.now.boot_s - up_s
    (reason,) = refusals(at, ask(at))
    assert (Code.START_HOLD_OFF, left_s) == (reason.code, reason.figures["left_s"])


def test_a_hold_that_is_over_hides_none_that_stands() -> None:
    """The one comes first in order of name."""
    at = moment()
    at.state.holds["h0"] = replace(hold("all", 0.0), hold_id="h0")
    at.state.holds["h1"] = hold("all")
    assert [Code.PAUSE] == codes(at)


def test_a_partner_is_told_with_the_name_of_the_group() -> None:
    """And with the hold that reaches it."""
    at = moment()
    at.state.holds["h1"] = hold("pump/calcium")
    (reason,) = refusals(at, ask(at))
    assert {"group": "balanced", "hold": "h1"} == dict(reason.figures)


@pytest.mark.parametrize(
    ("age_s", "told_s"), [(15.0, None), (15.26, 15.3), (-0.1, -0.1)]
)
def test_a_beat_speaks_for_fifteen_seconds(age_s: float, told_s: float | None) -> None:
    """Its age is told to a tenth of a second; one from ahead of now says nothing."""
    at = moment()
    heard_s = at.now.boot_s - age_s
    at.sight.nodes["shelf"].beat = replace(beat(), heard_boot_s=heard_s)
    found = [reason.figures["beat_age_s"] for reason in refusals(at, ask(at))]
    assert ([] if told_s is None else [told_s]) == found


def test_a_busy_channel_with_just_enough_left_is_only_busy() -> None:
    """2000 µL of its budget for a dose of 2000."""
    at = moment()
    healthy = beat(budget_ul=2000)
    busy = replace(healthy.channels["a"], state="running")
    channels = {**healthy.channels, "a": busy}
    at.sight.nodes["shelf"].beat = replace(healthy, channels=channels)
    assert [Code.NODE_BUSY] == codes(at)


def test_an_intent_elsewhere_hides_none_of_this_node() -> None:
    """The first in order of name is of another node and pump."""
    at = moment()
    diary = Diary(at=NOW, proven_ms=PROVEN_MS, state=at.state)
    diary.intend(1, pump="calcium")
    diary.intend(2, pump="calcium")
    first = at.state.open[attempt(1)]
    command = replace(first.intent.command, node="cellar")
    first.intent = replace(first.intent, command=command)
    found = [reason.figures["dose"] for reason in refusals(at, ask(at))]
    assert [at.state.open[attempt(2)].intent.dose.id] == found


def test_what_holds_a_line_itself_is_not_told_of_its_partner_too() -> None:
    """Both draw from one empty bottle."""
    water = bottle(("soda", "calcium"))
    drawn(water, 1_000_000)
    assert [Code.RESERVOIR_EMPTY] == water.codes("soda")


def test_of_partners_that_wait_for_one_thing_one_is_told() -> None:
    """A treatment holds corrections and traces; calcium waits for either."""
    water = Watched(watched_machine(), ("calcium", "iodine", "raise"))
    water.at.state.treatments["reef"] = water.at.now.utc + DAY
    (reason,) = water.reasons("calcium")
    assert (Code.GROUP, "raise") == (reason.code, reason.figures["line"])


def test_an_approval_counts_by_the_latest_time_there_was() -> None:
    """The newest entry is past its end, the clock is a second before it."""
    at = moment()
    assert at.approval is not None
    ends = replace(at.approval, expires_at=NOW + timedelta(seconds=1))
    at = replace(at, approval=ends)
    assert [] == codes(at)
    at.state.newest_at = NOW + timedelta(seconds=1)
    reason = the(Code.APPROVAL_EXPIRED, refusals(at, ask(at)))
    assert ends.expires_at.isoformat() == reason.figures["expired_at"]
