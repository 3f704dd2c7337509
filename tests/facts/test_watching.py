"""What the state keeps for judging series: courses, tests, breaks, drops, verdicts."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from slackwater.facts.events import PumpsDisabled, PumpsEnabled
from slackwater.facts.judgements import Break, SeriesJudged
from slackwater.facts.reasons import Code
from slackwater.facts.watching import BREAKS_AT_MOST, TESTS_AT_MOST
from slackwater.facts.waters import HusbandryNoted, MeasurementStruck, What
from tests.facts.diary import HOUR, PEQ_PER_UL, Diary, begun, reading
from tests.facts.waters import added, changed, measured

DAY = timedelta(days=1)


def judged(diary: Diary, source: str = "probe/kh", tank: str = "reef") -> SeriesJudged:
    """A source that is not well."""
    return SeriesJudged(
        **diary.stamp,
        tank=tank,
        source=source,
        verdict="swing-up",
        taken_at=diary.at,
        excess=True,
    )


def noted(
    diary: Diary, what: What = "light", ago: timedelta = timedelta()
) -> HusbandryNoted:
    """Something that happened in the tank."""
    return HusbandryNoted(
        **diary.stamp,
        id=f"{what}-{len(diary.events)}",
        tank="reef",
        what=what,
        happened_at=diary.at - ago,
        by="keeper",
    )


def marks(diary: Diary) -> list[tuple[str, datetime]]:
    """What was told of the tank, and when, in the order it is kept."""
    return [(mark.told, mark.at) for mark in diary.state.breaks["reef"].values()]


def test_kept_readings_make_a_course() -> None:
    """One each half hour; those of other parameters make none."""
    diary = begun()
    for value in (2.9, 3.0, 3.1):
        diary.write(reading(diary, value))
        diary.wait(HOUR / 2)
    diary.write(replace(reading(diary), probe="salt", parameter="salinity"))
    assert ["kh"] == list(diary.state.courses)
    assert [2.9, 3.0] == [block.level for block in diary.state.courses["kh"].blocks]


def test_doses_are_kept_to_the_second_once_a_probe_is_read() -> None:
    """Before that nobody needs them; a hand addition takes its own time's place."""
    diary = begun()
    diary.intend(1)
    diary.end(1, 2000)
    assert {} == diary.state.drops
    diary.write(reading(diary))
    diary.wait(HOUR)
    diary.intend(2)
    diary.end(2, 2000)
    dosed_s = int(diary.at.timestamp())
    diary.write(added(diary, ago=HOUR / 2))
    given_s = int((diary.at - HOUR / 2).timestamp())
    expected = {given_s: 2000 * PEQ_PER_UL, dosed_s: 2000 * PEQ_PER_UL}
    assert expected == diary.state.drops["reef"]
    assert list(expected) == list(diary.state.drops["reef"])


def test_drops_of_nine_days_are_kept() -> None:
    """The tenth day forgets the first."""
    diary = begun()
    diary.write(reading(diary))
    for number in range(1, 12):
        diary.intend(number)
        diary.end(number, 2000)
        diary.wait(DAY)
    seconds = list(diary.state.drops["reef"])
    assert 9 * 86_400 >= seconds[-1] - seconds[0]
    assert 10 == len(seconds)


def test_own_tests_are_kept_in_the_order_they_were_taken() -> None:
    """One told later takes its place; a laboratory's and a censored one are none."""
    diary = begun()
    diary.write(
        measured(diary, 1, ago=2 * HOUR),
        measured(diary, 2, ago=3 * HOUR),
        replace(measured(diary, 3), provenance="lab"),
        replace(measured(diary, 4), censored=True),
        replace(measured(diary, 5), parameter="calcium"),
    )
    assert ["m-2", "m-1"] == [test.id for test in diary.state.tests["reef"]]


def test_a_corrected_or_struck_test_is_gone() -> None:
    """What is there is what still holds."""
    diary = begun()
    diary.write(measured(diary, 1), measured(diary, 2))
    diary.write(measured(diary, 3, supersedes="m-1"))
    struck = MeasurementStruck(
        **diary.stamp, measurement="m-2", by="keeper", why="wrong tank"
    )
    diary.write(struck)
    assert ["m-3"] == [test.id for test in diary.state.tests["reef"]]


def test_the_newest_tests_and_breaks_are_kept() -> None:
    """Forty of each: the oldest are forgotten."""
    diary = begun()
    for number in range(40):
        diary.write(measured(diary, number), changed(diary, number))
        diary.wait(HOUR)
    assert TESTS_AT_MOST == len(diary.state.tests["reef"])
    assert BREAKS_AT_MOST == len(diary.state.breaks["reef"])
    assert "m-39" == diary.state.tests["reef"][-1].id


