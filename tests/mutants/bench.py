"""Tries mutants, each in a forked process, on the tests that reach it."""

import os
import select
import signal
import sys
from collections import Counter, defaultdict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

import pytest

from tests.mutants.catalogue import TOP, Mutant, equivalents
from tests.mutants.grafting import (
    Functions,
    Graft,
    forget_answers,
    living_functions,
)
from tests.mutants.reach import run_soundly

# A test may take so many times what it took, and so much more, before it is cut off.
TIMES, MORE_S = 5, 2.0
# Waiting, not computing, may take so much longer: other processes take their share.
WALL_TIMES, WALL_MORE_S = 20, 30.0
GREEN, RED, UNTOUCHED = 0, 1, 3
# Tests in the order they are run in, each with what it takes.
Tests: TypeAlias = list[tuple[pytest.Item, float]]


class Fate(StrEnum):
    """How a mutant ended."""

    KILLED = "killed"
    TIMED_OUT = "timed out"
    SURVIVED = "survived"
    EQUIVALENT = "equivalent"
    UNTRIED = "untried"


FATES = {
    GREEN: Fate.SURVIVED,
    RED: Fate.KILLED,
    UNTOUCHED: Fate.UNTRIED,
    -signal.SIGPROF: Fate.TIMED_OUT,
    -signal.SIGKILL: Fate.TIMED_OUT,
}


class StopAtRed:
    """Ends a process with its first red test."""

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Nothing after a failure counts."""
        if report.failed:
            os._exit(RED)


@dataclass(kw_only=True)
class Bench:
    """A plugin that runs no test by itself, but tries mutants on them.

    Attributes:
        mutants: What is tried.
        tell: Whom to tell every line.
        within_s: How much of tests to spend on each; 0 for all that reach it.
        fates: How each ended, in order.
    """

    mutants: list[Mutant]
    tell: Callable[[str], None]
    within_s: float
    fates: list[tuple[Mutant, Fate]] = field(default_factory=list)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """Try all, instead of running the tests."""
        if session.testsfailed:
            message = "the tests cannot be read: nothing was tried"
            raise session.Interrupted(message)
        folder = self.mutants[0].path.parent
        reach = run_soundly(session.items, folder)
        lost = len(session.items) - len(reach.took_s)
        self.tell(f"{len(reach.took_s)} tests; not green by themselves: {lost}")
        known, living = equivalents(), living_functions()
        for mutant in self.mutants:
            order = reach.in_order(mutant, session.items, self.within_s)
            tests = [(session.items[index], reach.took_s[index]) for index in order]
            is_known = mutant.name in known
            fate = Fate.EQUIVALENT if is_known else tried(mutant, tests, living)
            self.fates.append((mutant, fate))
            if fate in {Fate.SURVIVED, Fate.UNTRIED}:
                self.tell(f"{fate}: {mutant}")
        return True


def tried(mutant: Mutant, tests: Tests, living: Functions) -> Fate:
    """How one mutant ends on tests, each with what it takes."""
    if not tests:
        return Fate.SURVIVED
    child = os.fork()
    if child == 0:
        run_changed(mutant, tests, living)
    expected_s = sum(took_s for _, took_s in tests)
    code = waited(child, WALL_MORE_S + WALL_TIMES * expected_s)
    return FATES.get(code, Fate.KILLED)


def waited(child: int, limit_s: float) -> int:
    """What a process ends with, at the latest when it is ended for it."""
    handle = os.pidfd_open(child)
    ended, _, _ = select.select([handle], [], [], limit_s)
    os.close(handle)
    # It leads a group of its own: whatever it has begun ends with it.
    with suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)
    if not ended:
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def run_changed(mutant: Mutant, chosen: Tests, living: Functions) -> None:
    """Change this process and run tests in it until one is red; never returns."""
    os.setpgid(0, 0)
    plugins = chosen[0][0].config.pluginmanager
    plugins.unregister(name="terminalreporter")
    plugins.register(StopAtRed())
    try:
        module = sys.modules[mutant.module]
        if not Graft(module, mutant.codes(), living).done:
            os._exit(UNTOUCHED)
        forget_answers()
        for index, (item, took_s) in enumerate(chosen):
            following = chosen[index + 1][0] if index + 1 < len(chosen) else None
            # Nobody handles this signal: where code never ends, the process does.
            signal.setitimer(signal.ITIMER_PROF, MORE_S + TIMES * took_s)
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
    except BaseException:  # noqa: BLE001  # whatever goes wrong here was the change
        os._exit(RED)
    os._exit(GREEN)


def report(fates: list[tuple[Mutant, Fate]]) -> list[str]:
    """How many ended how, module by module, and in all."""
    counts: defaultdict[str, Counter[Fate]] = defaultdict(Counter)
    for mutant, fate in fates:
        counts[str(mutant.path.relative_to(TOP))][fate] += 1
        counts["all"][fate] += 1
    return [f"{name}: {line(count)}" for name, count in counts.items()]


def line(count: Counter[Fate]) -> str:
    """One line for one module."""
    found = count[Fate.KILLED] + count[Fate.TIMED_OUT]
    judged = found + count[Fate.SURVIVED]
    share = f"{found / judged:.1%}" if judged else "none"
    parts = ", ".join(f"{count[fate]} {fate}" for fate in Fate if count[fate])
    return f"{count.total()} mutants: {parts}; {share} of the different ones found"
