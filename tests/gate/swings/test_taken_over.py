"""An old doser's line is taken over: what it gave is explained, and not its end.

Tanks whose old doser gave 1.5 dKH a day, and whose pump gives as much from then on.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt

import pytest

from slackwater.facts.fold import fold
from slackwater.facts.judgements import Verdict
from slackwater.facts.stages import LineTakenOver
from slackwater.facts.tank import Outside
from slackwater.gate.moment import Moment, rules_for
from slackwater.gate.swings import series as series_module
from slackwater.gate.swings.explained import by_second, explained, other_hours
from slackwater.gate.swings.hand_tests import judge_tests
from slackwater.gate.swings.judging import judge_probe
from slackwater.gate.swings.limits import DKH
from slackwater.gate.swings.series import Errors, errors_of
from tests.gate.scene import plan
from tests.gate.swing_runs import (
    BEGINS,
    PEQ_PER_DKH,
    Run,
    by_hand,
    stamped,
    started,
    utc,
)
from tests.gate.swing_tanks import DAY_MIN
from tests.gate.swings.followed import (
    TARGET_DKH,
    LevelAt,
    at_target,
    noisy,
    series,
)

A_DAY_DKH = 1.5
LINE = "reef/carbonate"
OLD_DAYS, DAYS = 5, 9
TAKEN_MIN = OLD_DAYS * DAY_MIN
OLD = Outside(
    id="old",
    tank="reef",
    parameter="alkalinity",
    per_day=int(A_DAY_DKH * PEQ_PER_DKH),
    line="carbonate",
)


def beside(level: LevelAt, *, named: bool = True) -> Run:
    """A tank that an old doser feeds until its line is taken over.

    Not `named`: the file was rid of the old doser since.
    """
    every_min = DAY_MIN / 12
    doses = [
        (TAKEN_MIN + (place + 0.5) * every_min, A_DAY_DKH / 12)
        for place in range(12 * (DAYS - OLD_DAYS))
    ]
    run = started(series(noisy(level), DAYS, 30.0, doses=doses, uptake=A_DAY_DKH))
    used = replace(run.at.machine, outside=(OLD,) if named else ())
    # Its line gives what the old doser gave.
    lines = tuple(
        replace(line, per_day_ul=int(A_DAY_DKH * PEQ_PER_DKH / 1_887_010))
        for line in plan().lines
    )
    rules = rules_for(used, replace(plan(), lines=lines))
    run.at = replace(run.at, machine=used, rules=rules)
    run.at.state.left_to_old = [LINE]
    return run


def take_over(at: Moment) -> None:
    """A person says that the old doser is off."""
    stamp = stamped(TAKEN_MIN)
    taken = LineTakenOver(
        at=stamp.at, boot_s=0.0, proven_ms=stamp.proven_ms, line=LINE, by="keeper"
    )
    fold(at.state, taken)


def said(run: Run) -> Iterator[tuple[float, Verdict]]:
    """What is said since then: by the day, and in a word."""
    for minute, value in run.series.readings:
        if minute >= TAKEN_MIN and LINE in run.at.state.left_to_old:
            take_over(run.at)
        run.until(minute)
        course = run.read(minute, value)
        if minute >= TAKEN_MIN:
            found = judge_probe(run.at, run.probe, course)
            yield (minute - TAKEN_MIN) / DAY_MIN, found.name


@pytest.mark.parametrize("named", [True, False])
def test_a_tank_that_stands_still_is_steady_when_a_line_is_taken_over(
    *, named: bool
) -> None:
    """One giver took the place of another, and the water knows no difference."""
    assert {"steady"} == {word for _, word in said(beside(at_target, named=named))}


def test_the_hours_of_an_old_doser_are_no_swing() -> None:
    """It gave by night alone, so that its days had a cycle which ended with it."""

    def level(minute: float) -> float:
        if minute >= TAKEN_MIN:
            return TARGET_DKH
        night = (minute / DAY_MIN - 20 / 24) % 1
        swing = night if night < 0.5 else 1 - night
        return TARGET_DKH + A_DAY_DKH * (swing - 0.25)

    assert {"steady"} == {word for _, word in said(beside(level))}


def test_h51_an_old_doser_that_was_not_switched_off_is_told_within_the_day() -> None:
    """Both give: of 1.5 dKH too much a day 0.8 stay in the water."""

    def level(minute: float) -> float:
        return TARGET_DKH + 0.8 * max(minute - TAKEN_MIN, 0.0) / DAY_MIN

    told = [day for day, word in said(beside(level)) if word == "swing-up"]
    assert 0.3 < told[0] < 1.0


def test_hand_tests_of_a_tank_that_stands_still_are_steady_as_well() -> None:
    """A test a day, before and after."""
    run = beside(at_target)
    for day in range(DAYS):
        if day >= OLD_DAYS and LINE in run.at.state.left_to_old:
            take_over(run.at)
        minute = (day + 0.5) * DAY_MIN
        run.until(minute)
        now = replace(run.at.now, utc=utc(minute))
        run.at = replace(run.at, now=now, proven_ms=int(minute * 60_000))
        fold(run.at.state, by_hand(minute, TARGET_DKH + 0.01 * (-1) ** day))
    assert "steady" == judge_tests(run.at, "reef").name


def test_what_an_old_doser_gave_in_the_weeks_before_kept_the_water_up() -> None:
    """Its days stand for days of doses, whether or not any of ours came."""
    run = beside(at_target)
    take_over(run.at)
    run.until(DAYS * DAY_MIN)
    at = replace(run.at, now=replace(run.at.now, utc=utc(DAYS * DAY_MIN)))
    begins_s = BEGINS.timestamp() + TAKEN_MIN * 60
    ends_s = BEGINS.timestamp() + DAYS * DAY_MIN * 60
    given = by_second(at, "reef"), begins_s, ends_s
    begun = explained(at, "reef", TARGET_DKH * DKH, given).at(begins_s)
    assert 0.0 == pytest.approx(begun / DKH, abs=0.01)


def test_the_hours_are_in_doubt_where_a_line_changed_hands_alone() -> None:
    """A quarter of its day, spread evenly: 1.5 / 4 / √3 = 0.2165 dKH."""
    run = beside(at_target)
    begin_s, day_s = BEGINS.timestamp(), DAY_MIN * 60.0
    whole = begin_s, begin_s + DAYS * day_s
    assert 0.0 == other_hours(run.at, "reef", whole)
    take_over(run.at)
    assert 0.2165 * DKH == pytest.approx(other_hours(run.at, "reef", whole), rel=1e-3)
    after = begin_s + (OLD_DAYS + 1) * day_s, whole[1]
    assert 0.0 == other_hours(run.at, "reef", after)


def test_the_hours_are_in_doubt_by_their_middles() -> None:
    """One hour of two was the old doser's; up to its end all of them were."""
    run = beside(at_target)
    taken_s, hour_s = BEGINS.timestamp() + TAKEN_MIN * 60.0, 3600.0
    take_over(run.at)
    across = taken_s - hour_s, taken_s + hour_s / 2
    before = taken_s - 2 * hour_s, taken_s - hour_s / 2
    assert 0.2165 * DKH == pytest.approx(other_hours(run.at, "reef", across), rel=1e-3)
    assert 0.0 == other_hours(run.at, "reef", before)


