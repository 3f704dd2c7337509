"""The alarm says how long to wait, and keeps its jobs over a rebuild."""

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


NOON = datetime(2026, 5, 3, 12, tzinfo=UTC)


def after(seconds: float) -> datetime:
    """Noon of an invented day, and so many seconds."""
    return NOON + timedelta(seconds=seconds)


@pytest.fixture
def alarm() -> Iterator[SystemAlarm]:
    """A running alarm."""
    running = SystemAlarm()
    running.start()
    yield running
    running.close()


def test_alarm_fits_its_port(alarm: SystemAlarm) -> None:
    """The adapter has the shape the loop expects."""
    port: Alarm = alarm
    port.wake_at(None)
    assert (1.0, {}) == (port.wait_s(NOON, 1.0), alarm.next_times())


@pytest.mark.parametrize(
    ("left_s", "waits_s"), [(0.25, 0.25), (1.0, 1.0), (3600, 1.0), (0, 0), (-86400, 0)]
)
def test_waits_until_its_moment_and_never_past_a_tick(
    alarm: SystemAlarm, left_s: float, waits_s: float
) -> None:
    """A near moment ends the wait just then, a far one never, a past one at once."""
    alarm.wake_at(after(left_s))
    assert waits_s == alarm.wait_s(NOON, 1.0)


def test_a_moment_that_passed_is_looked_at_once(alarm: SystemAlarm) -> None:
    """Whoever leaves it standing looks again each tick, and not without end."""
    alarm.wake_at(after(0.5))
    waits_s = [alarm.wait_s(after(passed_s), 1.0) for passed_s in (0.4, 0.5, 0.6, 2)]
    assert pytest.approx([0.1, 0, 1, 1]) == waits_s
    alarm.wake_at(after(0.5))
    assert 1.0 == alarm.wait_s(after(2.1), 1.0)


def test_new_moment_replaces_the_old(alarm: SystemAlarm) -> None:
    """There is one moment, be the old one past or still to come; none is none."""
    alarm.wake_at(after(3600))
    alarm.wake_at(after(0.2))
    waits_s = [alarm.wait_s(NOON, 1.0), alarm.wait_s(after(1), 1.0)]
    alarm.wake_at(after(0.5))
    waits_s.append(alarm.wait_s(after(1), 1.0))
    alarm.wake_at(None)
    waits_s.append(alarm.wait_s(after(1), 1.0))
    assert [0.2, 0, 0, 1] == waits_s


def test_h37_a_clock_put_back_waits_for_the_moment_again(alarm: SystemAlarm) -> None:
    """A moment that had passed comes once more, and to the second."""
    alarm.wake_at(after(0.5))
    waits_s = [alarm.wait_s(after(at_s), 1.0) for at_s in (0.5, 0.6, -3600, 0.25, 0.5)]
    assert [0, 1, 1, 0.25, 0] == waits_s


def test_rebuild_keeps_every_job_and_counts_anew(alarm: SystemAlarm) -> None:
    """Names stay; an interval begins again from the clock as it is now."""
    alarm.add_daily("audit", (3, 30), lambda: None)
    alarm.add_interval("probe", 300, lambda: None)
    before = alarm.next_times()
    alarm.rebuild()
    after = alarm.next_times()
    assert {"audit", "probe"} == set(after)
    assert before["audit"] == after["audit"]
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


def test_jobs_added_before_the_start_are_set() -> None:
    """Order of building does not matter."""
    alarm, rung = SystemAlarm(), threading.Event()
    alarm.add_interval("probe", 0.1, rung.set)
    assert alarm.next_times() == {}
    alarm.start()
    assert rung.wait(DEADLINE_S)
    alarm.close()


def test_closed_alarm_is_silent() -> None:
    """After closing nothing rings and a second close is harmless."""
    alarm, rung = SystemAlarm(), threading.Event()
    alarm.start()
    alarm.add_interval("probe", 0.2, rung.set)
    alarm.close()
    alarm.close()
    assert not rung.wait(0.5)


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


def test_name_is_given_once(alarm: SystemAlarm) -> None:
    """Two jobs of one name are a mistake."""
    alarm.add_daily("audit", (3, 30), lambda: None)
    with pytest.raises(InputError):
        alarm.add_daily("audit", (4, 30), lambda: None)


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
