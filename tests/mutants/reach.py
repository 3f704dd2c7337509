"""Which test reaches which line, and how long it takes: one sound run of them all."""

import os
import pickle
import resource
import sys
import tempfile
import threading
from collections import defaultdict
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.mutants.catalogue import Mutant
from tests.mutants.uses import lines_using

# Slower ones come last, whatever file they stand in.
SLOW_S = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """What one sound run has shown.

    Attributes:
        took_s: What each test that passed took of the processor, by its place among
            the items; what else runs on the machine makes no difference.
        tests: The tests that reached a line, by file and line.
    """

    took_s: dict[int, float]
    tests: dict[tuple[str, int], set[int]]

    def reaching(self, mutant: Mutant) -> set[int]:
        """The tests that a change could turn red."""
        if mutant.owner:
            found = self.on(mutant, mutant.lines) or self.on(mutant, mutant.statement)
            # What no test reaches may have run as its module was read.
            return found or set(self.took_s)
        # What is set as a module is read counts wherever its name is used.
        lines = lines_using(mutant.path, mutant.line)
        using = (self.tests.get(line, set()) for line in lines or ())
        return set().union(*using) or set(self.took_s)

    def on(self, mutant: Mutant, lines: tuple[int, int]) -> set[int]:
        """The tests that reached one of these lines."""
        path = str(mutant.path)
        numbers = range(lines[0], lines[1] + 1)
        return set().union(*(self.tests.get((path, line), set()) for line in numbers))

    def in_order(
        self, mutant: Mutant, items: list[pytest.Item], within_s: float
    ) -> list[int]:
        """These tests: those of the module first, then the quickest, the slow last.

        Only so many as take `within_s` together; all for 0. Where a function remembers
        its answer only the first test is seen to reach it: after those that reach it
        come all others of the module.
        """
        name = f"test_{mutant.path.stem}"
        mirrored = {f"{name}.py", f"{name}_edges.py"}
        own = {index for index in self.took_s if items[index].path.name in mirrored}
        reaching = self.reaching(mutant)

        def key(index: int) -> tuple[bool, bool, bool, float]:
            took_s = self.took_s[index]
            return took_s > SLOW_S, index not in reaching, index not in own, took_s

        order = sorted(reaching | own, key=key)
        spent_s = accumulate(self.took_s[index] for index in order)
        pairs = zip(order, spent_s, strict=True)
        return [index for index, till_s in pairs if not within_s or till_s <= within_s]


def run_soundly(items: list[pytest.Item], folder: Path) -> Reach:
    """Run every item once, in a process of its own, and watch the lines of a folder."""
    with tempfile.NamedTemporaryFile() as kept:
        child = os.fork()
        if child == 0:
            watched = watch(items, str(folder) + os.sep)
            Path(kept.name).write_bytes(pickle.dumps(watched))
            os._exit(0)
        os.waitpid(child, 0)
        took_s, tests = pickle.loads(kept.read())  # noqa: S301  # written just above
    return Reach(took_s=took_s, tests=tests)


def spent_s() -> float:
    """Processor seconds of this process, and of those it began and waited for."""
    usages = map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(usage.ru_utime + usage.ru_stime for usage in usages)


class Watcher:
    """Passed, failed and reached, item after item."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self.lines: set[tuple[str, int]] = set()
        self.has_failed = False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note a failure in any phase."""
        self.has_failed |= report.failed

    def on_call(self, frame: FrameType, _event: str, _argument: object) -> Any:  # noqa: ANN401  # what the interpreter wants
        """Follow the frames of the folder only."""
        if not frame.f_code.co_filename.startswith(self.folder):
            return None
        self.lines.add((frame.f_code.co_filename, frame.f_lineno))
        return self.on_line

    def on_line(self, frame: FrameType, _event: str, _argument: object) -> Any:  # noqa: ANN401  # what the interpreter wants
        """Note a line."""
        self.lines.add((frame.f_code.co_filename, frame.f_lineno))
        return self.on_line


def watch(
    items: list[pytest.Item], folder: str
) -> tuple[dict[int, float], dict[tuple[str, int], set[int]]]:
    """What each passing item took, and who reached what."""
    watcher = Watcher(folder)
    plugins = items[0].config.pluginmanager
    plugins.unregister(name="terminalreporter")
    plugins.register(watcher)
    took_s: dict[int, float] = {}
    tests: defaultdict[tuple[str, int], set[int]] = defaultdict(set)
    threading.settrace(watcher.on_call)
    for index, item in enumerate(items):
        following = items[index + 1] if index + 1 < len(items) else None
        watcher.has_failed, watcher.lines = False, set()
        began_s = spent_s()
        sys.settrace(watcher.on_call)
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        sys.settrace(None)
        if watcher.has_failed:
            continue
        took_s[index] = spent_s() - began_s
        for place in watcher.lines:
            tests[place].add(index)
    return took_s, dict(tests)
