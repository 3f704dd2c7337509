"""Folding consents and stages: a serial counts once, nothing withdrawn comes back."""

from dataclasses import replace
from datetime import timedelta

import pytest

from slackwater.facts.events import PlanWithdrawn, PumpsDisabled, PumpsEnabled
from slackwater.facts.stages import (
    UNTIL_THEN,
    CapsLowered,
    LineGivenBack,
    LineTakenOver,
)
from slackwater.facts.state import Ours
from tests.facts.diary import HOUR, T0, Diary, begun
from tests.facts.stages import halved

LINES = ("reef/calcium", "reef/carbonate")


def serials(diary: Diary) -> list[int]:
    """The approvals that stand."""
    return [entry.approval.serial for entry in diary.state.approvals]


def withdraw(diary: Diary, serial: int) -> None:
    """A person, or a request from afar, ends one."""
    diary.write(PlanWithdrawn(**diary.stamp, serial=serial, by="request"))


@pytest.mark.parametrize("serial", [1, 2, 3])
def test_h60_no_past_approval_counts_a_second_time(serial: int) -> None:
    """Each is replayed after three were given and one was withdrawn."""
    diary = begun()
    for number in (1, 2, 3):
        diary.approve(number, ahead=number * HOUR)
    replayed = diary.state.approvals[serial - 1]
    withdraw(diary, serial)
    standing = serials(diary)
    diary.write(replayed)
    assert standing == serials(diary)
    assert serial not in standing
    assert 3 == diary.state.last_serial


def test_i6_a_withdrawal_brings_no_older_plan_back() -> None:
    """Plan 2 took the place of plan 1; without it there is none."""
    diary = begun()
    diary.approve(1)
    diary.wait(HOUR)
    diary.approve(2)
    diary.wait(HOUR)
    withdraw(diary, 2)
    assert [] == serials(diary)
    assert 2 == diary.state.last_serial


def test_i6_a_clock_in_the_past_brings_no_older_plan_back() -> None:
    """A board has just started and nobody set its clock; a withdrawal is heard."""
    diary = begun()
    diary.approve(1)
    diary.wait(HOUR)
    diary.approve(2)
    diary.wait(HOUR)
    diary.at -= 2 * HOUR
    withdraw(diary, 2)
    assert [] == serials(diary)


def test_a_plan_that_still_waits_is_withdrawn_alone() -> None:
    """The one in force goes on."""
    diary = begun()
    diary.approve(1)
    diary.approve(2, ahead=12 * HOUR)
    withdraw(diary, 2)
    assert [1] == serials(diary)


def test_a_plan_in_force_is_withdrawn_and_the_next_one_still_comes() -> None:
    """Its successor was consented to by itself."""
    diary = begun()
    diary.approve(1)
    diary.approve(2, ahead=12 * HOUR)
    withdraw(diary, 1)
    assert [2] == serials(diary)


def test_a_serial_nobody_knows_is_withdrawn_without_effect() -> None:
    """It is remembered and ends nothing."""
    diary = begun()
    diary.approve(1)
    withdraw(diary, 7)
    assert ([1], [7]) == (serials(diary), diary.state.withdrawn)


def test_lines_go_over_one_by_one_and_back() -> None:
    """Enabled with both left to the old doser; what it gave once stays known."""
    diary = begun()
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1, left_to_old=LINES))
    diary.write(LineTakenOver(**diary.stamp, line=LINES[1], by="keeper"))
    assert [LINES[0]] == diary.state.left_to_old
    diary.write(LineGivenBack(**diary.stamp, line=LINES[1], by="keeper"))
    assert list(LINES) == diary.state.left_to_old
    assert {} == diary.state.taken_over


