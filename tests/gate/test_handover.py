"""Who gives a line, and what an old doser's last day still counts for."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.charging import hour_of
from slackwater.facts.reasons import Code
from slackwater.facts.rolling import DAY_MS
from slackwater.facts.stages import LineTakenOver
from slackwater.facts.state import Ours
from slackwater.facts.tank import Machine, Outside
from slackwater.gate.caps import over_caps
from slackwater.gate.handover import is_old_dosers, old_part, their_hours
from slackwater.gate.moment import Moment, rules_for
from slackwater.gate.resuming import (
    of_old_dosers,
    old_by_hour,
    outside_per_day,
    planned_per_day,
    resume_ppm,
)
from tests.gate.scene import (
    CARBONATE_PEQ_PER_UL,
    NOW,
    PROVEN_MS,
    TODAY,
    ask,
    dkh_peq,
    machine,
    moment,
)

LINE = "reef/carbonate"
# Of the gross cap of 2 dKH a day; a dose of 2 mL adds 0.0529 dKH.
GIVEN = dkh_peq(1.2)


def with_old_doser(line: str = "carbonate") -> Machine:
    """The scene beside an old doser that gives 1.2 dKH a day."""
    old = Outside(
        id="old", tank="reef", parameter="alkalinity", per_day=GIVEN, line=line
    )
    return replace(machine(), outside=(old,))


def taken(hours_ago: float = 0.0) -> LineTakenOver:
    """The line was taken over so long ago."""
    ago = timedelta(hours=hours_ago)
    return LineTakenOver(
        at=NOW - ago,
        boot_s=10_000.0 - ago.total_seconds(),
        proven_ms=PROVEN_MS - int(ago.total_seconds() * 1000),
        line=LINE,
        by="keeper",
    )


def room_peq(at: Moment) -> int:
    """What may still be added under the gross cap, found with volumes that fail."""
    rule = at.rules.pumps["carbonate"].effects[0]
    low, high = 0, 100_000
    while high - low > 1:
        middle = (low + high) // 2
        codes = {r.code for r in over_caps(at, ask(at), middle, TODAY)}
        low, high = (low, middle) if Code.CAP_GROSS in codes else (middle, high)
    return low * rule.per_ul


@pytest.mark.parametrize(
    ("state", "part"),
    [("left", 1.0), ("taken now", 1.0), ("taken 6 h ago", 0.75), ("never", 0.0)],
)
def test_the_caps_count_both(state: str, part: float) -> None:
    """The old doser's whole day while it gives, then what is younger than a day."""
    at = moment(with_old_doser())
    if state == "left":
        at.state.left_to_old = [LINE]
    elif state.startswith("taken"):
        at.state.taken_over[LINE] = taken(6.0 if "6" in state else 0.0)
    free = dkh_peq(2.0) - int(GIVEN * part)
    per_ul = at.rules.pumps["carbonate"].effects[0].per_ul
    assert free - per_ul <= room_peq(at) <= free


def test_what_no_line_of_the_plan_replaces_counts_as_ever() -> None:
    """A name that leads to no line is an outside source like limewater."""
    at = moment(with_old_doser("limewater"))
    rule = at.rules.pumps["carbonate"].effects[0]
    assert (GIVEN, ()) == (rule.outside, rule.old)
    assert GIVEN == outside_per_day(at, "reef")


def test_without_a_plan_an_old_doser_counts_in_full() -> None:
    """No line can have taken its place."""
    rules = rules_for(with_old_doser(), None)
    assert GIVEN == rules.outside["reef"]


def test_what_is_planned_is_what_is_planned_of_us() -> None:
    """The line that is left to the old doser is outside, and no plan of ours."""
    at = moment(with_old_doser())
    _, ours = planned_per_day(at, "reef")
    assert ours > 0
    assert 0 == outside_per_day(at, "reef")
    at.state.left_to_old = [LINE]
    assert (0, 0) == planned_per_day(at, "reef")
    assert GIVEN == outside_per_day(at, "reef")


def test_a_line_that_is_no_longer_planned_takes_nothing_from_the_plan() -> None:
    """Left to an old doser once, or a line of another tank: no part of this plan."""
    at = moment(with_old_doser())
    planned = planned_per_day(at, "reef")
    at.state.left_to_old = ["reef/gone", LINE]
    assert (0, 0) == planned_per_day(at, "reef")
    at.state.left_to_old = ["reef/gone"]
    assert planned == planned_per_day(at, "reef")
    assert (0, 0) == planned_per_day(at, "lagoon")
    at.state.left_to_old = [LINE]
    assert (0, 0) == planned_per_day(at, "lagoon")