def test_breaks_that_no_baseline_reaches_are_forgotten() -> None:
    """Seventeen days later the first is gone."""
    diary = begun()
    diary.write(noted(diary))
    diary.wait(17 * DAY)
    diary.write(noted(diary))
    assert [("event", diary.at)] == marks(diary)


def test_a_change_that_is_announced_makes_nothing_be_forgotten() -> None:
    """One of nine days ago still explains its step, with another two weeks ahead."""
    diary = begun()
    diary.write(changed(diary, 1))
    begins = diary.at
    diary.wait(9 * DAY)
    diary.write(changed(diary, 2, at=diary.at + 14 * DAY))
    assert [("change", begins), ("change", diary.at + 14 * DAY)] == marks(diary)


def test_a_portion_that_pumps_exchanged_is_no_break() -> None:
    """They come by the hour, and what people told of is kept."""
    diary = begun()
    diary.write(noted(diary))
    begins = diary.at
    for number in range(2 * BREAKS_AT_MOST):
        diary.wait(HOUR)
        diary.write(replace(changed(diary, number), by="daemon"))
    assert [("event", begins)] == marks(diary)


def test_everything_told_is_a_break_at_its_own_time() -> None:
    """In order of time, a change ahead last."""
    diary = begun()
    diary.write(
        changed(diary, 1, at=diary.at + HOUR),
        added(diary, ago=2 * HOUR),
        noted(diary, "probe_serviced", ago=HOUR),
        noted(diary, "corals_added"),
    )
    assert [
        ("addition", diary.at - 2 * HOUR),
        ("service", diary.at - HOUR),
        ("event", diary.at),
        ("change", diary.at + HOUR),
    ] == marks(diary)


def test_a_break_knows_what_it_brought() -> None:
    """A change its predicted step, or nothing known; an addition its amount."""
    diary = begun()
    diary.write(changed(diary, 1), replace(changed(diary, 2), steps={}), added(diary))
    known = diary.state.breaks["reef"]
    assert Break(at=diary.at, told="change", rise=0.2) == known["w-1"]
    assert Break(at=diary.at, told="change") == known["w-2"]
    assert [2000 * PEQ_PER_UL] == [m.added for m in known.values() if m.added]


def test_what_does_not_move_alkalinity_is_no_break() -> None:
    """A calcium addition, and a change that was called off."""
    diary = begun()
    diary.write(replace(added(diary), effects={"calcium": 5}), changed(diary, 1))
    diary.write(changed(diary, 2, litres=0, supersedes="w-1"))
    assert {"reef": {}} == diary.state.breaks


def test_a_correction_of_a_change_takes_its_place() -> None:
    """Half the water, so half the step; the first is forgotten."""
    diary = begun()
    diary.write(changed(diary, 1))
    diary.write(changed(diary, 2, litres=20, supersedes="w-1"))
    assert ["w-2"] == list(diary.state.breaks["reef"])


def test_something_that_happened_takes_back_what_was_said() -> None:
    """Of this tank's sources, and of no other."""
    diary = begun()
    diary.write(judged(diary), judged(diary, "probe/far", tank="frag"))
    diary.write(noted(diary, "probe_serviced"))
    assert ["probe/far"] == list(diary.state.judged)


def test_a_released_swing_is_accepted_by_a_person() -> None:
    """It is a break from which on the water may be as it is."""
    diary = begun()
    diary.write(judged(diary))
    diary.hold(Code.ALKALINITY_SWING_UP, "alkalinity/reef")
    diary.wait(HOUR)
    diary.release(Code.ALKALINITY_SWING_UP)
    assert [("release", diary.at)] == marks(diary)
    assert {} == diary.state.judged


def test_another_hold_released_says_nothing_of_the_water() -> None:
    """A climb, and a hold that is not there."""
    diary = begun()
    diary.write(judged(diary))
    diary.hold(Code.ALKALINITY_CLIMB, "alkalinity/reef")
    diary.release(Code.ALKALINITY_CLIMB)
    diary.release(Code.ALKALINITY_SWING_UP)
    assert {} == diary.state.breaks
    assert ["probe/kh"] == list(diary.state.judged)


@pytest.mark.parametrize(
    ("stages", "left"),
    [
        (("on",), []),
        (("on", "judge", "on"), ["probe/kh"]),
        (("on", "judge", "off"), []),
    ],
)
def test_a_new_stage_begins_with_no_verdict(
    stages: tuple[str, ...], left: list[str]
) -> None:
    """Enabled twice it is the same stage."""
    diary = begun()
    diary.write(judged(diary))
    for word in stages:
        if word == "judge":
            diary.write(judged(diary))
        elif word == "on":
            diary.write(PumpsEnabled(**diary.stamp, by="keeper", serial=1))
        else:
            diary.write(PumpsDisabled(**diary.stamp, by="keeper"))
    assert left == list(diary.state.judged)
