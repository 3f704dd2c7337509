"""The alarm says "time to look" at its time, and keeps its jobs over a rebuild."""

import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
from apscheduler.triggers.base import BaseTrigger
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.interval import IntervalTrigger

from slackwater.errors import InputError
from slackwater.outside.alarm import Onwards, SystemAlarm
from slackwater.outside.clock import SystemClock
from slackwater.ports import Alarm

# Far longer than anything here takes; reached only when a test fails.
DEADLINE_S = 20.0


def soon(seconds: float) -> datetime:
    """A wall time so many seconds from now."""
    return SystemClock().now().utc + timedelta(seconds=seconds)


class Bell:
    """Notes when it is rung."""

    def __init__(self) -> None:
        """Begin silent."""
        self.rung = threading.Event()
        self.at: list[datetime] = []

    def ring(self) -> None:
        """Note the wall time."""
        self.at.append(SystemClock().now().utc)
        self.rung.set()


@pytest.fixture
def bell() -> Bell:
    """A bell of this test."""
    return Bell()


@pytest.fixture
def alarm(bell: Bell) -> Iterator[SystemAlarm]:
    """A running alarm that rings the bell."""
    running = SystemAlarm(bell.ring)
    running.start()
    yield running
    running.close()


def test_alarm_fits_its_port(alarm: SystemAlarm) -> None:
    """The adapter has the shape the loop expects."""
    port: Alarm = alarm
    port.wake_at(None)
    assert alarm.next_times() == {}


def test_wakes_at_its_time_and_not_before(alarm: SystemAlarm, bell: Bell) -> None:
    """The bell rings once the wall clock has reached the moment."""
    when = soon(0.3)
    alarm.wake_at(when)
    assert bell.rung.wait(DEADLINE_S)
    assert when <= bell.at[0]


def test_moment_in_the_past_wakes_at_once(alarm: SystemAlarm, bell: Bell) -> None:
    """A late alarm still rings: no grace time eats it."""
    alarm.wake_at(soon(-86400))
    assert bell.rung.wait(DEADLINE_S)


def test_new_moment_replaces_the_old(alarm: SystemAlarm, bell: Bell) -> None:
    """There is one pending wake-up."""
    alarm.wake_at(soon(3600))
    alarm.wake_at(soon(0.2))
    assert bell.rung.wait(DEADLINE_S)


def test_none_takes_the_wake_up_back(alarm: SystemAlarm, bell: Bell) -> None:
    """A wake-up taken back does not ring, though a later job does."""
    later = Bell()
    alarm.wake_at(soon(0.3))
    alarm.add_interval("later", 0.6, later.ring)
    alarm.wake_at(None)
    assert later.rung.wait(DEADLINE_S)
    assert bell.at == []


def test_wakes_after_a_rebuild(alarm: SystemAlarm, bell: Bell) -> None:
    """After a clock step the wake-up is set anew and rings."""
    alarm.wake_at(soon(0.3))
    alarm.rebuild()
    assert bell.rung.wait(DEADLINE_S)


def test_rebuild_keeps_every_job_and_counts_anew(alarm: SystemAlarm) -> None:
    """Names stay; an interval begins again from the clock as it is now."""
    when = soon(3600)
    alarm.wake_at(when)
    alarm.add_daily("audit", (3, 30), lambda: None)
    alarm.add_interval("probe", 300, lambda: None)
    before = alarm.next_times()
    alarm.rebuild()
    after = alarm.next_times()
    assert {"audit", "probe", "wake"} == set(after)
    assert (when, before["audit"]) == (after["wake"], after["audit"])
    assert before["probe"] < after["probe"]


def test_daily_job_stands_at_its_hour_utc(alarm: SystemAlarm) -> None:
    """Half past three is half past three UTC, within the next day."""
    alarm.add_daily("audit", (3, 30), lambda: None)
    at = alarm.next_times()["audit"]
    assert (3, 30, 0, timedelta(0)) == (at.hour, at.minute, at.second, at.utcoffset())
    assert timedelta(0) < at - datetime.now(UTC) <= timedelta(days=1)


def test_interval_runs_again_and_again(alarm: SystemAlarm) -> None:
    """Housekeeping repeats on the one worker thread."""
    thrice = threading.Event()
    names: list[str] = []

    def call() -> None:
        names.append(threading.current_thread().name)
        if len(names) >= 3:
            thrice.set()

    alarm.add_interval("probe", 0.1, call)
    assert thrice.wait(DEADLINE_S)
    assert len(set(names)) == 1


def test_jobs_added_before_the_start_are_set(bell: Bell) -> None:
    """Order of building does not matter."""
    alarm = SystemAlarm(bell.ring)
    alarm.add_interval("probe", 60, lambda: None)
    alarm.wake_at(soon(0.2))
    assert alarm.next_times() == {}
    alarm.start()
    rung = bell.rung.wait(DEADLINE_S)
    names = set(alarm.next_times())
    alarm.close()
    assert (True, {"probe"}) == (rung, names)


def test_closed_alarm_is_silent(bell: Bell) -> None:
    """After closing nothing rings and a second close is harmless."""
    alarm = SystemAlarm(bell.ring)
    alarm.start()
    alarm.wake_at(soon(0.2))
    alarm.close()
    alarm.close()
    assert not bell.rung.wait(0.5)


@pytest.mark.parametrize("hour_minute", [(24, 0), (-1, 0), (0, 60)])
def test_impossible_hour_is_refused(
    alarm: SystemAlarm, hour_minute: tuple[int, int]
) -> None:
    """There is no such time of day."""
    with pytest.raises(InputError):
        alarm.add_daily("audit", hour_minute, lambda: None)


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan")])
def test_impossible_interval_is_refused(alarm: SystemAlarm, seconds: float) -> None:
    """An interval is longer than nothing."""
    with pytest.raises(InputError):
        alarm.add_interval("probe", seconds, lambda: None)


@pytest.mark.parametrize("name", ["wake", "audit"])
def test_name_is_given_once(alarm: SystemAlarm, name: str) -> None:
    """Two jobs of one name, or one named like the wake-up, are a mistake."""
    alarm.add_daily("audit", (3, 30), lambda: None)
    with pytest.raises(InputError):
        alarm.add_daily(name, (4, 30), lambda: None)


@pytest.mark.parametrize(
    ("inner", "step"),
    [
        (IntervalTrigger(seconds=15, timezone=UTC), timedelta(seconds=15)),
        (CronTrigger(hour=3, minute=10, timezone=UTC), timedelta(days=1)),
    ],
)
def test_h37_a_clock_that_steps_by_decades_is_one_missed_run(
    inner: BaseTrigger, step: timedelta
) -> None:
    """A board that begins in 1970 need not count the quarter minutes since."""
    trigger = Onwards(inner)
    first = trigger.get_next_fire_time(None, soon(0))
    now = soon(0) + timedelta(days=20_000)
    coming = trigger.get_next_fire_time(first, now)
    assert coming is not None
    assert now <= coming <= now + step
    later = trigger.get_next_fire_time(coming, coming)
    assert later is not None
    assert abs(later - coming - step) < timedelta(milliseconds=1)