def test_a_line_has_one_giver_at_any_time() -> None:
    """Due before it was taken over: the old doser's; after it: ours."""
    at = moment(with_old_doser())
    second = timedelta(seconds=1)
    assert not is_old_dosers(at.state, LINE, NOW)
    at.state.left_to_old = [LINE]
    assert is_old_dosers(at.state, LINE, NOW + second)
    at.state.left_to_old = []
    at.state.taken_over[LINE] = taken()
    due = [NOW - second, NOW, NOW + second]
    assert [True, True, False] == [is_old_dosers(at.state, LINE, one) for one in due]


def test_what_was_taken_over_is_forgotten_after_a_day() -> None:
    """Rounded up on the way, nothing behind it."""
    at = moment(with_old_doser())
    at.state.taken_over[LINE] = taken()
    old = ((LINE, 1001),)
    later = [PROVEN_MS, PROVEN_MS + DAY_MS // 2, PROVEN_MS + DAY_MS, PROVEN_MS * 2]
    assert [1001, 501, 0, 0] == [old_part(at.state, ms, old) for ms in later]


def hours(at: Moment, first: int, last: int) -> list[int]:
    """The hours of the line's old doser, counted from now."""
    now = hour_of(NOW)
    found = their_hours(at.state, LINE, range(now + first, now + last))
    return [hour - now for hour in found]


def test_hours_are_theirs_until_a_line_is_taken_over_and_after_it_came_back() -> None:
    """By their middle; a stretch in which it was ours is left out."""
    at = moment(with_old_doser())
    assert [] == hours(at, -3, 0)
    at.state.left_to_old = [LINE]
    assert [-3, -2, -1] == hours(at, -3, 0)
    span = Ours(begins=NOW - timedelta(hours=5), ends=NOW - timedelta(hours=2))
    at.state.handed_back[LINE] = [span]
    assert [-6, -2, -1] == hours(at, -6, 0)
    at.state.left_to_old = []
    at.state.taken_over[LINE] = taken(0.5)
    assert [-6, -2, -1] == hours(at, -6, 0)
    at.state.taken_over[LINE] = taken(0.51)
    assert [-6, -2] == hours(at, -6, 0)


def test_an_hour_is_whose_its_middle_was() -> None:
    """From half past to half past: not the first middle, and the last; ten minutes."""
    at = moment(with_old_doser())
    at.state.left_to_old = [LINE]
    full = NOW.replace(minute=0, second=0, microsecond=0)
    half, minute = full - timedelta(minutes=30), timedelta(minutes=1)
    span = Ours(begins=half - timedelta(hours=3), ends=half - timedelta(hours=1))
    at.state.handed_back[LINE] = [span]
    assert [-4, -1] == hours(at, -4, 0)
    short = Ours(begins=half - 5 * minute, ends=half + 5 * minute)
    at.state.handed_back[LINE] = [short]
    assert [-2] == hours(at, -2, 0)


def test_old_dosers_of_an_hour_are_added_up() -> None:
    """1.2 dKH a day of the file's, an hour at a time, and nothing beside it."""
    at = moment(with_old_doser())
    at.state.left_to_old = [LINE]
    now = hour_of(NOW)
    assert {now - 1: GIVEN // 24} == old_by_hour(at, "reef", range(now - 1, now))


def test_where_the_file_names_no_old_doser_any_more_its_line_stands_for_it() -> None:
    """48 mL a day; a line that is gone, or one of another tank, says nothing."""
    at = moment()
    assert {} == of_old_dosers(at, "reef")
    at.state.taken_over = {LINE: taken(), "reef/gone": taken()}
    assert {LINE: 48_000 * CARBONATE_PEQ_PER_UL} == of_old_dosers(at, "reef")
    assert {} == of_old_dosers(at, "lagoon")
    named = moment(with_old_doser())
    named.state.taken_over[LINE] = taken()
    assert {LINE: GIVEN} == of_old_dosers(named, "reef")


def test_what_an_old_doser_gave_is_no_gap() -> None:
    """Three weeks by it, a day by us, half a day by nobody: as if all was by us."""
    at, alike = moment(with_old_doser()), moment()
    now = hour_of(NOW)
    ours = dict.fromkeys(range(now - 36, now - 12), GIVEN // 24)
    for known in (at, alike):
        known.state.stage_since = NOW - timedelta(days=21)
        known.state.hours["reef"] = dict(ours)
    at.state.taken_over[LINE] = taken(36.0)
    gave = dict.fromkeys(range(now - 21 * 24, now - 36), GIVEN // 24)
    alike.state.hours["reef"] = {**gave, **ours}
    assert resume_ppm(alike, "reef") == resume_ppm(at, "reef")