def test_when_a_line_was_ours_stays_known_after_it_was_given_back() -> None:
    """Each stretch from a take-over to its give-back; none for a line never ours."""
    diary = begun()
    taken = LineTakenOver(**diary.stamp, line=LINES[0], by="keeper")
    back = LineGivenBack(**diary.stamp, line=LINES[0], by="keeper")
    diary.write(taken, back, taken, back)
    diary.write(LineGivenBack(**diary.stamp, line=LINES[1], by="keeper"))
    span = Ours(begins=taken.at, ends=back.at)
    assert {LINES[0]: [span, span]} == diary.state.handed_back


def test_back_in_shadow_every_line_is_imagined_and_nothing_is_half() -> None:
    """What was taken over is not handed back by enabling again."""
    diary = begun()
    enabled = PumpsEnabled(**diary.stamp, by="keeper", serial=1, left_to_old=LINES)
    diary.write(enabled, halved(diary.stamp))
    diary.write(LineTakenOver(**diary.stamp, line=LINES[0], by="keeper"))
    diary.write(PumpsDisabled(**diary.stamp, by="keeper"))
    assert ([], {}) == (diary.state.left_to_old, diary.state.halves)
    diary.write(enabled)
    assert [LINES[1]] == diary.state.left_to_old


@pytest.mark.parametrize(("hours", "known"), [(14 * 24, True), (14 * 24 + 1, False)])
def test_when_pumps_first_fed_the_tank_is_known_while_it_waits_for_them(
    hours: int, *, known: bool
) -> None:
    """Nobody asks before they are disabled; after two weeks somebody else fed it."""
    diary = begun()
    diary.wait(HOUR)
    fed = diary.at
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    assert None is diary.state.fed_since
    for _ in range(2):
        diary.wait(HOUR)
        diary.write(PumpsDisabled(**diary.stamp, by="keeper"))
        assert fed == diary.state.fed_since
        diary.wait(HOUR)
        diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    diary.write(PumpsDisabled(**diary.stamp, by="keeper"))
    diary.wait(hours * HOUR)
    diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
    assert (fed if known else None) == diary.state.fed_since


def test_a_line_given_back_in_shadow_is_only_remembered_as_not_taken() -> None:
    """The next enabling leaves it to the old doser."""
    diary = begun()
    diary.write(LineTakenOver(**diary.stamp, line=LINES[0], by="keeper"))
    diary.write(LineGivenBack(**diary.stamp, line=LINES[0], by="keeper"))
    assert ([], {}) == (diary.state.left_to_old, diary.state.taken_over)


def test_the_newest_look_at_the_file_counts() -> None:
    """Lower, then as approved again."""
    diary = begun()
    diary.write(CapsLowered(**diary.stamp, caps={"pump/carbonate/per_day_ul": 1}))
    assert {"pump/carbonate/per_day_ul": 1} == diary.state.lowered
    diary.write(CapsLowered(**diary.stamp))
    assert {} == diary.state.lowered


def test_the_newest_half_of_a_scope_takes_the_place_of_one_before() -> None:
    """A second change begins its day anew; another pump has its own."""
    diary = begun()
    diary.write(halved(diary.stamp, "pump/calcium"))
    diary.wait(timedelta(hours=3))
    diary.write(halved(diary.stamp, "pump/calcium"), halved(diary.stamp))
    assert {"pump/calcium", "all"} == diary.state.halves.keys()
    assert diary.at == diary.state.halves["pump/calcium"].from_at


def test_a_half_that_runs_goes_on_until_a_newer_one_begins() -> None:
    """A plan for tomorrow is no reason for whole doses today; one not begun is gone."""
    diary = begun()
    first = halved(diary.stamp, "pump/calcium")
    diary.write(first)
    for _ in range(2):
        diary.wait(HOUR)
        next_day = replace(halved(diary.stamp, "pump/calcium"), from_at=T0 + 20 * HOUR)
        diary.write(next_day)
    assert {"pump/calcium": next_day, f"pump/calcium{UNTIL_THEN}": first} == (
        diary.state.halves
    )