def test_what_an_old_doser_gave_in_an_hour_comes_in_its_middle() -> None:
    """From half past to half past: the first is over, the last has come."""
    run = beside(at_target)
    begins_s = BEGINS.timestamp() + 1800.0
    given: dict[int, int] = {}
    span = given, begins_s, begins_s + 5 * 3600.0
    known = explained(run.at, "reef", TARGET_DKH * DKH, span)
    hours = [(at_s - begins_s) / 3600.0 for at_s in known.moments]
    assert [0.0, 1.0, 2.0, 3.0, 4.0, 5.0] == hours


def test_the_doubt_about_hours_is_one_more_that_errors_share(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Independent doubts add up as squares (JCGM 100:2008, 5.1.2)."""
    run = beside(at_target)
    for minute, value in run.series.readings:
        if minute >= TAKEN_MIN and LINE in run.at.state.left_to_old:
            take_over(run.at)
        if minute >= TAKEN_MIN + DAY_MIN / 2:
            break
        run.until(minute)
        course = run.read(minute, value)
    found = errors_of(run.at, run.probe, course)
    monkeypatch.setattr(series_module, "other_hours", lambda *_: 0.0)
    sure = errors_of(run.at, run.probe, course)
    assert isinstance(found, Errors)
    assert isinstance(sure, Errors)
    more = [
        sqrt(one.bias**2 - other.bias**2) / DKH
        for one, other in zip(found.points, sure.points, strict=True)
    ]
    assert [0.2165] * len(more) == pytest.approx(more, rel=1e-3)
    assert more
