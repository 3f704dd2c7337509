"""The alarm clock: it says "time to look" and runs the housekeeping.

Floor 6. One subject: the one wrapper around APScheduler. Laws here: no dose time is
owned by the scheduler and being late or early is harmless; all jobs are kept in a
table of our own and set anew after a clock step, because the scheduler drops or
delays them then, or lists every time that was passed; times of day are UTC, so no
clock change repeats or skips one.
"""

import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.date import DateTrigger
from apscheduler.triggers.interval import IntervalTrigger

from slackwater.errors import Finding, InputError

_WAKE = "wake"
HOURS = 24
MINUTES = 60

_Job = tuple[Callable[[], BaseTrigger], Callable[[], None]]


class SystemAlarm:
    """One pending wake-up and named housekeeping jobs, on one worker thread."""

    def __init__(self, wake: Callable[[], None]) -> None:
        """Keep whom to wake; `start` begins."""
        self._wake = wake
        self._when: datetime | None = None
        self._jobs: dict[str, _Job] = {}
        self._lock = threading.Lock()
        self._scheduler: BackgroundScheduler | None = None

    def start(self) -> None:
        """Start the threads; jobs added before are set now."""
        with self._lock:
            if self._scheduler is not None:
                return
            self._scheduler = _Scheduler(
                timezone=UTC,
                executors={"default": ThreadPoolExecutor(1)},
                # A late job still runs, once: housekeeping is never skipped in silence.
                job_defaults={"misfire_grace_time": None, "coalesce": True},
            )
            self._scheduler.start()
            self._set_all()

    def wake_at(self, when: datetime | None) -> None:
        """Replace the one pending wake-up; None for none; the past wakes at once."""
        with self._lock:
            if when != self._when:
                self._when = when
                self._set_wake()

    def add_daily(
        self, name: str, hour_minute: tuple[int, int], call: Callable[[], None]
    ) -> None:
        """Run a job each day at this hour and minute, UTC.

        Raises: InputError when there is no such time of day.
        """
        hour, minute = hour_minute
        if not (0 <= hour < HOURS and 0 <= minute < MINUTES):
            raise _no_time(name, f"the time of day is {hour}:{minute}")
        self._add(
            name, lambda: CronTrigger(hour=hour, minute=minute, timezone=UTC), call
        )

    def add_interval(self, name: str, seconds: float, call: Callable[[], None]) -> None:
        """Run a job every so many seconds, the first time after one interval.

        Raises: InputError when the interval is not above zero.
        """
        if not seconds > 0:
            raise _no_time(name, f"the interval is {seconds} s")
        self._add(name, lambda: IntervalTrigger(seconds=seconds, timezone=UTC), call)

    def next_times(self) -> dict[str, datetime]:
        """When each job comes next; the wake-up is named `wake`; empty while stopped.

        A job that is due at this moment may be missing until it is set again.
        """
        with self._lock:
            if self._scheduler is None:
                return {}
            return {
                job.id: job.next_run_time
                for job in self._scheduler.get_jobs()
                if job.next_run_time is not None
            }

    def rebuild(self) -> None:
        """Set all jobs anew after a clock step."""
        with self._lock:
            if self._scheduler is not None:
                self._scheduler.remove_all_jobs()
                self._set_all()

    def close(self) -> None:
        """Stop the alarm's threads; a job that runs is left to end by itself."""
        with self._lock:
            if self._scheduler is not None:
                self._scheduler.shutdown(wait=False)
                self._scheduler = None

    def _add(
        self, name: str, trigger: Callable[[], BaseTrigger], call: Callable[[], None]
    ) -> None:
        with self._lock:
            if name == _WAKE or name in self._jobs:
                raise _no_time(name, "there is a job of this name")
            self._jobs[name] = (trigger, call)
            self._set_job(name)

    def _set_all(self) -> None:
        for name in self._jobs:
            self._set_job(name)
        self._set_wake()

    def _set_job(self, name: str) -> None:
        trigger, call = self._jobs[name]
        if self._scheduler is not None:
            # A trigger counts from its making: after a step it must be a new one.
            self._scheduler.add_job(
                call, Onwards(trigger()), id=name, name=name, replace_existing=True
            )

    def _set_wake(self) -> None:
        if self._scheduler is None:
            return
        if self._when is not None:
            self._scheduler.add_job(
                self._wake,
                DateTrigger(self._when, timezone=UTC),
                id=_WAKE,
                name=_WAKE,
                replace_existing=True,
            )
        elif self._scheduler.get_job(_WAKE) is not None:
            self._scheduler.remove_job(_WAKE)


class Onwards(BaseTrigger):  # type: ignore[misc]  # it has no types
    """The times of another trigger that are not over.

    A clock that steps by decades would else be given every one in between, while the
    scheduler holds the lock that setting anew waits for.
    """

    def __init__(self, inner: BaseTrigger) -> None:
        self._inner = inner

    def get_next_fire_time(
        self, previous: datetime | None, now: datetime
    ) -> datetime | None:
        """The first one from now on, and after the previous one."""
        times = [self._inner.get_next_fire_time(None, now)]
        if previous is not None:
            times.append(self._inner.get_next_fire_time(previous, now))
        return max((time for time in times if time is not None), default=None)


class _Scheduler(BackgroundScheduler):  # type: ignore[misc]  # it has no types
    """A scheduler whose thread outlives a job that somebody else took away."""

    def remove_job(self, job_id: str, jobstore: str | None = None) -> None:
        """Remove a job; one that is gone already is as good."""
        # Its thread removes a job that has run, and a rebuild may have come first.
        with suppress(JobLookupError):
            super().remove_job(job_id, jobstore)


def _no_time(name: str, what: str) -> InputError:
    return InputError(
        Finding(
            what=what,
            where=f"housekeeping job {name}",
            expected="a name of its own and a time that comes",
            do="Correct the job.",
        )
    )
